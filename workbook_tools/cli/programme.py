"""`gather`, `insight`: many logs read into tables, and answers across all of them."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from workbook_tools.cli.group import cli
from workbook_tools.cli.options import FILE, JSON, QUIET, REPLACE
from workbook_tools.cli.printing import console, number, print_json, print_table, say
from workbook_tools.cli.writing import facts, made, named

if TYPE_CHECKING:
    from workbook_tools.across.many_logs.answers import Programme
    from workbook_tools.across.many_logs.gathering import Gathered

SUMMARY = "programme"  # the layout of a summary
SHOWN = 20  # files named on the screen; all of them are in the table `files`, and with --json


@cli.command(short_help="Read many logs into tables, one for each kind of row.")
@click.argument("folder", type=FILE)
@click.option("--out", required=True, type=FILE, metavar="TABLE.parquet", help="Folder of the tables; made or kept.")
@click.option(
    "--summary",
    type=FILE,
    metavar="PATH.xlsx",
    help="Also write a workbook of counts across all logs; a dated backup is kept of one that is there.",
)
@click.option("--workers", type=click.IntRange(1, 256), help="Processes to read with; left out: one for each core.")
@click.option("--scheduler", default="", metavar="ADDRESS", help="Read on the Dask cluster at this address instead.")
@REPLACE
@QUIET
@JSON
def gather(
    folder: Path, out: Path, summary: Path | None, workers: int | None, scheduler: str, replace: bool, quiet: bool,
    as_json: bool,
) -> None:  # fmt: skip
    """Read every case log below FOLDER into tables, one for each kind of row.

    TABLE.parquet is a folder. It holds a folder of Parquet files for each sheet (sites, baths, fish and so on), for
    `problems`, for `files`, and for what `workbook-tools insight` counts; a Parquet reader takes TABLE.parquet/fish as
    one table. Each row says its file, site, layout version and sheet row. Dates are dates, times times of day; times
    that may be by stopwatch are days, as the cell has them, with the seconds computed beside them. Computed columns are
    computed anew. A cell that does not fit its column (a text for a number, a number for a lot) is empty in the table
    and stands in `problems` with its place and what was typed: nothing is guessed.

    Run it again after logs have changed: files that are as they were are not read again, files that are gone lose their
    rows, and a run that was interrupted goes on where it ended. Copies that are not logs of their own are left out:
    copies for producers, copies lent or marked, backups, lock files, hidden folders.

    Private notes of the logs ("yours alone") are not gathered. Names of sites, contacts and people are: keep the folder
    as you keep the logs. The workbook of --summary holds counts alone, and no names; one of an earlier run is replaced,
    any other file with --replace only, and a case log never.

    A cluster's workers need the same version of these tools and must see FOLDER under the same name.

    Ends with 0 when every log could be read, with 1 when all is done but for files that could not be read; they are
    named with the reason.

    \b
    Examples
      workbook-tools gather "Logs" --out programme.parquet
      workbook-tools gather "Logs" --out programme.parquet --summary programme.xlsx --workers 8
      workbook-tools gather /shared/logs --out programme.parquet --scheduler tcp://10.0.0.5:8786
    """
    from workbook_tools.across.many_logs.fan_out import cluster, local_work
    from workbook_tools.across.many_logs.gathering import gather as gather_logs

    if out.suffix.lower() != ".parquet":
        raise click.UsageError(f"--out {out}: the name must end in .parquet")
    target = None if summary is None else named(summary)
    if target is not None:
        _check_summary(target, replace)
    if workers and scheduler:
        raise click.UsageError("--workers is about this computer; a cluster has its own: leave one of the two out")
    place = cluster(scheduler) if scheduler else local_work(workers or os.cpu_count() or 1)
    with place as work, _progress(quiet or as_json) as report:
        done = gather_logs(folder, out, work, report)
    backup = None if target is None else _summarise(out, target)
    if as_json:
        print_json(_as_dict(done, out) | {"summary": None if target is None else facts(target, backup)})
    elif not quiet:
        _say(done, out)
        if target is not None:
            say(made(target, backup))
    raise SystemExit(0 if done.complete else 1)


def _check_summary(path: Path, replace: bool) -> None:
    """Refuse before the work what could not be made or saved after it."""
    from workbook_tools.across import survival
    from workbook_tools.errors import MissingLibraryError, SaveError
    from workbook_tools.xlsx.reading import file_content
    from workbook_tools.xlsx.saving.program_locks import check_not_open
    from workbook_tools.xlsx.saving.whole_file import THERE_ALREADY, check_target, layout_of

    if not path.parent.is_dir():
        raise SaveError(path, f"the folder {path.parent} is not there.")
    check_target(path)
    if path.is_file() and not replace and layout_of(file_content(path)) != SUMMARY:
        raise SaveError(path, THERE_ALREADY)
    check_not_open(path)
    if not survival.installed():
        raise MissingLibraryError(survival.LIBRARY, "programme", "The summary")


def _summarise(table: Path, target: Path) -> Path | None:
    """Write the workbook of counts; a file that is there is replaced, and its backup answered."""
    from workbook_tools.across.many_logs.answers import Programme
    from workbook_tools.across.many_logs.overview import overview
    from workbook_tools.xlsx.saving.whole_file import save

    return save(target, overview(Programme(table)), replace=True)


class _progress:  # noqa: N801 - reads as a word at its one use
    """A progress bar over the files; silent where nobody looks."""

    def __init__(self, quiet: bool) -> None:
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

        columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
        shown = not quiet and console().is_terminal
        self.bar = Progress(*columns, console=console(), transient=True, disable=not shown)
        self.task = self.bar.add_task("Reading", total=None)

    def __enter__(self) -> _progress:
        self.bar.start()
        return self

    def __exit__(self, *raised: object) -> None:
        self.bar.stop()

    def __call__(self, more: int, whole: int) -> None:
        self.bar.update(self.task, advance=more, total=whole)


def _as_dict(done: Gathered, out: Path) -> dict[str, Any]:
    from workbook_tools.across.many_logs.one_log import OTHER, UNREADABLE

    return {
        "table": str(out),
        "logs": len(done.logs),
        "rows": sum(one.rows for one in done.logs),
        "problems": sum(one.problems for one in done.logs),
        "read": done.read,
        "unchanged": done.unchanged,
        "gone": done.gone,
        "unreadable": [{"file": one.file, "reason": one.reason} for one in done.of(UNREADABLE)],
        "folders not looked into": [{"folder": name, "reason": reason} for name, reason in done.closed],
        "no logs of their own": [{"file": one.file, "reason": one.reason} for one in done.of(OTHER)],
        "the same byte by byte": done.twins(),
    }


def _say(done: Gathered, out: Path) -> None:
    """What was done, then what wants a look."""
    from workbook_tools.across.many_logs.one_log import OTHER, UNREADABLE

    logs, rows, problems = done.logs, sum(one.rows for one in done.logs), sum(one.problems for one in done.logs)
    say(f"{_many(len(logs), 'log')} with {_many(rows, 'row')} in {out}.")
    say(f"{_many(done.read, 'file')} read, {done.unchanged:,} unchanged since the last run, {done.gone:,} gone.")
    if problems:
        say(f"{_many(problems, 'cell or column', 'cells or columns')} that do not fit: see the table problems.")
    refused = [(one.file, one.reason) for one in done.of(UNREADABLE)]
    _list(f"{_many(len(refused), 'file')} could not be read:", [f"{file}: {reason}" for file, reason in refused])
    closed = [f"{name}: {reason}" for name, reason in done.closed]
    _list(f"{_many(len(closed), 'folder')} could not be looked into; what was gathered from it stays:", closed)
    others = [f"{one.file}: {one.reason}" for one in done.of(OTHER)]
    _list(f"{_many(len(others), 'workbook')} left out:", others)
    _list(
        "The same byte by byte, so that its rows count more than once:", [" = ".join(files) for files in done.twins()]
    )


def _many(count: int, one: str, more: str = "") -> str:
    return f"{count:,} {one if count == 1 else more or one + 's'}"


def _list(title: str, lines: list[str]) -> None:
    if lines:
        say(title)
        for line in lines[:SHOWN]:
            say(f"  {line}")
        if len(lines) > SHOWN:
            say(f"  and {len(lines) - SHOWN:,} more: see the table files, or --json")


@cli.command(short_help="Print doses, prevalence and drug use over many logs.")
@click.argument("table", type=FILE, metavar="TABLE.parquet")
@click.option("--species", help="Only this species.")
@click.option("--agent", help="Only this agent.")
@JSON
def insight(table: Path, species: str | None, agent: str | None, as_json: bool) -> None:
    """Answer across all logs gathered in TABLE.parquet: start doses, prevalence, drug use, losses.

    Doses are counted as `workbook-tools responses` counts those of one log, top-ups taken into account; a suggestion
    stays inside the reference ranges of all logs. Prevalence is fish positive of fish looked at, with Wilson's 95 %
    interval. Drugs are what baths with their top-ups and treatments used. Losses are by cause, of all species.

    \b
    Examples
      workbook-tools insight programme.parquet
      workbook-tools insight programme.parquet --species tilapia
      workbook-tools insight programme.parquet --json
    """
    from workbook_tools.across.many_logs.answers import Programme
    from workbook_tools.across.prevalence import CAUTION
    from workbook_tools.across.survival import installed

    asked = Programme(table)
    learned = asked.learned(species, agent) if installed() else None
    found, drugs, losses = asked.prevalences(species), asked.drug_use(species, agent), asked.losses()
    if as_json:
        answers: dict[str, Sequence[Any]] = {"prevalence": found, "drug use": drugs, "losses": losses}
        print_json(
            {"table": str(table), "counts": asked.counts()}
            | {"doses": None if learned is None else learned.as_dict()}
            | {key: [one.as_dict() for one in rows] for key, rows in answers.items()}
        )
        return
    from workbook_tools.cli.responses import print_learned

    _print_counts(asked)
    print_learned(learned)
    if found:
        headings = ["Finding", "Species", "Samples", "Fish looked at", "Positive", "Prevalence", "95 % interval"]
        rows = [
            (
                *(one.found, one.species or "-", f"{one.samples} of {one.samples_seen}", f"{one.examined}"),
                *(f"{one.positive}", _share(one.share), " to ".join(map(_share, one.interval))),
            )
            for one in found
        ]
        print_table("Prevalence", headings, rows, [False, False, *[True] * 5])
        say(f"! {CAUTION}", "")
    if drugs:
        headings = ["Drug", "Species", "Month", "Used in", "Times", "g", "mL", "Not known"]
        cells = [
            (
                *(one.agent, one.species or "-", one.month or "-", one.source, f"{one.times}"),
                *(number(one.grams or None, 6), number(one.millilitres or None, 6), number(one.unknown or None)),
            )
            for one in drugs
        ]
        print_table("Drugs used", headings, cells, [False] * 4 + [True] * 4)
    if losses:
        lost = [(one.cause, f"{one.days}", f"{one.dead:,.0f}") for one in losses]
        print_table("Losses, all species", ["Cause", "Daily rows", "Fish found dead"], lost, [False, True, True])


def _print_counts(asked: Programme) -> None:
    from workbook_tools.across.many_logs.overview import COUNTED

    counts = asked.counts()
    print_table("", ["In all logs", ""], [(says, f"{counts[key]:,}") for key, says in COUNTED.items()], [False, True])


def _share(value: float | None) -> str:
    return "-" if value is None else f"{value:.1%}"
