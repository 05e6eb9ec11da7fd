"""`plan`: a visit's packets, labels and sheets."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from workbook_tools.cli.group import cli
from workbook_tools.cli.options import DESPITE, FILE, JSON, PAPER, QUIET, REPLACE
from workbook_tools.cli.printing import print_json, print_table, say
from workbook_tools.cli.writing import facts, made, named

if TYPE_CHECKING:
    from workbook_tools.across.planning import VisitPlan
    from workbook_tools.layout.compute import Computed
    from workbook_tools.log.gate import Despite


@cli.command(short_help="Plan a visit: packets, labels, store, sheets to fill.")
@click.argument("path", metavar="LOG", type=FILE)
@click.option("--visit", help="Which visit, by its id; left out: the last one with a bath that is still to weigh.")
@click.option("--out", type=FILE, help="Also make a workbook (.xlsx) of pages to print: plan, labels, sheets to fill.")
@PAPER
@click.option("--fish", type=click.IntRange(1, 100), help="Rows for fish on the examination sheet, for each bath.")
@DESPITE
@REPLACE
@JSON
@QUIET
def plan(
    path: Path, visit: str | None, out: Path | None, paper: str, fish: int | None, despite: tuple[Despite, ...],
    replace: bool, as_json: bool, quiet: bool,
) -> None:  # fmt: skip
    """Plan a visit of the case log LOG: every packet to weigh, totals against the store, what is due, what to take.

    No plan is given while a row that it draws on, or that such a row points to, has an open fault.

    \b
    Examples
      workbook-tools plan "River farm.xlsx"
      workbook-tools plan "River farm.xlsx" --visit V021 --out "Plan V021.xlsx"
    """
    from workbook_tools.across.planning import visit_plan
    from workbook_tools.layout import case_log
    from workbook_tools.log.checking.log_check import check_log
    from workbook_tools.xlsx.opened import Opened
    from workbook_tools.xlsx.saving.inputs import Seen

    log = Opened(path)
    seen = Seen(log)
    target = None if out is None else named(out)
    checked = check_log(log, case_log())
    checked.log.relied_on()
    suggested = _suggested(checked.computed, visit)
    found = visit_plan(checked, visit, suggested, path=path, overrides=despite)
    written: dict[str, str | None] = {}
    sentence = ""
    if target is not None:
        from workbook_tools.across.visit_pages import cleared, visit_pages
        from workbook_tools.xlsx.printing.pages import build_pages
        from workbook_tools.xlsx.saving.whole_file import save

        found = cleared(found, checked, despite, path)
        pages = visit_pages(found, checked, paper, fish, despite)
        backup = save(target, build_pages(f"Visit plan {found.visit}", pages), replace, seen)
        written, sentence = facts(target, backup), made(target, backup)
    if as_json:
        print_json(found.as_dict() | written)
    elif not quiet:
        print_plan(found)
        if sentence:
            say(sentence)


def _suggested(computed: Computed, visit: str | None) -> dict[tuple[str, str], tuple[float, str]]:
    """What the log suggests where a start dose is blank; nothing where the library for it is not installed."""
    from workbook_tools.across.responses import responses
    from workbook_tools.across.suggested_doses import learned_starts, planned_baths
    from workbook_tools.across.survival import installed

    blank = [row for row in planned_baths(computed, visit) if row["start_dose"] is None]
    if not blank:
        return {}
    if not installed():
        say("Suggested start doses need: pip install 'workbook-tools[insight]'. Reference values are used.", err=True)
        return {}
    return learned_starts(responses(computed), blank)


def print_plan(planned: VisitPlan) -> None:
    """A plan in the terminal."""
    from workbook_tools.across.planning import takes_in_words
    from workbook_tools.functions.quantities.amounts import amount, short

    site = " ".join(part for part in (planned.site, planned.site_name) if part)
    say(f"Plan of visit {planned.visit}, {planned.date}, {site}".rstrip(", "))
    for note in (*planned.despite, *planned.notes):
        say(f"  ! {note}")
    for bath in planned.baths:
        say("", f"Bath {bath.bath}: {bath.species}, {bath.agent}, {bath.vessel}, {short(bath.litres, 'L')}")
        say(f"  Start dose {short(bath.dose, 'mg/L')}: {bath.dose_words}")
        if bath.packets:
            rows = [[p.name, p.substance, amount(p.mass), p.effect] for p in bath.packets]
            print_table(
                "Packets to weigh", ("Packet", "Substance", "g", "What it does"), rows, (False, False, True, False)
            )
        for note in bath.notes:
            say(f"  ! {note}")
    if planned.totals:
        rows = [
            [t.substance, amount(t.planned), amount(t.spare), amount(t.whole), takes_in_words(t)]
            for t in planned.totals
        ]
        headings = ("Product", "Planned g", "Spare g", "In all g", "Take from the store")
        print_table("In all", headings, rows, (False, True, True, True, False))
    for words in planned.store_words:
        say(f"  ! {words}")
    say("Due by this visit:" if planned.follow_ups else "Nothing promised is due by this visit.")
    for follow_up in planned.follow_ups:
        say(f"  [ ] {follow_up.due}: {follow_up.what}")
    say("To take along:")
    for item in planned.checklist:
        say(f"  [ ] {item}")
    for caution in planned.cautions:
        say(f"  ! {caution}")
