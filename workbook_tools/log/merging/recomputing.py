"""Stores the results of a log's formula cells anew, after what is typed in it has changed."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import cache, partial
from typing import Any

from workbook_tools.layout import Layout, Table
from workbook_tools.layout.compute import Computed
from workbook_tools.layout.measures import measure
from workbook_tools.log.building.boards import ASKED_COLUMN, ASKED_ROW, board_results
from workbook_tools.log.building.charts import drawn_results
from workbook_tools.log.checking.reading import typed_value
from workbook_tools.xlsx.addresses import column_number
from workbook_tools.xlsx.editing.cell_formulas import formula_of
from workbook_tools.xlsx.editing.workbook_edit import TablePlace, WorkbookEdit
from workbook_tools.xlsx.reading import native_cells, native_workbook

Rows = Mapping[int, Mapping[str, Any]]  # typed values by sheet row
PRECISION = 1e-9  # other programs store 15 digits
START_COLUMNS = (2, 3)  # of the two figures of a line of the Start sheet


class RawCells:
    """The values of a file's cells, by sheet, row and column from 1."""

    def __init__(self, content: bytes) -> None:
        workbook = native_workbook(content, "the log")
        names = {name.casefold(): name for name in workbook.sheet_names}

        @cache
        def sheet(name: str) -> list[list[Any]]:
            actual = names.get(name)
            return [] if actual is None else native_cells(workbook, actual, "the log")

        self._sheet = sheet

    def sheet(self, name: str) -> list[list[Any]]:
        return self._sheet(name.casefold())

    def row(self, sheet: str, row: int) -> list[Any]:
        rows = self.sheet(sheet)
        return rows[row - 1] if 0 < row <= len(rows) else []

    def value(self, sheet: str, row: int, column: int) -> Any:
        cells = self.row(sheet, row)
        return typed_value(cells[column - 1]) if column <= len(cells) else None


def store_results(
    edit: WorkbookEdit,
    raw: RawCells,
    layout: Layout,
    typed: Mapping[str, Rows],
    letters: Mapping[str, Mapping[str, str]],
    grown: Mapping[str, Collection[int]] | None = None,
    ahead: Mapping[str, Mapping[str, int]] | None = None,
) -> int:
    """Compute a log and store every result that its file has otherwise; how many those were.

    Parameters
    ----------
    edit : the log's file, with the typed cells as they shall be.
    raw : the cells of the file as they were before.
    layout : what the log was built from.
    typed : the typed cells by table key and sheet row, as they are in `edit`.
    letters : column letters by table key and column key.
    grown : sheet rows by table key that the file did not have before: every result of theirs is stored.
    ahead : ids by table key that rows not yet filled have been given, with their sheet rows.

    Returns
    -------
    Number of results stored. Cells without a formula, which somebody typed over, stay as they are.
    """
    places = {name.casefold(): place for name, place in edit.tables().items()}
    data: dict[str, list[dict[str, Any]]] = {}
    numbers: dict[str, list[int]] = {}
    for key, rows in typed.items():
        # every provided row, in its place: the Summary goes through its tables row by row
        place = places.get(layout.tables[key].name.casefold())
        first = place.first_row if place else min(rows, default=1)
        last = max([place.last_row if place else 0, *rows])
        numbers[key] = list(range(min([first, *rows]), last + 1))
        data[key] = [dict(rows.get(number, {})) for number in numbers[key]]
    computed = Computed(layout, data, numbers, ahead)
    results = _Results(edit, raw)
    for key, table in layout.tables.items():
        place = places.get(table.name.casefold())
        if table.log:
            new = (grown or {}).get(key, ())
            pairs = zip(numbers[key], computed.data[key], strict=True)
            lines = [(n, row if n in typed[key] else {}) for n, row in pairs if n in typed[key] or n in new]
            results.store_log(table, letters.get(key, {}), lines, new)
        elif table.key_source and place is not None:
            results.store_summary(table, place, computed.data[key])
    results.store_lines(layout, computed)
    results.store_boards(layout, computed)
    results.store_drawn(layout, {key: dict(zip(numbers[key], computed.data[key], strict=True)) for key in numbers})
    return results.count


class _Results:
    """Stores results where they differ."""

    def __init__(self, edit: WorkbookEdit, raw: RawCells) -> None:
        self.edit = edit
        self.raw = raw
        self.sheets = {name.casefold() for name in edit.sheet_names}
        self.count = 0

    def store_log(
        self, table: Table, letters: Mapping[str, str], rows: list[tuple[int, Any]], grown: Collection[int]
    ) -> None:
        """Rows in use; the others show nothing, or what somebody's own cells between the typed ones make of them."""
        columns = {c.key: column_number(letters[c.key]) for c in table.columns if not c.typed and c.key in letters}
        for number, row in rows:
            self._row(table.sheet, number, {column: row.get(key) for key, column in columns.items()}, number in grown)

    def store_summary(self, table: Table, place: TablePlace, rows: list[Any]) -> None:
        headings = {heading.strip().casefold() for heading in place.headings}
        columns = {c.key: place.column(c.heading) for c in table.columns if c.heading.casefold() in headings}
        for number, row in enumerate(rows, start=place.first_row):
            if number <= place.last_row:
                self._row(place.sheet, number, {column: row[key] for key, column in columns.items()})

    def store_lines(self, layout: Layout, computed: Computed) -> None:
        """Figures of the lines of a page, each beside its own text."""
        for sheet in layout.sheets:
            figures = {line.text: (line.expression, line.look) for line in sheet.lines if line.expression}
            for number, cells in enumerate(self.raw.sheet(sheet.name) if figures else [], start=1):
                wanted = {}
                for column, expression in zip(
                    START_COLUMNS, figures.get(str(cells[0]), ()) if cells else (), strict=False
                ):
                    if expression:
                        figure = measure(expression, layout.tables, f"{sheet.name} row {number}")
                        wanted[column] = figure.value(computed.data[figure.table.key], None)
                self._row(sheet.name, number, wanted)

    def store_boards(self, layout: Layout, computed: Computed) -> None:
        """What a board shows for what is typed in its boxed cell."""
        for sheet in layout.sheets:
            if sheet.board and sheet.name.casefold() in self.sheets:
                asked = self.raw.value(sheet.name, ASKED_ROW, ASKED_COLUMN)
                rows: dict[int, dict[int, Any]] = {}
                for (row, column), value in board_results(sheet, layout, computed, asked).items():
                    rows.setdefault(row, {})[column] = value
                for row, wanted in rows.items():
                    self._row(sheet.name, row, wanted)

    def store_drawn(self, layout: Layout, data: Mapping[str, Mapping[int, Any]]) -> None:
        """What the charts draw from, for what is chosen beside them."""
        for sheet in layout.sheets:
            if sheet.charts and sheet.name.casefold() in self.sheets:
                shown = drawn_results(sheet, layout, data, partial(self.raw.value, sheet.name))
                rows: dict[int, dict[int, Any]] = {}
                for (row, column), value in shown.items():
                    rows.setdefault(row, {})[column] = value
                for row, wanted in rows.items():
                    self._row(sheet.name, row, wanted)

    def _row(self, sheet: str, row: int, wanted: Mapping[int, Any], every: bool = False) -> None:
        differing = {c: v for c, v in wanted.items() if every or not agree(self.raw.value(sheet, row, c), v)}
        if not differing or sheet.casefold() not in self.sheets:
            return
        there = self.edit.rows(sheet).peek(row)
        for column, value in differing.items():
            if there is not None and formula_of(there.cells.get(column)) is not None:
                self.edit.store(sheet, row, column, value)
                self.count += 1


def agree(stored: Any, right: Any) -> bool:
    """Whether a stored result is the right one."""
    if isinstance(stored, int | float) and isinstance(right, int | float):
        return abs(stored - right) <= PRECISION * max(abs(stored), abs(right))
    return bool(stored == right)
