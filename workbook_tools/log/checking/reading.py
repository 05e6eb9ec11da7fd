"""Reads a case log by its headings: typed cells with their places, nothing guessed, nothing left out unsaid."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import compress
from pathlib import Path
from types import NoneType
from typing import Any

from workbook_tools.errors import ReadError
from workbook_tools.functions.quantities.boundary import DAY, serial
from workbook_tools.layout import Layout, Sheet, Table
from workbook_tools.layout.collector_pause import uncollected
from workbook_tools.layout.compute import Computed, Typed
from workbook_tools.layout.model import Column
from workbook_tools.log.checking.silent_cells import DATED, BesideValues, Unread, dates_told, merged_areas
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.reading import Archive, admitted_in_turn, sheets_ahead, whole_sheet
from workbook_tools.xlsx.reading.contents import cell_sheets

HEADING_ROWS = 60  # how far down a heading may have been moved
SHOWN = 3  # faults that one refusal names


@dataclass(frozen=True)
class Place:
    """Where a cell is."""

    sheet: str
    row: int
    column: str = ""
    letters: str = ""

    def __str__(self) -> str:
        return f"{self.sheet}!{self.letters}{self.row}" if self.letters else f"{self.sheet} row {self.row}"


@dataclass(frozen=True)
class Remark:
    """Something about the file itself that a reader of its rows must know."""

    code: str
    severity: str
    place: Place
    say: str
    value: object = None


FROM_1904 = Remark(
    "days-from-1904",
    "notice",
    Place("Start", 1),
    "This workbook counts its days from 1904, as some old spreadsheets do. Its dates are read as they are shown, but "
    "the sheets' own months are wrong, and nothing is written into it: make a new log and merge this one into it.",
)


@dataclass
class ReadTable:
    """The rows in use of one table: typed values by column key, and where each row is."""

    table: Table
    letters: dict[str, str] = field(default_factory=dict)
    rows: list[dict[str, Any]] = field(default_factory=list)
    numbers: list[int] = field(default_factory=list)
    ahead: dict[str, int] = field(default_factory=dict)  # ids given to rows that are not filled yet
    cells: list[list[Any]] | None = None  # of the same rows, as the file has them; None where results are not wanted
    result_columns: dict[str, int] = field(default_factory=dict)  # index in `cells` of each computed column

    def results(self, key: str) -> list[Any]:
        """Stored results of one computed column, for the rows in use; raises ValueError where they were not wanted."""
        return column_values(self._with_results(), self.result_columns[key])

    @cached_property
    def stored(self) -> list[dict[str, Any]]:
        """Stored results of each row, by column key; raises ValueError where they were not wanted."""
        count = len(self._with_results())
        return _as_rows(tuple(self.result_columns), [self.results(key) for key in self.result_columns], count)

    def _with_results(self) -> list[list[Any]]:
        if self.cells is None:
            raise ValueError(f"the stored results of {self.table.key} were not read")
        return self.cells

    def place(self, position: int, key: str) -> Place:
        heading = self.table.by_key[key].heading
        return Place(self.table.sheet, self.numbers[position], heading, self.letters.get(key, ""))


@dataclass
class ReadLog:
    """A case log as it was read."""

    path: str
    layout: Layout
    tables: dict[str, ReadTable]
    remarks: list[Remark]

    def data(self) -> dict[str, list[dict[str, Any]]]:
        """Typed values by table, for computing; list and reference tables included."""
        return {key: read.rows for key, read in self.tables.items()}

    def computed(self) -> Computed:
        """Everything the typed cells give."""
        return Computed(self.layout, self.data(), self.numbers(), self.ahead())

    def typed(self) -> Typed:
        """The typed cells alone: enough to judge each column by its own rules, in a tenth of the time."""
        return Typed(self.layout, self.data(), self.numbers(), self.ahead())

    def ahead(self) -> dict[str, dict[str, int]]:
        """Ids given ahead with their sheet rows, by table."""
        return {key: read.ahead for key, read in self.tables.items()}

    def relied_on(self) -> ReadLog:
        """The log itself, for what is weighed by it.

        Raises ReadError where columns, sheets or cells are not what they seem: a blank would be taken for its default.
        """
        unsure = [f"{remark.place}: {remark.say}" for remark in self.remarks if remark.severity == "fault"]
        if unsure:
            shown = " ".join(unsure[:SHOWN]) + (f" And {len(unsure) - SHOWN} more." if len(unsure) > SHOWN else "")
            raise ReadError(self.path, f"no amounts are given from it before this is mended. {shown}")
        return self

    def numbers(self) -> dict[str, list[int]]:
        """Sheet rows by table."""
        return {key: read.numbers for key, read in self.tables.items()}


def typed_part(layout: Layout) -> dict[str, tuple[int, int]]:
    """Where on each sheet, by its name in small letters, all headings and all that people type were built: rows at the
    top, and columns from A on.

    Sheets with lists and reference rows, which may stand anywhere, are left out.
    """
    found = {}
    for sheet in layout.sheets:
        tables = _to_be_read(sheet)
        if tables and all(table.log for table in tables):
            typed = (t.first_column + n for t in tables for n, column in enumerate(t.columns) if column.typed)
            found[sheet.name.casefold()] = (max(table.heading_row for table in tables), max(typed))
    return found


def _to_be_read(sheet: Sheet) -> list[Table]:
    return [table for table in sheet.tables if not table.key_source]


@uncollected()
def read_log(path: Path, layout: Layout, archive: Archive | None = None, results: bool = False) -> ReadLog:
    """Read a case log.

    Parameters
    ----------
    path : an .xlsx file that this tool built and a person has filled, moved columns in, sorted or added to.
    layout : the layout it was built from.
    archive : the file itself, where it was let in already; whole, where results are wanted.
    results : whether stored results are wanted, too; reading takes twice as long with them.

    Returns
    -------
    Every row in use with its place; missing or doubled headings and sheets as remarks.

    Raises
    ------
    ReadError : the file is not there, is not an .xlsx workbook, is locked with a password or has none of the sheets.
    ValueError : results are wanted of an archive whose rows were shortened.
    """
    if archive is None:
        archive, names = admitted_in_turn(path, asked=None if results else typed_part(layout))
    else:
        names = iter(cell_sheets(archive))
    if results and archive.shortened:
        raise ValueError("the file was let in without its results")
    sheets = {sheet.name.casefold(): sheet for sheet in layout.sheets if sheet.tables}
    tables: dict[str, ReadTable] = {}
    said: dict[str, list[Remark]] = {}
    with sheets_ahead(archive, _sheets_to_read(names, sheets, said)) as ahead:
        beside = BesideValues(archive)
        _look_ahead(beside, sheets.values())
        for name, asked in ahead:
            cells = asked
            wanted = _to_be_read(sheets[name.casefold()])
            rows, columns = beside.seen(name)
            found = _all_headings(wanted, cells[:rows])
            if not all(_is_seen(table, *found[table.key], columns) for table in wanted):
                cells = whole_sheet(archive, name)
                beside.forget(name)
                found = _all_headings(wanted, cells)
            for table in wanted:
                own = said[name.casefold()]
                tables[table.key] = _read_table(table, name, cells, found[table.key], own, beside, results)
    # a bench workbook has Lists and Reference as well
    if not any(name in said and any(table.log for table in sheet.tables) for name, sheet in sheets.items()):
        raise ReadError(path, "is a workbook, but has none of the sheets of a case log.")
    remarks: list[Remark] = [FROM_1904] if beside.from_1904 else []
    for name, sheet in sheets.items():
        if name not in said:
            say = f"The sheet {sheet.name} is missing; was it renamed or deleted?"
            remarks.append(Remark("sheet-missing", "fault", Place(sheet.name, 1), say))
            tables |= {table.key: ReadTable(table, cells=[] if results else None) for table in sheet.tables}
        remarks += said.get(name, [])
    in_order = {
        table.key: tables[table.key] for sheet in sheets.values() for table in sheet.tables if table.key in tables
    }
    return ReadLog(str(path), layout, in_order, remarks)


def _sheets_to_read(names: Iterable[str], sheets: Mapping[str, Sheet], said: dict[str, list[Remark]]) -> Iterator[str]:
    """Those sheets of a workbook whose cells are wanted; all that belong to the layout are noted as there."""
    for name in names:
        sheet = sheets.get(name.casefold())
        if sheet is not None:
            said[name.casefold()] = []
            if _to_be_read(sheet):
                yield name


def _look_ahead(beside: BesideValues, sheets: Iterable[Sheet]) -> None:
    """Look into the parts while their values are still being read: most columns stand where they were built."""
    for sheet in sheets:
        for table in sheet.tables:
            if table.log:
                places = enumerate(table.columns, start=table.first_column - 1)
                beside.look_for(sheet.name, {index: column for index, column in places if column.typed})


def _read_table(
    table: Table,
    sheet: str,
    cells: list[list[Any]],
    found: tuple[int | None, dict[str, int]],
    remarks: list[Remark],
    beside: BesideValues,
    results: bool,
) -> ReadTable:
    read = ReadTable(table, cells=[] if results else None)
    heading_row, columns = found
    missing = [c for c in table.columns if c.key not in columns and (c.typed or not table.log) and not c.hidden]
    for column in missing:
        say = f"The heading {column.heading!r} is missing on {table.sheet}; its column cannot be read."
        remarks.append(Remark("heading-missing", "fault", Place(table.sheet, heading_row or 1, column.heading), say))
    if heading_row is None:
        return read
    for heading, where in _doubled(table, cells[heading_row - 1]):
        say = f"The heading {heading!r} stands more than once on {table.sheet}; the first one is read."
        remarks.append(Remark("heading-doubled", "fault", Place(table.sheet, heading_row, heading, where), say))
    read.letters = {key: letter(index + 1) for key, index in columns.items()}
    typed = _typed_places(table, columns)
    beside.put_into(cells, sheet, typed, heading_row)
    used = _read_rows(read, columns, cells, heading_row, beside.from_1904)
    if results:
        computed = (column for column in table.columns if table.log and not column.typed and column.key in columns)
        read.cells = list(compress(cells[heading_row:], used))
        read.result_columns = {column.key: columns[column.key] for column in computed}
    remarks += _merged(read, beside.after_rows(sheet), typed, heading_row)
    remarks += () if table.log else _unread(read)
    return read


def _is_seen(table: Table, heading_row: int | None, places: Mapping[str, int], columns: int | None) -> bool:
    """Whether all that people type was found where only so many columns were asked for."""
    return columns is None or (
        heading_row is not None and all(places.get(c.key, columns) < columns for c in table.columns if c.typed)
    )


def _typed_places(table: Table, columns: Mapping[str, int]) -> dict[int, Column]:
    """The columns of which every value counts, by where they stand."""
    return {columns[c.key]: c for c in table.columns if c.key in columns and (c.typed or not table.log)}


def _unread(read: ReadTable) -> Iterator[Remark]:
    """Cells of a list or a reference table whose value cannot be read; those of logs are found by their rules."""
    for position, row in enumerate(read.rows):
        for key, value in row.items():
            if isinstance(value, Unread):
                say = f"{read.table.by_key[key].heading} cannot be read. {value.why}"
                yield Remark("not-read", "fault", read.place(position, key), say, str(value))


def _merged(read: ReadTable, part: bytes, typed: Iterable[int], heading_row: int) -> Iterator[Remark]:
    """Merged cells among the typed ones, of which all but the first read as blank."""
    for area in merged_areas(part, typed, heading_row + 1, max(read.numbers, default=heading_row)):
        letters, row = (
            area.split(":")[0].rstrip("0123456789"),
            int(area.split(":")[0].lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")),
        )
        say = f"The cells {area} are merged: all but the first read as blank. Split them and fill each one."
        yield Remark("merged-cells", "fault", Place(read.table.sheet, row, "", letters), say)


def _read_rows(
    read: ReadTable, columns: dict[str, int], cells: Sequence[list[Any]], heading_row: int, from_1904: bool
) -> list[bool]:
    """The rows in use, column by column: a value of the usual kinds then costs no call of its own; which are in use."""
    table = read.table
    last = len(cells) if table.log or table.first_column > 1 else min(len(cells), heading_row + table.rows)
    body = cells[heading_row:last]  # a list ends with its provided rows, a log with the sheet
    given = table.id_column.key if table.id_column is not None and table.gives_ids else ""
    ahead = _rows_ahead(body, columns.get(given))
    filled = body[: len(body) - ahead]
    typed = [column for column in table.columns if column.typed or not table.log]
    values: dict[str, list[Any]] = {}
    for column in typed:
        rows = body if column.key == given else filled
        held = _column(rows, columns[column.key]) if column.key in columns else [None] * len(rows)
        if table.log and (from_1904 or not DATED.isdisjoint(map(type, held))):  # in lists dates stand as they like
            held = dates_told(held, column, from_1904)
        values[column.key] = _typed_values(held)
    telling = [values[column.key] for column in typed if not (table.log and column.give)]
    nothing = (None,) * len(telling)
    used = [*(row != nothing for row in zip(*telling, strict=True)), *[False] * ahead]
    if table.log:
        names = values[table.key_column.key]
        for number, name, in_use in zip(range(heading_row + 1, last + 1), names, used, strict=False):
            if not in_use and name is not None:
                read.ahead.setdefault(str(name), number)
    if not all(used):
        values = {key: list(compress(column, used)) for key, column in values.items()}
    read.numbers = list(compress(range(heading_row + 1, last + 1), used))
    read.rows = _as_rows(tuple(values), list(values.values()), len(read.numbers))
    return used


def _rows_ahead(body: Sequence[list[Any]], given: int | None) -> int:
    """How many rows at the end hold nothing, but for an id where these are given ahead; there may be thousands."""
    number = 0
    for row in reversed(body):
        something = len(row) - row.count("") - row.count(None)
        if something and not (
            something == 1 and given is not None and given < len(row) and row[given] not in ("", None)
        ):
            break
        number += 1
    return number


def column_values(rows: Sequence[Sequence[Any]], index: int) -> list[Any]:
    """One column of a sheet's rows, as `typed_value` has each of them."""
    return _typed_values(_column(rows, index))


def _column(rows: Sequence[Sequence[Any]], index: int) -> list[Any]:
    try:
        return [row[index] for row in rows]
    except IndexError:
        return [_at(row, index) for row in rows]


def _typed_values(values: list[Any]) -> list[Any]:
    kinds = set(map(type, values))
    if kinds <= {float, int, bool, NoneType}:
        return values
    if kinds <= {float, int, bool, NoneType, str}:
        return [None if value == "" else value for value in values]
    if kinds <= {datetime.timedelta, NoneType, str}:
        return [value / DAY if isinstance(value, datetime.timedelta) else value or None for value in values]
    return [typed_value(value) for value in values]


def _as_rows(keys: Sequence[str], columns: Sequence[Sequence[Any]], count: int) -> list[dict[str, Any]]:
    if not columns:
        return [{} for _ in range(count)]
    return [dict(zip(keys, values, strict=True)) for values in zip(*columns, strict=True)]


def _all_headings(
    tables: Sequence[Table], cells: Sequence[Sequence[Any]]
) -> dict[str, tuple[int | None, dict[str, int]]]:
    """Heading row and columns of each table of a sheet."""
    words = _words(cells[: HEADING_ROWS if all(table.log for table in tables) else None])
    return {table.key: _headings(table, words) for table in tables}


def _words(cells: Sequence[Sequence[Any]]) -> list[dict[str, int]]:
    """What may be headings: the texts of each row as they are compared, and the first column that has each."""
    found = []
    for row in cells:
        texts: dict[str, int] = {}
        for index, value in enumerate(row):
            if isinstance(value, str) and value:
                texts.setdefault(value.strip().casefold(), index)
        found.append(texts)
    return found


def _headings(table: Table, words: Sequence[dict[str, int]]) -> tuple[int | None, dict[str, int]]:
    """The row with most of the table's headings, and the index of each column in it."""
    wanted = {column.heading.casefold(): column.key for column in table.columns}
    best: tuple[int | None, dict[str, int]] = (None, {})
    for number, row in enumerate(words[:HEADING_ROWS] if table.log else words, start=1):
        there = wanted.keys() & row.keys()
        if len(there) > len(best[1]):
            best = number, {wanted[heading]: row[heading] for heading in sorted(there, key=row.__getitem__)}
    return best


def _doubled(table: Table, row: Sequence[Any]) -> list[tuple[str, str]]:
    headings = {column.heading.casefold(): column.heading for column in table.columns}
    seen: set[str] = set()
    doubled = []
    for index, value in enumerate(row):
        folded = value.strip().casefold() if isinstance(value, str) else ""
        if folded in headings:
            if folded in seen:
                doubled.append((headings[folded], letter(index + 1)))
            seen.add(folded)
    return doubled


def _at(row: Sequence[Any], index: int) -> Any:
    return row[index] if index < len(row) else None


def typed_value(value: Any) -> Any:
    """A cell's value for computing: None for blank, day numbers for dates and times, the rest as it is."""
    if value is None or value == "":
        return None
    if isinstance(value, datetime.date | datetime.time | datetime.timedelta):
        return serial(value) - _before_march_1900(value)
    return value


def _before_march_1900(value: datetime.date | datetime.time | datetime.timedelta) -> int:
    """1 for a day that the reader shows one too late: its calendar has a 29 February 1900, as one program's has.

    A length of time over 24 h in a cell for a time of day is such a "date": 1.25 days are 1 January 1900, 6:00.
    """
    return int(isinstance(value, datetime.date) and (value.year, value.month) < (1900, 3))
