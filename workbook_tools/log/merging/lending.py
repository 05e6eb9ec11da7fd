"""Lends a log to another device: a copy whose ids given ahead end in a mark, so that no id is given twice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from workbook_tools.errors import DataError, EditError
from workbook_tools.layout import Layout
from workbook_tools.layout.model import MARK_LETTERS
from workbook_tools.log.checking.current_layout import opened
from workbook_tools.log.checking.reading import ReadTable, read_log
from workbook_tools.log.merging.given_ids import MARK, SPARE_ROWS, computed_ids, pointed_to, write
from workbook_tools.log.merging.matching import alike_id
from workbook_tools.xlsx.addresses import column_number
from workbook_tools.xlsx.editing.cell_formulas import formula_of
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit
from workbook_tools.xlsx.opened import Opened
from workbook_tools.xlsx.saving.inputs import Seen
from workbook_tools.xlsx.saving.whole_file import save

FEWEST_ROWS = 5  # empty ones: a sheet of the copy with fewer is made longer


@dataclass(frozen=True)
class Lent:
    """A copy to lend: its file, its mark as it was taken, and the first id given ahead on each sheet."""

    content: bytes
    mark: str
    first: Mapping[str, str]
    full: tuple[str, ...]  # sheets with no empty row that has an id


def lend(path: Path, layout: Layout, out: Path, mark: str, replace: bool = False) -> tuple[Lent, Path | None]:
    """Write a copy of the log at `path` to `out` for another device; the log itself is not touched.

    Answers the copy, and the backup of a file that was replaced. Raises DataError for what is no mark, ReadError for
    what is no log of this layout, SaveError where `out` is the log itself or cannot be written.
    """
    log = Opened(path)
    seen = Seen(log)
    done = lent(log, layout, mark)
    return done, save(out, done.content, replace, seen)


def lent(file: Path | Opened, layout: Layout, mark: str) -> Lent:
    """The copy of a log for another device; nothing is written.

    Ids of rows in use stay, and so do ids given ahead that other rows name already, or that a person typed or computes.
    The numbers go on from the last row in use: B048 becomes B048T.
    """
    letters = checked_mark(mark)
    log_file = Opened.of(file)
    log = read_log(log_file.path, layout, log_file.archive)
    edit = opened(log_file.path, log_file.archive, layout)
    needed = pointed_to(layout, {key: read.rows for key, read in log.tables.items()})
    first, full = {}, []
    for key, read in log.tables.items():
        if read.table.gives_ids:
            names = _marked(edit, read, needed.get(key, set()), letters)
            if names:
                first[read.table.sheet] = names[0]
            else:
                full.append(read.table.sheet)
    edit.set_property(MARK, letters)
    return Lent(edit.content(), letters, first, tuple(full))


def checked_mark(mark: str) -> str:
    """The mark in capitals; raises DataError for anything but one to three letters from A to Z."""
    letters = mark.strip()
    if not (letters.isascii() and letters.isalpha() and len(letters) <= MARK_LETTERS):
        raise DataError([f"a mark is one to {MARK_LETTERS} letters from A to Z, such as T; not {mark!r}"])
    return letters.upper()


def _more_rows(edit: WorkbookEdit, read: ReadTable) -> list[int]:
    """Empty rows added below a table that show nothing; none where something stands in the way."""
    try:
        first = edit.grow(read.table.name, SPARE_ROWS)
    except EditError:
        return []
    rows = list(range(first, first + SPARE_ROWS))
    for column in (c for c in read.table.columns if not c.typed and c.key in read.letters):
        for row in rows:
            found = edit.rows(read.table.sheet).peek(row)
            number = column_number(read.letters[column.key])
            if found is not None and formula_of(found.cells.get(number)) is not None:
                edit.store(read.table.sheet, row, number, None)
    return rows


def _marked(edit: WorkbookEdit, read: ReadTable, needed: set[object], mark: str) -> list[str]:
    """Mark the ids given ahead of one table; the new ones, in the order of their rows."""
    table = read.table
    place = read.letters.get(table.key_column.key)
    if place is None:
        return []
    fixed = computed_ids(edit, table.sheet, place, list(read.ahead.values()))
    rows = sorted(
        row
        for name, row in read.ahead.items()
        if table.is_given(name) and alike_id(name) not in needed and row not in fixed
    )
    stay = [name for name, row in read.ahead.items() if row not in rows]
    if len(rows) < FEWEST_ROWS:
        rows += _more_rows(edit, read)
    names = table.ids_ahead((*(row[table.key_column.key] for row in read.rows), *stay), len(rows), mark)
    write(edit, table.sheet, place, {}, dict(zip(names, rows, strict=True)))
    return names
