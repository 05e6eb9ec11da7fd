"""`responses`: what the log has learned about each species, at the prompt."""

from __future__ import annotations

import contextlib
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import click

from workbook_tools.cli.group import cli
from workbook_tools.cli.options import FILE, JSON
from workbook_tools.cli.printing import number, print_json, print_table, say
from workbook_tools.cli.writing import held, made, named

if TYPE_CHECKING:
    from workbook_tools.across.responses import DoseResponse, Learned, Lesson
    from workbook_tools.layout.compute import Computed
    from workbook_tools.xlsx.opened import Opened
    from workbook_tools.xlsx.saving.inputs import Seen

FIGURES = (
    *("Fish", "Baths", "Median s to working stage", "  its 95 % interval", "Working stage in 3 min"),
    *("  its 95 % interval", "Recovered in 5 min", "  its 95 % interval", "Adverse events", "Died", "From", "To"),
)
INSTALL = "Time to the working stage and suggested start doses: pip install 'workbook-tools[insight]' adds them here."


@cli.command(short_help="Print how each start dose worked, and the next to try.")
@click.argument("path", type=FILE)
@click.option("--species", help="Only this species.")
@click.option("--agent", help="Only this agent.")
@click.option("--picture", type=FILE, help="Draw the curves into this file as well (.png or .svg).")
@click.option("--into-log", is_flag=True, help="Write all of it into the table Learned on the log's Summary sheet.")
@click.option("--out", type=FILE, help="With --into-log: write a new file and leave PATH as it is.")
@click.option(
    "--replace", is_flag=True, help="Replace a file that is there, with --into-log PATH itself; a dated backup is kept."
)
@JSON
def responses(
    path: Path,
    species: str | None,
    agent: str | None,
    picture: Path | None,
    into_log: bool,
    out: Path | None,
    replace: bool,
    as_json: bool,
) -> None:
    """Print how each start dose worked in the case log at PATH, by species, agent and temperature.

    Time to the working stage with top-ups taken into account, recovery, adverse events, and the next start dose that
    the record supports, or why it supports none. With --into-log the same stands on the log's own Summary sheet, as
    values of today: every species and agent, whatever is printed.

    \b
    Examples
      workbook-tools responses "River farm.xlsx"
      workbook-tools responses "River farm.xlsx" --species tilapia --picture tilapia.png
      workbook-tools responses "River farm.xlsx" --into-log --replace
    """
    from workbook_tools.across.responses import responses as learn
    from workbook_tools.layout import case_log
    from workbook_tools.log.checking.log_check import check_log
    from workbook_tools.xlsx.opened import Opened
    from workbook_tools.xlsx.saving.inputs import Seen
    from workbook_tools.xlsx.saving.whole_file import check_target

    kind = "" if picture is None else picture.suffix.lower().removeprefix(".")
    if picture is not None and kind not in ("png", "svg"):
        raise click.UsageError(f"{picture}: the name of a picture ends in .png or .svg")
    if into_log and out is None and not replace:
        raise click.UsageError("say where it goes: --out PATH for a new file, or --replace for the log itself")
    if out is not None and not into_log:
        raise click.UsageError("--out is about the log with what it has learned: say --into-log as well")
    log = Opened(path)
    if into_log:  # refused before anything is printed
        from workbook_tools.across.keeping import check_place

        check_place(log, case_log())
    seen = Seen(log)
    if picture is not None:
        check_target(picture, seen)
    computed = check_log(log, case_log()).computed
    everything = learn(computed)
    learned = everything.only(species, agent)
    if everything.lessons and not learned.lessons:
        there = "; ".join(dict.fromkeys(f"{one.species}, {one.agent}" for one in everything.lessons))
        raise click.UsageError(f"nothing in the log for that species and agent; it has {there}")
    if as_json:
        print_json({"file": str(path), **learned.as_dict()})
    else:
        print_learned(learned)
    if picture is not None:
        _draw(learned, picture, kind, replace, seen, quiet=as_json)
    if into_log:
        _keep(log, computed, out, replace, quiet=as_json)


def _keep(log: Opened, computed: Computed, out: Path | None, replace: bool, quiet: bool) -> None:
    import datetime

    from workbook_tools.across.keeping import keep
    from workbook_tools.layout import case_log

    target = None if out is None else named(out)
    with held(log.path, "responses") if target is None else contextlib.nullcontext():
        rows, backup = keep(log, case_log(), datetime.date.today(), target, replace, computed)
    if not quiet:
        lines = f"{rows} {'row' if rows == 1 else 'rows'} of what the log has learned on its Summary sheet"
        say(f"{made(log.path if target is None else target, backup)}; {lines}")


def what_is_learned(computed: Computed) -> Learned | None:
    """The lessons of a log; None where the library they need is not installed."""
    from workbook_tools.across.responses import responses as learn
    from workbook_tools.across.survival import installed

    return learn(computed) if installed() else None


def print_learned(learned: Learned | None) -> None:
    """Every lesson as a table and a few sentences; or how to get them."""
    if learned is None:
        say(INSTALL)
        return
    if not learned.lessons:
        say("No fish of an anaesthetic bath with species, agent, dose and temperature is in the log yet.")
    for lesson in learned.lessons:
        _print_lesson(lesson)
    if learned.left_out:
        say(f"{sum(learned.left_out.values())} fish say nothing of the time to the working stage:")
        for reason, count in learned.left_out.items():
            say(f"  {count:>4}  {reason}")


def _print_lesson(lesson: Lesson) -> None:
    """A column for each dose, so that it fits a narrow terminal; then the suggestion."""
    doses = [f"{one.dose:g} mg/L" for one in lesson.responses]
    rows = zip(FIGURES, *map(_cells, lesson.responses), strict=True)
    say(lesson.title)  # as a title the table would fold it to its own width
    print_table("", ["Start dose", *doses], rows, [False, *[True] * len(doses)])
    for sentence in (lesson.suggestion.words, lesson.harm, f"! {lesson.suggestion.caution}"):
        say(*textwrap.wrap(sentence, 100, initial_indent="  ", subsequent_indent="  "))
    say()


def _cells(one: DoseResponse) -> list[str]:
    """The figures of one dose in words."""
    from workbook_tools.across.responses import day_words

    shape = one.curve
    course = ["-"] * 4
    if shape is not None:
        course = [
            number(shape.median, 4),
            _interval(number(shape.median_low, 4), number(shape.median_high, 4)),
            f"at least {_share(shape.at_least)}" if shape.share is None else _share(shape.share),
            _interval(_share(shape.share_low), _share(shape.share_high)),
        ]
    low, high = one.recovered_interval
    recovery = [_share(one.recovered_share), _interval(_share(low), _share(high))]
    days = [day_words(one.first) or "-", day_words(one.last) or "-"]
    return [f"{one.fish}", f"{one.baths}", *course, *recovery, f"{one.events}", f"{one.died}", *days]


def _interval(low: str, high: str) -> str:
    """Both ends; an end that the record leaves open is named so."""
    return "-" if low == high == "-" else f"{'open' if low == '-' else low} to {'open' if high == '-' else high}"


def _share(value: float | None) -> str:
    return "-" if value is None else f"{value:.0%}"


def _draw(learned: Learned, path: Path, kind: str, replace: bool, seen: Seen, quiet: bool) -> None:
    from workbook_tools.across.curves import picture
    from workbook_tools.xlsx.saving.whole_file import save

    backup = save(path, picture(learned, kind), replace, seen)
    if not quiet:
        say(f"Made {path}" + (f"; the old file is kept as {backup.name}" if backup else ""))
