"""The figures of reliability, all of them by one command.

    python tests/reliability.py            every part in full; minutes
    python tests/reliability.py --quick    every part with fewer tries
    python tests/reliability.py --write    put the table into RELIABILITY.md as well

The parts: faults while writing (tests/faults), files from elsewhere (tests/support/hostile.py) and workbooks changed
by chance (tests/fuzz), what written files tell (tests/support/leaks.py, tests/support/every_command.py), dose safety
(tests/support/dose_paths.py), practices typed by an outsider and worked out on another road (tests/outsider). Ends with
0 where nothing was lost, corrupted, leaked or wrong, with 1 where something was, with 2 where a part is missing.
"""

from __future__ import annotations

import argparse
import datetime
import importlib
import importlib.util
import json
import platform
import subprocess
import sys
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "RELIABILITY.md"
BEGIN, END = "<!-- figures: written by tests/reliability.py -->", "<!-- end of figures -->"
Figures = Mapping[str, object]


class IncompleteError(RuntimeError):
    """A part of the figures is missing; the text says which."""


@dataclass(frozen=True)
class Amount:
    """How much is tried."""

    faults: int
    practices: int
    changed: float  # share of CHANGED
    heavy: int  # large files
    typed: int  # practices typed by the outsider


FULL, QUICK = Amount(1_500, 200, 1, 200, 1_000), Amount(150, 10, 0.02, 20, 20)
# workbooks changed by chance for each target of tests/fuzz: from a fraction of a millisecond to a second each
CHANGED = {"door": 100_000, "parts": 5_000, "reading": 2_000, "editing": 400, "sharing": 100}
# what each of the other modules must answer; whatever else it answers is printed below the table
HOSTILE = ("hostile files tried", "hostile files that got through or did harm", "slowest hostile file s")
HOSTILE_NAMES = ("slowest hostile file", "largest hostile file", "largest hostile file bytes inflated")
DOSES = ("inputs tried", "wrong doses")


def part(module: str, keys: tuple[str, ...]) -> dict[str, object]:
    """The figures of another module, which must be there and answer these keys; raises IncompleteError."""
    place = f"{module.replace('.', '/')}.py"
    if not (ROOT / place).is_file():
        raise IncompleteError(f"{place} is not there: its figures() are a part of the table. Nothing was written.")
    answer = importlib.import_module(module).figures()
    missing = [key for key in keys if key not in answer]
    if missing:
        raise IncompleteError(f"{place}: figures() does not answer {', '.join(missing)}. Nothing was written.")
    return dict(answer)


def faults(amount: Amount) -> dict[str, object]:
    from tests.faults.run import tried

    figures = tried(amount.faults)
    return {**figures.as_dict(), "said": figures.wrong}


def changed(amount: Amount) -> dict[str, object]:
    """Workbooks changed by chance; each target in a process of its own, under a limit of memory."""
    from tests.fuzz.targets import TARGETS

    if CHANGED.keys() != TARGETS.keys():
        raise IncompleteError(f"tests/fuzz has the targets {', '.join(TARGETS)}. Nothing was written.")
    runs = []
    for target, most in CHANGED.items():
        inputs = str(int(most * amount.changed))
        command = [sys.executable, "-m", "tests.fuzz.run", "--json", "--target", target, "--inputs", inputs]
        done = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=False)
        try:
            runs += json.loads(done.stdout)
        except json.JSONDecodeError as error:
            raise IncompleteError(f"{' '.join(command[1:])} gave no figures. Nothing was written.") from error
    slowest = max(runs, key=lambda run: float(run["slowest input s"]))
    return {
        **{f"workbooks changed for {run['target']}": run["inputs tried"] for run in runs},
        "workbooks changed": sum(run["inputs tried"] for run in runs),
        "taken": sum(run["taken"] for run in runs),
        "refused in words": sum(run["refused"] for run in runs),
        "other errors or hangs": sum(len(run["faults"]) for run in runs),
        "slowest changed workbook s": slowest["slowest input s"],
        "said": [fault for run in runs for fault in run["faults"]],
    }


def heavy(amount: Amount) -> dict[str, object]:
    """Large files, honest and hostile, under the limits of memory and processor time."""
    from tests.support.heavy import figures

    found = figures(amount.heavy)
    return {key: value for key, value in found.items() if key != "failures"} | {"said": found["failures"]}


def leaks(amount: Amount) -> dict[str, object]:
    """Copies for producers looked through, written files searched for their maker, commands kept off the network."""
    from tests.support.every_command import marks, prepared, ran, written
    from tests.support.leaks import copies_of, words_in

    copies = copies_of(amount.practices)
    with tempfile.TemporaryDirectory(prefix="reliability-") as name:
        folder = Path(name).resolve() / "folder of quillonesta"
        folder.mkdir()
        before = prepared(folder)
        results = ran(folder)
        files = list(written(folder, before))
        told = [f"{file}: {word}" for file, content in files for word in words_in(content, marks(folder))]
    used = [f"{' '.join(one['words'])}: {road}" for one in results for road in one["network"]]
    return {
        "practices": copies.practices,
        "copies looked through": copies.copies,
        "marks searched for": copies.marks,
        "leaks": len(copies.leaks),
        "commands run off the net": len(results),
        "ways to the network tried": len(used),
        "written files searched": len(files),
        "names, folders or computers told": len(told),
        "said": [*copies.leaks, *used, *told],
    }


def outsider(amount: Amount) -> dict[str, object]:
    """Practices typed with slips, every figure held against what another road gives."""
    from tests.outsider.run import tried

    found = tried(amount.typed)
    return {
        "practices typed by an outsider": found.practices,
        "cells typed amiss": found.slips,
        "figures compared": found.numbers + found.blanks,
        "of them to be blank": found.blanks,
        "wrong figures": len(found.wrong),
        "said": found.wrong,
    }


def collected(amount: Amount) -> dict[str, dict[str, object]]:
    """Every part; those of other modules first, so that a missing one is said at once."""
    return {
        "Files from elsewhere": part("tests.support.hostile", (*HOSTILE, *HOSTILE_NAMES)),
        "Dose safety": part("tests.support.dose_paths", DOSES),
        "Outsider": outsider(amount),
        "Changed workbooks": changed(amount),
        "Large files": heavy(amount),
        "Faults while writing": faults(amount),
        "Leaks": leaks(amount),
    }


def number(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise IncompleteError(f"{value!r} stands where a whole number must; nothing was written.")
    return value


def totals(parts: Mapping[str, Figures]) -> dict[str, object]:
    """The table's first rows, from all parts."""
    hostile, doses = parts["Files from elsewhere"], parts["Dose safety"]
    disk, told = parts["Faults while writing"], parts["Leaks"]
    chance, typed = parts["Changed workbooks"], parts["Outsider"]
    large = parts["Large files"]
    inputs = (
        hostile["hostile files tried"],
        large["large files tried"],
        doses["inputs tried"],
        told["copies looked through"],
        typed["practices typed by an outsider"],
    )
    return {
        "Inputs tried": sum(map(number, (*inputs, chance["workbooks changed"]))),
        "Faults injected": number(disk["faults injected"]),
        "Rows lost": number(disk["rows lost"]),
        "Files corrupted": number(disk["files corrupted"]),
        "Leaks": sum(
            number(told[key]) for key in ("leaks", "ways to the network tried", "names, folders or computers told")
        ),
        "Wrong doses": number(doses["wrong doses"]),
        "Wrong figures": number(typed["wrong figures"]),
        "Hostile files that got through or did harm": number(hostile["hostile files that got through or did harm"]),
        "Large files that broke a bound": number(large["large files that broke a bound"]),
        "Other errors or hangs over changed workbooks": number(chance["other errors or hangs"]),
        "Files left behind unsaid": number(disk["files left unsaid"]),
        "Refusals without a sentence": number(disk["refusals without a sentence"]),
        "Slowest hostile file": f"{hostile['slowest hostile file']}, {hostile['slowest hostile file s']} s",
        "Largest hostile file handled": (
            f"{hostile['largest hostile file']}, {shown(hostile['largest hostile file bytes inflated'])} bytes unpacked"
        ),
    }


MUST_BE_ZERO = (
    *(
        "Rows lost",
        "Files corrupted",
        "Leaks",
        "Wrong doses",
        "Wrong figures",
        "Hostile files that got through or did harm",
    ),
    *("Other errors or hangs over changed workbooks", "Large files that broke a bound"),
    *("Files left behind unsaid", "Refusals without a sentence"),
)


def table(parts: Mapping[str, Figures], quick: bool, day: datetime.date) -> str:
    """All of it in Markdown."""
    system = f"Python {platform.python_version()}, {platform.system()}"
    lines = [
        f"Run of {day.isoformat()}, {'few tries' if quick else 'in full'}; {system}.",
        "",
        "| Figure | |",
        "|---|--:|",
    ]
    lines += [f"| **{name}** | {shown(value)} |" for name, value in totals(parts).items()]
    for title, figures in parts.items():
        lines += ["", f"{title}:", "", "| Figure | |", "|---|--:|"]
        lines += [
            f"| {name} | {shown(value)} |" for name, value in figures.items() if not isinstance(value, list | dict)
        ]
    return "\n".join(lines)


def shown(value: object) -> str:
    return f"{value:,}" if isinstance(value, int) and not isinstance(value, bool) else str(value)


def page(text: str, made: str) -> str:
    """The page with the table between its marks."""
    if text.count(BEGIN) != 1 or text.count(END) != 1:
        raise IncompleteError(f"{PAGE.name} has lost the marks between which the figures stand. Nothing was written.")
    return f"{text.split(BEGIN, maxsplit=1)[0]}{BEGIN}\n\n{made}\n\n{END}{text.split(END)[1]}"


def main(arguments: list[str], collect: Callable[[Amount], dict[str, dict[str, object]]] = collected) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="fewer tries")
    parser.add_argument("--write", action="store_true", help=f"put the table into {PAGE.name}")
    chosen = parser.parse_args(arguments)
    try:
        parts = collect(QUICK if chosen.quick else FULL)
        made = table(parts, chosen.quick, datetime.date.today())
        wrong = [name for name, value in totals(parts).items() if name in MUST_BE_ZERO and value]
        if chosen.write:
            PAGE.write_text(page(PAGE.read_text(encoding="utf-8"), made), encoding="utf-8")
    except IncompleteError as error:
        print(error, file=sys.stderr)
        return 2
    print(made)
    for figures in parts.values():
        for said in (*figures.get("said", ()), *figures.get("failures", ())):  # type: ignore[misc]
            print(f"! {said}")
    print(f"NOT as promised: {', '.join(wrong)}" if wrong else "As promised.")
    return 1 if wrong else 0


def elsewhere(arguments: list[str]) -> int | None:
    """Run in the tests' own environment, made where needed, when this Python has not got what the tests need."""
    if all(importlib.util.find_spec(name) for name in ("openpyxl", "pypdf", "hypothesis", "workbook_tools")):
        return None
    from tests.prepare import environment

    python = environment(ROOT / ".environments" / "tests", ROOT / "tests" / "requirements.txt")
    return subprocess.run([str(python), __file__, *arguments], check=False).returncode


if __name__ == "__main__":
    sys.path[0] = str(ROOT)
    done = elsewhere(sys.argv[1:])
    sys.exit(main(sys.argv[1:]) if done is None else done)
