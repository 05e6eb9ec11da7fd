"""`merge` and `lend`: several copies of one case log become one again; a copy for another device."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from workbook_tools.cli.group import cli
from workbook_tools.cli.options import FILE, JSON, QUIET, REPLACE
from workbook_tools.cli.printing import print_json, say
from workbook_tools.cli.writing import facts, held, made, named

if TYPE_CHECKING:
    from workbook_tools.log.merging.merged import Added, Change, Conflict, Merged
    from workbook_tools.log.merging.merging_files import MergedFile
    from workbook_tools.xlsx.saving.inputs import Seen

MOST_NAMED = 12  # rows of one sheet that are named one by one
MOST_LINES = 20  # lines of one kind that are printed
WHOLE_ROWS = ("other-thing", "id-doubled", "no-id", "no-room")


@cli.command(short_help="Take copies of a case log back into it.")
@click.argument("log", type=FILE)
@click.argument("copies", type=FILE, nargs=-1, required=True)
@click.option("--out", type=FILE, help="Write the merged log to this new file.")
@click.option("--replace", is_flag=True, help="Write over LOG, or over --out; a dated backup is kept beside it.")
@click.option("--base", type=FILE, help="An older state that LOG and the copies come from: shows who changed what.")
@click.option(
    "--confirm-site",
    multiple=True,
    metavar="ID",
    help="Take a producer's copy for this site although its origin is in doubt.",
)
@JSON
@QUIET
def merge(
    log: Path, copies: tuple[Path, ...], out: Path | None, replace: bool, base: Path | None,
    confirm_site: tuple[str, ...], as_json: bool, quiet: bool,
) -> None:  # fmt: skip
    """Merge the COPIES of a case log into LOG: the office computer's, a tablet's, one that a producer sent back.

    Rows are matched by their id, on the Lists and Reference sheets by their first column; the case of letters and the
    order of rows do not count. A row that only a copy has is added; an equal one is kept once; a
    blank cell takes the value of the copies. Cells filled with different values are conflicts: LOG keeps its own, both
    are printed and listed on the sheet "Merge conflicts". Nothing typed is dropped, no row is deleted.

    Listed, and not merged: a copy's row whose id means something else in LOG or in another copy (a required cell such
    as visit, bath or date differs, or more than one other cell); rows without an id, and rows whose id stands twice,
    unless LOG has the very same row. A row with nothing but an id given in advance counts as empty. What a copy does
    not have, be it a sheet, a column or a row, is never taken as emptied.

    With --base, a cell that only one side changed takes the changed value, and emptied cells count as changed.

    A copy that a producer sent back (see share) gives its daily rows, for groups of its own site; changes to your pages
    in it are printed and not applied. One that this log did not seal for the site it names is refused until you confirm
    the site by its id.

    Merging again changes nothing; the order of the copies does not matter. Everything else in LOG's file stays as it
    is: columns and sheets that were added, charts, text boxes.

    Ends with 0 where all was merged without conflicts, with 1 where there are conflicts or something on the daily sheet
    of a returned copy could not be taken, with 2 where nothing could be merged.

    \b
    Examples
      workbook-tools merge "River farm.xlsx" tablet.xlsx returned.xlsx --out merged.xlsx
      workbook-tools merge "River farm.xlsx" tablet.xlsx --base "River farm March.xlsx" --replace
    """
    if out is None and not replace:
        raise click.UsageError("say where the merged log goes: --out PATH for a new file, or --replace for LOG itself")
    target = log if out is None else named(out)
    with held(log, "merge") if _same(target, log) else contextlib.nullcontext():
        done, where, whole = _merged(log, copies, target, base, replace, confirm_site)
    if as_json:
        print_json({"file": str(target)} | done.as_dict())
    elif not quiet:
        print_merge(done.merged)
        say(where)
    raise SystemExit(0 if whole and not done.merged.conflicts else 1)


def _merged(
    log: Path, copies: tuple[Path, ...], target: Path, base: Path | None, replace: bool, confirmed: tuple[str, ...]
) -> tuple[MergedFile, str, bool]:
    """The merge, written, the sentence that says so, and whether all of the returned copies could be taken."""
    import datetime

    from workbook_tools.layout import case_log
    from workbook_tools.log.building.seal_key import key_of
    from workbook_tools.log.checking.reading import read_log
    from workbook_tools.log.merging.merging_files import merge_files
    from workbook_tools.producer.returned_copy import taken_back
    from workbook_tools.producer.returned_rows import identity
    from workbook_tools.xlsx.opened import Opened
    from workbook_tools.xlsx.saving.inputs import Seen

    files = {path: Opened(path) for path in (log, *copies, *([base] if base else []))}
    own, others, older = files[log], [files[path] for path in copies], files[base] if base else None
    seen = Seen(*files.values())
    layout = case_log()
    returned = [one for one in others if identity(one) is not None]
    back = {}
    if returned:
        rows_of_log, key = read_log(own.path, layout, own.archive), key_of(own.content)
        back = {str(one.path): taken_back(one, layout, rows_of_log, key, confirmed) for one in returned}
    logs = [one for one in others if one not in returned]
    rows = {name: one.log for name, one in back.items()}
    done = merge_files(own, logs, layout, datetime.datetime.now(), older, rows)
    done.merged.remarks += [note for one in back.values() for note in one.notes]
    return done, _save(target, log, done, replace, seen), all(one.whole for one in back.values())


def _same(target: Path, log: Path) -> bool:
    from workbook_tools.xlsx.reading import real_path

    return real_path(target) == real_path(log)


@cli.command(short_help="Make a copy of a case log for another device.")
@click.argument("log", type=FILE)
@click.option("--out", type=FILE, required=True, help="Write the copy to this new file.")
@click.option("--mark", required=True, help="One to three letters that its ids given ahead end in: T makes B048T.")
@REPLACE
@JSON
@QUIET
def lend(log: Path, out: Path, mark: str, replace: bool, as_json: bool, quiet: bool) -> None:
    """Make a copy of the case log at LOG to type into on another device, and to merge back afterwards.

    Empty rows of the copy have ids that end in the mark, so that a row typed there and one typed in LOG at the same
    time never have the same id. Give each device a mark of its own, and merge a copy back before you lend it again.
    LOG itself is not changed.

    \b
    Examples
      workbook-tools lend "River farm.xlsx" --out tablet.xlsx --mark T
      workbook-tools merge "River farm.xlsx" tablet.xlsx --replace
    """
    from workbook_tools.layout import case_log
    from workbook_tools.log.merging import lending

    target = named(out)
    done, backup = lending.lend(log, case_log(), target, mark, replace)
    if as_json:
        print_json(facts(target, backup) | {"next": dict(done.first), "full": list(done.full)})
        return
    if quiet:
        return
    say(made(target, backup))
    shown = ", ".join(f"{sheet} {name}" for sheet, name in done.first.items())
    say(f"Its next rows are {shown}." if shown else "It has no empty rows with ids.")
    if done.first and done.full:
        say(f"No empty row with an id is left on {', '.join(done.full)}.")
    say(f'Bring it back with: workbook-tools merge "{log}" "{target}" --replace')


def _save(target: Path, log: Path, done: MergedFile, replace: bool, seen: Seen) -> str:
    """Write the merged log; the sentence that says so."""
    from workbook_tools.xlsx.saving.whole_file import save

    seen.check_states()
    if _same(target, log) and not done.differs:
        return f"{target} has all of it already; nothing was written."
    backup = save(target, done.content, replace, seen, in_place=_same(target, log))
    listed = f"; {done.newly_listed} new on its sheet Merge conflicts" if done.newly_listed else ""
    return made(target, backup) + listed


def print_merge(merged: Merged) -> None:
    """What was done and found, in plain sentences."""
    for remark in merged.remarks:
        say(f"Note on {remark.file}: {remark.say}")
    for rows in _by_sheet(merged.added):
        say(f"Added to {rows[0].sheet}: {_counted(len(rows), 'row')}, {_names(rows)}.")
    for word, changes in (("Filled", merged.filled), ("Changed", merged.changed)):
        for cells in _by_sheet(changes):
            say(f"{word} on {cells[0].sheet}: {_counted(len(cells), 'cell')}.")
            _print_most([f"  {_change(cell)}" for cell in cells], "  ")
    _print_most([f"Conflict on {c[0].sheet}, {_row(c[0])}: {_said(c)}" for c in _by_row(merged.conflicts)])
    counts = (
        f"{_counted(len(merged.added), 'row')} added",
        f"{_counted(len(merged.filled), 'cell')} filled",
        f"{_counted(len(merged.changed), 'cell')} changed",
        f"{_counted(len(merged.conflicts), 'cell')} in conflict",
    )
    say(f"{', '.join(counts)}.")


def _print_most(lines: Sequence[str], indent: str = "") -> None:
    """The first lines of one kind, and how many there are besides."""
    for line in lines[:MOST_LINES]:
        say(line)
    if len(lines) > MOST_LINES:
        say(f"{indent}and {len(lines) - MOST_LINES} more (--json lists all)")


def _by_sheet(parts: Iterable[Any]) -> list[list[Any]]:
    groups: dict[str, list[Any]] = {}
    for part in parts:
        groups.setdefault(part.sheet, []).append(part)
    return list(groups.values())


def _by_row(conflicts: Iterable[Conflict]) -> list[list[Conflict]]:
    """Conflicts of rows that are listed whole together, the others one by one."""
    groups: dict[object, list[Conflict]] = {}
    for number, conflict in enumerate(conflicts):
        whole = (conflict.file, conflict.table, conflict.row, conflict.reason)
        groups.setdefault(whole if conflict.reason in WHOLE_ROWS else number, []).append(conflict)
    return list(groups.values())


def _said(conflicts: Sequence[Conflict]) -> str:
    from workbook_tools.layout.shown_values import as_shown
    from workbook_tools.log.merging.merged import REASONS

    first = conflicts[0]
    if first.reason not in WHOLE_ROWS:
        return first.say()
    cells = ", ".join(f"{c.column} {as_shown(c.other, c.format)}" for c in conflicts)
    return f"{REASONS[first.reason]}. The copy has: {cells}."


def _names(rows: Sequence[Added]) -> str:
    shown = [f"{row.id} from {_files(row.sources)}" for row in rows[:MOST_NAMED]]
    return ", ".join(shown) + (f" and {len(rows) - MOST_NAMED} more" if len(rows) > MOST_NAMED else "")


def _change(cell: Change) -> str:
    from workbook_tools.layout.shown_values import as_shown

    before, after = (("blank" if v is None else as_shown(v, cell.format)) for v in (cell.before, cell.after))
    old = "" if cell.before is None else f" instead of {before}"
    return f"{cell.id}, {cell.column}: {after}{old}, from {_files(cell.sources)}"


def _row(conflict: Conflict) -> str:
    name = "a row without an id" if conflict.id is None else str(conflict.id)
    return f"{name} (row {conflict.row} of {conflict.file})"


def _files(sources: Sequence[tuple[str, int]]) -> str:
    from workbook_tools.log.merging.merged import files

    return " and ".join(files(tuple(sources)))


def _counted(number: int, thing: str) -> str:
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"
