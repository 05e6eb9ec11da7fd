"""Builds the case log: every sheet of the layout, filled with the rows given, with stored results."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from workbook_tools.errors import DataError, LayoutError
from workbook_tools.layout import Layout, Table
from workbook_tools.layout.compute import Computed, Data, Row
from workbook_tools.layout.load import GAP
from workbook_tools.log.building.boards import BoardWriter
from workbook_tools.log.building.charts import add_charts
from workbook_tools.log.building.frame import Frame
from workbook_tools.log.building.pivots import Pivots
from workbook_tools.log.building.sheets import SheetWriter
from workbook_tools.xlsx.writing.cells import Strings
from workbook_tools.xlsx.writing.package import package
from workbook_tools.xlsx.writing.values import cell_value

ROWS_TO_GROW = 20
Progress = Callable[[str, int, int], None]


def silent(what: str, done: int, whole: int) -> None:
    """Progress for nobody."""


def build_log(layout: Layout, data: Data | None = None, rows: int = 200, progress: Progress = silent) -> bytes:
    """The case log as an .xlsx file.

    Parameters
    ----------
    layout : from `workbook_tools.layout.case_log()`.
    data : rows to fill in, by table key and column key; dates and times as day numbers. None for an empty log.
    rows : rows provided on each log sheet; more where the data need them. [1]
    progress : called with (sheet, done, whole).

    Returns
    -------
    The bytes of the file; the same input gives the same bytes.

    Raises
    ------
    LayoutError : data for a table or a column that the layout does not have, or for one that is computed.
    DataError : values that no cell can hold, each with its sheet, row and column.
    """
    layout = provided(layout, data or {}, rows)
    held = _copied(layout, data or {})
    computed = Computed(layout, held, ahead=_ids_ahead(layout, held))
    frame = Frame(layout)
    cells = {}
    strings = Strings()
    pivots = Pivots(layout, computed.data)
    for number, sheet in enumerate(layout.sheets):
        progress(sheet.name, number, len(layout.sheets))
        writer = BoardWriter if sheet.board else SheetWriter
        cells[sheet.name] = writer(sheet, layout, computed, frame.styles, strings).write()
        worksheet = frame.workbook[sheet.name]
        pivots.add(worksheet, sheet, cells[sheet.name], frame.styles, strings)
        add_charts(worksheet, sheet, layout, computed.data, cells[sheet.name], frame.styles, strings)
    progress("done", len(layout.sheets), len(layout.sheets))
    return package(frame.workbook, cells, strings)


def provided(layout: Layout, data: Data, rows: int) -> Layout:
    """The layout with as many rows on each log sheet as wanted, and at least those of the data.

    A summary has a row for everything it goes through, and some to grow.
    """
    sheets = []
    for sheet in layout.sheets:
        tables: list[Table] = []
        for table in sheet.tables:
            wanted = _rows_wanted(table, layout, data, rows)
            above = tables[-1] if tables and tables[-1].first_column == table.first_column else None
            heading_row = above.last_row + GAP if above else table.heading_row
            tables.append(replace(table, rows=wanted, heading_row=heading_row))
        sheets.append(replace(sheet, tables=tuple(tables)))
    return replace(layout, sheets=tuple(sheets))


def _rows_wanted(table: Table, layout: Layout, data: Data, rows: int) -> int:
    if table.log:
        return max(rows, len(data.get(table.key, ())), 1)
    if table.key_source:
        source = layout.tables[table.key_source]
        there = data.get(source.key, ())
        used = [number for number, row in enumerate(there, start=1) if source.in_use(row)]
        wanted = max(table.rows, max(used, default=0) + ROWS_TO_GROW)
        # below a list, unlike below a log, other things stand, which are no rows of it
        return wanted if source.log else min(wanted, max(source.rows, len(there)))
    return max(table.rows, len(data.get(table.key, ())))


def _ids_ahead(layout: Layout, data: Mapping[str, Sequence[Row]]) -> dict[str, dict[str, int]]:
    """Ids for the rows that are not filled yet, with their sheet rows, by table."""
    ahead = {}
    for table in layout.log_tables():
        if table.gives_ids:
            key = table.key_column.key
            rows = data.get(table.key, ())
            named = {number for number, row in enumerate(rows) if table.in_use(row) or row.get(key) is not None}
            free = [number for number in range(table.rows) if number not in named]
            names = table.ids_ahead((row.get(key) for row in rows), len(free))
            ahead[table.key] = dict(zip(names, (table.first_row + number for number in free), strict=True))
    return ahead


def _copied(layout: Layout, data: Data) -> dict[str, list[Row]]:
    """The data as cells can hold them; raises with every fault at once."""
    faults = [f"there is no table {key!r} to fill" for key in data if key not in layout.tables]
    bad: list[str] = []
    copied = {}
    for key, rows in data.items():
        if key not in layout.tables:
            continue
        table = layout.tables[key]
        allowed = {column.key for column in (table.typed if table.log else table.columns)}
        unknown = sorted({name for row in rows for name in row} - allowed)
        faults += [f"{table.sheet} has no column {name!r} to fill" for name in unknown]
        copied[key] = [_held(table, table.first_row + number, row, bad) for number, row in enumerate(rows)]
    if faults:
        raise LayoutError(layout.name, faults)
    if bad:
        raise DataError(bad)
    return copied


def _held(table: Table, number: int, row: Mapping[str, Any], bad: list[str]) -> Row:
    held: Row = {}
    for key, value in row.items():
        try:
            held[key] = cell_value(value)
        except ValueError as error:
            heading = table.by_key[key].heading if key in table.by_key else key
            bad.append(f"{table.sheet} row {number}, {heading}: {error}")
    return held
