"""`new`, `check`, `card`, `summary`: workbooks at the prompt."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from workbook_tools.cli.group import cli
from workbook_tools.cli.options import DESPITE, FILE, JSON, QUIET, REPLACE
from workbook_tools.cli.printing import console, number, print_json, print_table, say, visible
from workbook_tools.cli.writing import made, named, put

if TYPE_CHECKING:
    from workbook_tools.across.summary import SummaryBlock
    from workbook_tools.log.card import BenchCard
    from workbook_tools.log.checking.log_check import CheckedLog
    from workbook_tools.log.gate import Despite
    from workbook_tools.xlsx.opened import Opened


@cli.group()
def new() -> None:
    """Make a workbook: a case log, or a bench sheet."""


@new.command("log")
@click.argument("path", type=FILE)
@click.option("--rows", default=200, show_default=True, type=click.IntRange(1, 100_000), help="Rows on each sheet.")
@REPLACE
@JSON
@QUIET
def new_log(path: Path, rows: int, replace: bool, as_json: bool, quiet: bool) -> None:
    """Make an empty case log at PATH (.xlsx).

    \b
    Example
      workbook-tools new log "River farm.xlsx" --rows 500
    """
    from workbook_tools.layout import case_log
    from workbook_tools.log.building.log_workbook import build_log
    from workbook_tools.log.building.seal_key import with_key

    target = named(path)
    with progress(quiet or as_json) as report:
        content = with_key(build_log(case_log(), rows=rows, progress=report))
    put(target, content, replace, quiet, as_json)


@new.command("bench")
@click.argument("path", type=FILE)
@REPLACE
@JSON
@QUIET
def new_bench(path: Path, replace: bool, as_json: bool, quiet: bool) -> None:
    """Make a bench workbook at PATH (.xlsx): one bath worked out, with a card to print.

    \b
    Example
      workbook-tools new bench bench.xlsx
    """
    from workbook_tools.layout import load
    from workbook_tools.log.building.bench import build_bench

    put(named(path), build_bench(load("bench")), replace, quiet, as_json)


class progress:  # noqa: N801 - reads as a word at its one use
    """A progress bar over the sheets while a workbook is built; silent on request and where nobody looks."""

    def __init__(self, quiet: bool) -> None:
        from rich.progress import Progress

        self.bar = Progress(console=console(), transient=True, disable=quiet or not console().is_terminal)
        self.task = self.bar.add_task("Building", total=None)

    def __enter__(self) -> progress:
        self.bar.start()
        return self

    def __exit__(self, *raised: object) -> None:
        self.bar.stop()

    def __call__(self, what: str, done: int, whole: int) -> None:
        self.bar.update(self.task, description=visible(what), completed=done, total=whole)


@cli.command(short_help="Say what is missing or wrong in a case log, cell by cell.")
@click.argument("path", type=FILE)
@click.option(
    "--annotate", type=FILE, metavar="OUT", help="Write a marked copy: a note on each cell, a sheet Findings."
)
@REPLACE
@JSON
@QUIET
def check(path: Path, annotate: Path | None, replace: bool, as_json: bool, quiet: bool) -> None:
    """Check the case log at PATH: every finding with its sheet, row, column and reason. Changes nothing.

    Ends with 0 when there is nothing to find, with 1 when there is.

    \b
    Examples
      workbook-tools check "River farm.xlsx"
      workbook-tools check "River farm.xlsx" --annotate "River farm marked.xlsx"
      workbook-tools check "River farm.xlsx" --json
    """
    if replace and annotate is None:
        raise click.UsageError("--replace is about the marked copy: say --annotate OUT as well.")
    from workbook_tools.xlsx.opened import Opened

    log = Opened(path)
    target = None if annotate is None else named(annotate)
    checked = _checked(log)
    if target is not None:
        from workbook_tools.log.checking import annotating

        backup = annotating.annotate(log, checked, target, replace)
        if not quiet and not as_json:
            say(made(target, backup))
    if as_json:
        print_json({"file": str(path), "findings": [finding.as_dict() for finding in checked.findings]})
    elif not quiet:
        print_findings(checked)
    raise SystemExit(1 if checked.findings else 0)


def _checked(log: Path | Opened) -> CheckedLog:
    from workbook_tools.layout import case_log
    from workbook_tools.log.checking.log_check import check_log

    return check_log(log, case_log())


def print_findings(checked: CheckedLog) -> None:
    """A line for each finding, then how many."""
    for finding in checked.findings:
        place = finding.cell or f"{finding.sheet} row {finding.row}"
        value = "" if finding.value is None else f"  ({finding.shown})"
        say(f"{place:<16} {finding.code:<24} {finding.reason}{value}")
    notices = len(checked.findings) - len(checked.faults)
    say(f"{len(checked.faults)} to mend, {notices} to look at.")


@cli.command(short_help="Print the bench card of a bath: every packet to weigh.")
@click.argument("path", type=FILE)
@click.option("--bath", help="Which bath, by its id; left out: the last one that is planned and not yet weighed.")
@DESPITE
@JSON
def card(path: Path, bath: str | None, despite: tuple[Despite, ...], as_json: bool) -> None:
    """Print the bench card of a bath of the case log at PATH: every packet to weigh.

    No card is given while the bath's row, or a row that it points to, has an open fault.

    \b
    Example
      workbook-tools card "River farm.xlsx" --bath B041
    """
    from workbook_tools.log.card import bench_card

    checked = _checked(path)
    checked.log.relied_on()
    found = bench_card(checked, path, bath, despite)
    if as_json:
        print_json(found.as_dict())
    else:
        print_card(found)


def print_card(card: BenchCard) -> None:
    """A bench card in the terminal."""
    from workbook_tools.functions.quantities.amounts import amount

    say(f"Bench card, bath {card.bath}")
    for sentence in card.despite:
        say(f"  ! {sentence}")
    for name, value, unit in card.facts:
        say(f"  {name:<18}{number(value, 6)} {unit if value is not None else ''}".rstrip())
    headings = ("Packet", "Dose then mg/L", "Drug g", "Buffer g", "Drug so far g")
    rows = [[name, *("-" if value is None else amount(value) for value in values)] for name, *values in card.packets]
    print_table("Packets to weigh", headings, rows, (False, True, True, True, True))
    say(f"Check: {card.check}")
    for caution in card.cautions:
        say(f"  ! {caution}")


@cli.command(short_help="Print the figures across all visits of a case log.")
@click.argument("path", type=FILE)
@JSON
def summary(path: Path, as_json: bool) -> None:
    """Print the figures across all visits of the case log at PATH, from what is typed in it.

    \b
    Example
      workbook-tools summary "River farm.xlsx"
    """
    from workbook_tools.across.summary import summary as figures
    from workbook_tools.cli.responses import print_learned, what_is_learned

    computed = _checked(path).computed
    blocks, learned = figures(computed), what_is_learned(computed)
    if as_json:
        found = {"blocks": [block.as_dict() for block in blocks], "responses": learned and learned.as_dict()}
        print_json({"file": str(path), **found})
        return
    for block in blocks:
        print_block(block)
    print_learned(learned)


def print_block(block: SummaryBlock) -> None:
    """A block turned on its side: a line for each figure, so that it fits a narrow terminal."""
    from workbook_tools.layout.shown_values import as_shown

    if not block.rows:
        say(f"{block.caption}: nothing yet.")
        return
    figures = [column for column in block.columns if column.kind != "key"]
    rows = [[c.heading, *(as_shown(row[c.key], c.format, 4) for row in block.rows)] for c in figures]
    names = [str(row["key"]) for row in block.rows]
    print_table(block.caption, ["", *names], rows, [False, *[True] * len(names)])
