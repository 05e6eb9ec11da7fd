"""A year of an invented practice: the case log built, read back, checked, summed up, and the next bath worked out.

    python3 demo/run.py

Runs on a bare python3 (3.11 or newer): the first run makes .environments/demo with pinned packages, which takes a
minute or so; after that the demo takes some seconds. It writes to demo/output and nowhere else.
"""

from __future__ import annotations

import datetime
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

if TYPE_CHECKING:
    from workbook_tools.log.checking.log_check import CheckedLog, Finding

OUTPUT = ROOT / "demo" / "output"
LOG = OUTPUT / "case-log.xlsx"
BENCH = OUTPUT / "bench.xlsx"
PLAN = OUTPUT / "plan.xlsx"
COPY = OUTPUT / "copy-S01.xlsx"
INSIDE = "--prepared"  # said by the first half of this script to the second


def main(arguments: list[str]) -> int:
    """Prepare and start again inside the environment, or show the demo; the exit code."""
    if arguments in (["-h"], ["--help"]):
        print((__doc__ or "").strip())
        return 0
    if arguments not in ([], [INSIDE]):
        print(f"demo/run.py takes no arguments, and was given: {' '.join(arguments)}")
        return 2
    return show() if arguments else prepare()


def prepare() -> int:
    """Make the environment and run this script inside it."""
    from tests.prepare import PreparationError, clean_environment, environment

    try:
        python = environment(ROOT / ".environments" / "demo", ROOT / "demo" / "requirements.txt")
    except PreparationError as error:
        print(error)
        print("The demo could not start: what it needs is not there (see above).")
        return 1
    command = [str(python), str(Path(__file__).resolve()), INSIDE]
    return subprocess.run(command, cwd=ROOT, env=clean_environment(), check=False).returncode


def show() -> int:
    """The demo itself; refusals and trouble with files are told in words."""
    from workbook_tools.errors import WorkbookToolsError

    begin = time.monotonic()
    try:
        remove_old_output()
        checked = built_and_checked()
        next_bath(checked)
        paper(checked)
    except WorkbookToolsError as error:
        print(f"The demo had to stop: {error}")
        return 1
    except OSError as error:
        print(f"The demo had to stop: {error.filename or 'a file'}: {error.strerror}.")
        return 1
    farewell(time.monotonic() - begin, checked)
    return 0


def title(text: str) -> None:
    """A line that says what follows."""
    print(f"\n== {text}", flush=True)


def remove_old_output() -> None:
    """Take away what an earlier run wrote, unless a spreadsheet program has it open."""
    from workbook_tools.xlsx.saving.whole_file import check_not_open

    OUTPUT.mkdir(exist_ok=True)
    for old in (LOG, BENCH, PLAN, COPY):
        check_not_open(old)
        old.unlink(missing_ok=True)


def built_and_checked() -> CheckedLog:
    """Build the case log, read it back as if a person had filled it, check it and sum it up."""
    from demo.practice import SLIPS, practice
    from demo.visits import NEXT_DAY
    from workbook_tools.across.responses import learned_rows
    from workbook_tools.across.summary import summary
    from workbook_tools.cli.workbooks import print_block, progress
    from workbook_tools.layout import case_log
    from workbook_tools.layout.compute import Computed
    from workbook_tools.log.building.log_workbook import build_log
    from workbook_tools.log.checking.log_check import check_log
    from workbook_tools.xlsx.saving.whole_file import save

    title("The case log of an invented practice, November to November")
    rows = practice()
    computed = Computed(case_log(), {key: [dict(row) for row in found] for key, found in rows.items()})
    learned = learned_rows(computed, datetime.date.fromisoformat(NEXT_DAY))
    counts = ", ".join(f"{case_log().tables[key].sheet} {len(found)}" for key, found in rows.items())
    print(f"Rows typed: {counts}.")
    with progress(quiet=False) as report:
        content = build_log(case_log(), {**rows, "learned": learned}, progress=report)
    save(LOG, content)
    print(f"Made {LOG.relative_to(ROOT)}: {len(content) / 1e6:.1f} MB, every result stored beside its formula.")

    title("The check: what wants a look")
    print(f"Three slips were made on purpose: {'; '.join(SLIPS)}. The rest is what a real year brings.")
    checked = check_log(LOG, case_log())
    print_findings(checked)

    title("Across all visits")
    for block in summary(checked.computed):
        print_block(block)

    title("What the log has learned")
    for species, band, words in dict.fromkeys((row["species"], row["band"], row["words"]) for row in learned):
        print(f"{species}, {band}: {words}")
    return checked


def print_findings(checked: CheckedLog) -> None:
    """Findings as a table, what to mend before what to look at."""
    from workbook_tools.cli.printing import print_table

    def row(finding: Finding) -> list[str]:
        place = finding.cell or f"{finding.sheet} row {finding.row}"
        return [place, shown(finding), finding.reason]

    headings = ("Cell", "Holds", "Why")
    notices = [finding for finding in checked.findings if finding not in checked.faults]
    for name, findings in (("To mend", checked.faults), ("To look at", notices)):
        print_table(f"{name}: {len(findings)}", headings, map(row, findings), (False, False, False))


def shown(finding: Finding) -> str:
    """What stands in the cell, a time as a clock shows it."""
    from workbook_tools.cli.printing import number
    from workbook_tools.layout import case_log

    value = finding.value
    columns = [column for table in case_log().log_tables() if table.sheet == finding.sheet for column in table.columns]
    timed = any(column.heading == finding.column and column.kind == "time" for column in columns)
    if timed and isinstance(value, float) and 0 <= value < 1:
        return time.strftime("%H:%M:%S", time.gmtime(round(value * 86400)))
    return "" if value is None else number(value, 6)


def next_bath(checked: CheckedLog) -> None:
    """Print the card of the bath that is planned, and make the bench workbook of it."""
    from workbook_tools.cli.workbooks import print_card
    from workbook_tools.layout import load
    from workbook_tools.log.building.bench import build_bench
    from workbook_tools.log.card import bench_card
    from workbook_tools.xlsx.saving.whole_file import save

    title("The next bath")
    card = bench_card(checked, LOG)
    print_card(card)
    layout = load("bench")
    save(BENCH, build_bench(layout, {"bench": bench_values(checked, card.bath)}))
    print(f"\nMade {BENCH.relative_to(ROOT)}: the same bath on a form, with a card that prints on one page.")


def paper(checked: CheckedLog) -> None:
    """Make the pages of the next visit, and the copy for one producer."""
    from demo.visits import NEXT_DAY
    from workbook_tools.across.planning import visit_plan
    from workbook_tools.across.visit_pages import visit_pages
    from workbook_tools.producer.audit import audit
    from workbook_tools.producer.copy import producer_copy
    from workbook_tools.xlsx.printing.pages import build_pages
    from workbook_tools.xlsx.saving.whole_file import save

    title("To print and to hand over")
    day = datetime.date.fromisoformat(NEXT_DAY)
    made = visit_plan(checked, None, today=day, path=LOG)
    save(PLAN, build_pages(f"Visit plan {made.visit}", visit_pages(made, checked, "A4", None)))
    print(f"Made {PLAN.relative_to(ROOT)}: plan of visit {made.visit}, {len(made.packets)} labels, sheets to fill.")
    copy = producer_copy(checked, "S01", datetime.datetime.combine(day, datetime.time(9)))
    hits = audit(copy.content, checked.computed, "S01")
    print(f"Texts of other sites or private ones in the copy for S01: {len(hits)}.")
    if not hits:
        save(COPY, copy.content)
        print(f"Made {COPY.relative_to(ROOT)}: the copy for the producer of site S01.")


def bench_values(checked: CheckedLog, identifier: str) -> dict[str, Any]:
    """What to type on the bench form for a bath of the log: its own cells and those of its vessel."""
    from workbook_tools.layout import load

    _, form = load("bench").forms["bench"]
    bath = checked.computed.find("baths", identifier)
    vessel = checked.computed.find("vessels", bath["vessel"])
    site = checked.computed.find("sites", bath["site"])
    values = {
        "place": site["name"],
        "name": vessel["name"],
        "day": bath["date"],
        "lighter": 80,
        "recovery": 400,
    }
    for key in (column.key for column in form.table.columns if column.typed):
        for row in (bath, vessel):
            if key not in values and row.get(key) is not None:
                values[key] = row[key]
    return values


def farewell(seconds: float, checked: CheckedLog) -> None:
    """Where the files are and what to try next."""
    program = Path(".environments") / "demo" / ("Scripts" if sys.platform == "win32" else "bin") / "workbook-tools"
    log = LOG.relative_to(ROOT)
    title(f"Done in {seconds:.0f} s")
    print(f"""\
Open        {log}     Start, Baths (to the Check column at the end) and Summary
            {BENCH.relative_to(ROOT)}        Bench and Card
            {PLAN.relative_to(ROOT)}         the next visit, to print
            {COPY.relative_to(ROOT)}     what the producer of one site is given
Then        mend {checked.faults[0].cell} or change a start dose, save, and check again:
            {program} check {log}
            {program} card {log}
            {program} summary {log}
Your own    {program} new log "My practice.xlsx"
One sum     {program} calc BATH.STEPS 40 80 20 120

Doses are reference values: the label in force, local law and the prescribing veterinarian decide.""")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
