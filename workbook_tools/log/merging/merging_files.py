"""Merges files: reads a log and its copies, and puts what was merged into the log's own file, in place.

What a person added to the log stays: text boxes, charts, columns, sheets, looks. See `merging` for the rules.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from workbook_tools.errors import EditError, ReadError
from workbook_tools.layout import Layout, Table
from workbook_tools.log.checking.current_layout import VERSION, opened
from workbook_tools.log.checking.reading import HEADING_ROWS, ReadLog, ReadTable, read_log, typed_value
from workbook_tools.log.merging import given_ids
from workbook_tools.log.merging.conflict_sheet import add_conflicts, listed
from workbook_tools.log.merging.log_merge import conflict, merge
from workbook_tools.log.merging.matching import Side, alike_id, filled_cells, merged_columns, side
from workbook_tools.log.merging.merged import Change, Merged, Note, Sources
from workbook_tools.log.merging.recomputing import RawCells, store_results
from workbook_tools.log.upgrading.mending import mended
from workbook_tools.xlsx.addresses import column_number
from workbook_tools.xlsx.editing.cell_formulas import formula_of
from workbook_tools.xlsx.editing.workbook_edit import TablePlace, WorkbookEdit
from workbook_tools.xlsx.opened import Opened
from workbook_tools.xlsx.reading import Archive, admitted


@dataclass(frozen=True)
class MergedFile:
    """A merge, and the log's file as it then is; `before` are the bytes that were read."""

    merged: Merged
    content: bytes
    before: bytes
    newly_listed: int = 0

    @property
    def differs(self) -> bool:
        """Whether there is anything to write."""
        return self.content != self.before

    def as_dict(self) -> dict[str, Any]:
        return self.merged.as_dict() | {"newly_listed": self.newly_listed}


def merge_files(
    log: Path | Opened,
    copies: Sequence[Path | Opened],
    layout: Layout,
    moment: datetime.datetime,
    base: Path | Opened | None = None,
    returned: Mapping[str, ReadLog] | None = None,
) -> MergedFile:
    """Merge copies of a log into it; nothing is written to any file.

    Parameters
    ----------
    log, copies, base : files; `base` is an older state that they come from.
    layout : the layout of the case log.
    moment : what the list of conflicts says they were found on.
    returned : rows that came back in other kinds of files, by file.

    Returns
    -------
    The merge and the new content of the log's file, the old one where nothing changes.

    Raises
    ------
    ReadError : a file is not there, or is not a case log; the log is of another layout version.
    EditError : the log's file cannot be edited as it must be.
    """
    own_file = Opened.of(log)
    log, archive = own_file.path, own_file.archive
    before = archive.content
    own = _read(log, layout, archive)
    archive, on_files = _whole(log, archive, layout, own)
    if archive.content is not before:
        own = _read(log, layout, archive)
    edit = opened(log, archive, layout)
    logs, on_columns = {}, []
    for copy in {Opened.of(one).path: Opened.of(one) for one in copies}.values():
        path, other = copy.path, copy.archive
        read = logs[str(path)] = _read(path, layout, other)
        on_files += _remarks_on_file(path, other, edit, layout)
        on_columns += _remarks_on_columns(path, other, read)
    old = None
    if base is not None:
        base_file = Opened.of(base)
        old = _read(base_file.path, layout, base_file.archive)
        on_files += _remarks_on_file(base_file.path, base_file.archive, edit, layout)
    others = logs | dict(returned or {})
    merged = merge(own, list(others.values()), old)
    merged.remarks += [*on_files, *on_columns]
    raw = RawCells(archive.content)
    there = listed(raw, edit.sheet_names, layout)
    _Writing(edit, raw, own, others, merged).run()
    merged.sort()
    new = add_conflicts(edit, there, merged.conflicts, layout, moment)
    changed = bool(merged.added or merged.filled or merged.changed or new)
    return MergedFile(merged, edit.content() if changed else archive.content, before, new)


def _whole(log: Path, archive: Archive, layout: Layout, own: ReadLog) -> tuple[Archive, list[Note]]:
    """The log with its formulas, lists and names mended, so that what comes in is computed; what was mended."""
    try:
        done = mended(log, archive, layout, own)
    except EditError as refusal:
        return archive, [Note(str(log), f"Its formulas could not be mended: {refusal}")]
    if done.content is None:
        return archive, []
    notes = [Note(str(log), f"Mended on the way: {said}") for said in (*done.changes, *done.looks)]
    return admitted(log, done.content), notes


def _read(path: Path, layout: Layout, archive: Archive) -> ReadLog:
    """A case log; a workbook that only has sheets of its lists is none."""
    log = read_log(path, layout, archive)
    if not any(log.tables[table.key].letters for table in layout.log_tables() if table.key in log.tables):
        raise ReadError(path, "is a workbook, but has none of the tables of a case log.")
    return log


# ------------------------------------------------------------------------------------------------ the log's file


class _Writing:
    """Puts merged values into the log's file; what finds no place there goes onto the list of conflicts."""

    def __init__(
        self, edit: WorkbookEdit, raw: RawCells, own: ReadLog, others: Mapping[str, ReadLog], merged: Merged
    ) -> None:
        self.edit = edit
        self.raw = raw
        self.own = own
        self.others = others
        self.merged = merged
        self.places = {name.casefold(): place for name, place in edit.tables().items()}
        self.grown: dict[str, range] = {}

    def run(self) -> None:
        for key, read in self.own.tables.items():
            self._place_rows(key, read)
        self.merged.filled = [change for change in self.merged.filled if self._put(change)]
        self.merged.changed = [change for change in self.merged.changed if self._put(change)]
        for key, read in self.own.tables.items():
            self._put_added(key, read)
        if self.merged.added or self.merged.filled or self.merged.changed:
            typed = {
                key: {number: row for number, row in zip(self.merged.numbers[key], rows, strict=True) if number}
                for key, rows in self.merged.rows.items()
            }
            letters = {key: read.letters for key, read in self.own.tables.items()}
            waiting = {key: self._ids_ahead(key, read) for key, read in self.own.tables.items()}
            store_results(self.edit, self.raw, self.own.layout, typed, letters, self.grown, waiting)

    def _ids_ahead(self, key: str, read: ReadTable) -> dict[str, int]:
        """Ids of rows that are still empty; one whose row was taken by another goes to the next empty row."""
        table, numbers = read.table, self.merged.numbers[key]
        names = [row[table.key_column.key] for row in self.merged.rows[key]]
        filled = {number: name for number, name in zip(numbers, names, strict=True) if number is not None}
        spare = [number for number in self.grown.get(key, ()) if number not in filled]
        place = read.letters.get(table.key_column.key)
        if place is None or not table.gives_ids or not (spare or filled.keys() & read.ahead.values()):
            return dict(read.ahead)
        fixed = self._fixed_ids(read, place)
        free = {name: number for name, number in read.ahead.items() if number not in fixed}
        stay = {name: number for name, number in read.ahead.items() if number in fixed and number not in filled}
        needed = given_ids.pointed_to(self.own.layout, self.merged.rows).get(key, set())
        after = given_ids.moved(table, free, filled, spare, (*names, *stay), needed, given_ids.mark_of(self.edit))
        given_ids.write(self.edit, table.sheet, place, read.ahead, after)
        return after | stay

    def _fixed_ids(self, read: ReadTable, place: str) -> set[int]:
        """Empty rows that keep their ids: a person wrote something beside them, or computes the id."""
        rows = list(read.ahead.values())
        computed = given_ids.computed_ids(self.edit, read.table.sheet, place, rows)
        return computed | {row for row in rows if self._foreign(read, row)}

    def _place_rows(self, key: str, read: ReadTable) -> None:
        """Give each new row a place: the first empty rows, then rows that are added below."""
        numbers = self.merged.numbers[key]
        homeless = [position for position, number in enumerate(numbers) if number is None]
        if not homeless:
            return
        place = self.places.get(read.table.name.casefold())
        if place is None:
            say = f"Its sheet {read.table.sheet} has lost its table {read.table.name}: no rows can be added to it."
            self.merged.remarks.append(Note(self.own.path, say))
        if place is not None:
            homeless = self._rows_with_their_id(key, read, homeless)
        free = [] if place is None else self._free_rows(read, place, len(homeless), numbers)
        missing = len(homeless) - len(free)
        if missing and place is not None and read.table.log:
            self.grown[key] = self._grown(read, missing)
            free += self.grown[key][:missing]
        for position, number in zip(homeless, free, strict=False):
            numbers[position] = number
        self._list_homeless(key, homeless[len(free) :])

    def _rows_with_their_id(self, key: str, read: ReadTable, homeless: list[int]) -> list[int]:
        """Put each new row into the one that was given its id; those that have none are left."""
        given = {alike_id(name): number for name, number in read.ahead.items()}
        left = []
        for position in homeless:
            number = given.pop(alike_id(self.merged.rows[key][position][read.table.key_column.key]), None)
            if number is None:
                left.append(position)
            else:
                self.merged.numbers[key][position] = number
        return left

    def _free_rows(self, read: ReadTable, place: TablePlace, wanted: int, taken: Sequence[int | None]) -> list[int]:
        """Provided rows with nothing in them, neither typed nor in a column that somebody added."""
        table = read.table
        own = {number for name, number in read.ahead.items() if table.gives_ids and not table.is_given(name)}
        used = {*read.numbers, *taken, *own}
        typed = [column_number(read.letters[c.key]) for c in merged_columns(table) if c.key in read.letters]
        free: list[int] = []
        for number in range(place.first_row, place.last_row + 1):
            if len(free) == wanted:
                break
            if number in used or self._foreign(read, number, None if table.log else place):
                continue
            if not self._formulas(table, number, typed):
                free.append(number)
        return free

    def _foreign(self, read: ReadTable, row: int, place: TablePlace | None = None) -> bool:
        """Whether a person wrote something beside a row's own cells, there or in the table's `place` alone.

        A column of somebody's own that is computed down to the last row leaves the rows empty.
        """
        sheet, ours = read.table.sheet, {column_number(letters) for letters in read.letters.values()}
        last = len(self.raw.row(sheet, row))
        reach = range(1, last + 1) if place is None else range(place.first_column, place.last_column + 1)
        foreign = [c for c in reach if c not in ours and self.raw.value(sheet, row, c) is not None]
        return any(not self._formulas(read.table, row, [column]) for column in foreign)

    def _formulas(self, table: Table, row: int, columns: Sequence[int]) -> bool:
        there = self.edit.rows(table.sheet).peek(row)
        return there is not None and any(formula_of(there.cells.get(column)) is not None for column in columns)

    def _grown(self, read: ReadTable, rows: int) -> range:
        """Rows added below a table, some empty ones among them; none where something stands in the way."""
        for more in (rows + given_ids.SPARE_ROWS, rows):
            try:
                first = self.edit.grow(read.table.name, more)
            except EditError as error:
                refusal = error
            else:
                return range(first, first + more)
        self.merged.remarks.append(Note(self.own.path, f"{read.table.sheet} cannot be made longer: {refusal}"))
        return range(0)

    def _list_homeless(self, key: str, positions: list[int]) -> None:
        """Rows without a place are listed, and are not added."""
        if not positions:
            return
        table = self.own.tables[key].table
        names = {alike_id(self.merged.rows[key][position][table.key_column.key]) for position in positions}
        for added in [a for a in self.merged.added if a.table == key and alike_id(a.id) in names]:
            self.merged.added.remove(added)
            for copy, position in self._rows_of(key, added.sources):
                for column, value in filled_cells(copy, position):
                    self.merged.conflicts.append(conflict(copy, position, column, None, value, "no-room"))
        for position in reversed(positions):
            del self.merged.rows[key][position], self.merged.numbers[key][position]

    def _rows_of(self, key: str, sources: Sources) -> Iterator[tuple[Side, int]]:
        """The rows of the copies that a value came from."""
        for file, row in sources:
            copy = side(file, self.others[file].tables[key])
            yield copy, copy.read.numbers.index(row)

    def _put(self, change: Change) -> bool:
        """Type a merged value; a formula that stands there is not typed over."""
        table = self.own.tables[change.table].table
        column = column_number(self.own.tables[change.table].letters[change.key])
        if not self._formulas(table, change.row, [column]):
            self.edit.put(table.sheet, change.row, column, change.after)
            return True
        position = self.merged.numbers[change.table].index(change.row)
        self.merged.rows[change.table][position][change.key] = change.before
        for copy, row in self._rows_of(change.table, change.sources):
            cell = table.by_key[change.key], change.before, copy.row(row).get(change.key)
            self.merged.conflicts.append(conflict(copy, row, *cell, "formula"))
        return False

    def _put_added(self, key: str, read: ReadTable) -> None:
        identities = {alike_id(added.id) for added in self.merged.added if added.table == key}
        own = dict(zip(read.numbers, read.rows, strict=True))
        for number, row in zip(self.merged.numbers[key], self.merged.rows[key], strict=True):
            if number is None or alike_id(row[read.table.key_column.key]) not in identities:
                continue
            before = own.get(number, {})
            for name, letters in read.letters.items():
                if row.get(name) is not None and row[name] != before.get(name):
                    self.edit.put(read.table.sheet, number, column_number(letters), row[name])


# --------------------------------------------------------------------------------------------- what is not merged


def _remarks_on_file(path: Path, archive: Archive, edit: WorkbookEdit, layout: Layout) -> list[Note]:
    """Another layout version, and sheets that the log does not have."""
    other = WorkbookEdit(archive, path)
    notes = []
    version = other.property(VERSION)
    if version is not None and version != layout.version:
        say = f"It is of layout version {version}, the log of {layout.version}: what both have was merged."
        notes.append(Note(str(path), say))
    ours = {name.casefold() for name in edit.sheet_names}
    for name in other.sheet_names:
        if name.casefold() not in ours:
            notes.append(Note(str(path), f"The sheet {name} is in this file alone and was not merged."))
    return notes


def _remarks_on_columns(path: Path, archive: Archive, read: ReadLog) -> list[Note]:
    """Filled columns that somebody added to a log sheet of a copy."""
    raw = RawCells(archive.content)
    notes = []
    for table in read.layout.log_tables():
        letters = read.tables[table.key].letters
        heading_row = _heading_row(raw, table, letters)
        if heading_row is None:
            continue
        known = {column_number(place) for place in letters.values()}
        for column, heading in enumerate(raw.row(table.sheet, heading_row), start=1):
            if column in known or typed_value(heading) is None:
                continue
            below = range(heading_row + 1, len(raw.sheet(table.sheet)) + 1)
            filled = sum(raw.value(table.sheet, row, column) is not None for row in below)
            if filled:
                say = f"The column {heading} on {table.sheet} is none of a case log's: {filled} cells were not merged."
                notes.append(Note(str(path), say))
    return notes


def _heading_row(raw: RawCells, table: Table, letters: Mapping[str, str]) -> int | None:
    for row in range(1, HEADING_ROWS + 1):
        cells = {key: raw.value(table.sheet, row, column_number(place)) for key, place in letters.items()}
        if cells and all(str(v).strip().casefold() == table.by_key[k].heading.casefold() for k, v in cells.items()):
            return row
    return None
