"""Writes the cells of one sheet of a layout, typed values, formulas and stored results alike."""

from __future__ import annotations

from workbook_tools.layout import Layout, Line, Sheet, Table
from workbook_tools.layout.compute import Computed
from workbook_tools.layout.formulas import TableFormulas
from workbook_tools.layout.measures import measure
from workbook_tools.layout.model import Column
from workbook_tools.log.building.frame import CAUTION_WIDTH, LINE_WIDTHS
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.writing.cells import (
    RowMarkup,
    SheetCells,
    Strings,
    formula_cell,
    plain_formula,
    shared_again,
    shared_formula,
    value_cell,
)
from workbook_tools.xlsx.writing.styles import ROLES, Styles
from workbook_tools.xlsx.writing.text_width import INSET, NARROW, lines

TEXT = "@"
LINE_HEIGHT, LINE_ROOM = 15, sum(LINE_WIDTHS) * NARROW - INSET  # points


class SheetWriter:
    """Writes the cells of one sheet."""

    def __init__(self, sheet: Sheet, layout: Layout, computed: Computed, styles: Styles, strings: Strings) -> None:
        self.sheet = sheet
        self.layout = layout
        self.computed = computed
        self.styles = styles
        self.strings = strings
        self.cells = SheetCells()
        self.shared = 0

    def _value(self, place: str, style: int, value: object) -> str:
        return value_cell(place, style, value, self.strings)

    def write(self) -> SheetCells:
        style = self.styles.number
        self.cells.put(1, 1, self._value("A1", style("title"), self.sheet.name))
        self.cells.heights[1] = 24
        self.cells.put(2, 1, self._value("A2", style("purpose"), self.sheet.purpose))
        if self.sheet.caution:
            self.cells.put(3, 1, self._value("A3", style("caution"), self.sheet.caution))
            self.cells.heights[3] = 13 * (1 + len(self.sheet.caution) // CAUTION_WIDTH)
        for table in self.sheet.tables:
            self._headings(table)
            if table.log:
                self._log_rows(table)
            elif table.key_source:
                self._summary_rows(table)
            else:
                self._listed_rows(table)
        for number, line in enumerate(self.sheet.lines):
            self._line(4 + number, line)
        return self.cells

    def _headings(self, table: Table) -> None:
        style = self.styles.number
        row = table.heading_row
        for number, column in enumerate(table.columns, start=table.first_column):
            place = f"{letter(number)}{row}"
            role = "head_typed" if column.typed else "head_computed"
            self.cells.put(row, number, self._value(place, style(role), column.heading))
            if table.log:
                marker = "computed" if not column.typed else "to fill" if column.required else "if known"
                self.cells.put(row - 1, number, self._value(f"{letter(number)}{row - 1}", style("marker"), marker))
        if table.caption:
            first = letter(table.first_column)
            caption = self._value(f"{first}{row - 1}", style("heading"), table.caption)
            self.cells.put(row - 1, table.first_column, caption)
        wraps = any(len(column.heading) > column.width for column in table.columns)
        self.cells.heights[row] = 45 if table.log or table.key_source or wraps else 18

    # ------------------------------------------------------------------------------------------- log rows

    def _log_rows(self, table: Table) -> None:
        # the table's own formulas name columns, where a cell's must be read by every program; they compute the same
        last = letter(table.first_column + len(table.columns) - 1)
        self.cells.unmarked = f"{letter(table.first_column)}{table.first_row}:{last}{table.last_row}"
        formulas = TableFormulas(table, self.layout.tables, table.first_row)
        width = table.first_column + len(table.columns) - 1
        first: dict[str, str] = {}
        again: dict[str, str] = {}
        for column in table.columns:
            if not column.typed:
                place = table.letters[column.key]
                text = formulas.text(column)
                span = f"{place}{table.first_row}:{place}{table.last_row}"
                first[place] = shared_formula(text, span, self.shared)
                again[place] = shared_again(self.shared)
                self.shared += 1
        styles = {table.letters[column.key]: self._log_style(column) for column in table.columns}
        text_first, text_again = (RowMarkup(styles, formulas, self.strings) for formulas in (first, again))
        keys = [column.key for column in table.columns]
        ahead = {row: name for name, row in self.computed.ahead.get(table.key, {}).items()}
        data = self.computed.data[table.key]
        for position in range(table.rows):
            row = table.first_row + position
            values = [data[position][key] for key in keys] if position < len(data) else [None] * len(keys)
            if row in ahead:
                values[keys.index(table.key_column.key)] = ahead[row]
            texts = text_again if position else text_first
            self.cells.put_row(row, texts.row(row, values), width)

    def _log_style(self, column: Column) -> int:
        role = "check" if column.kind == "check" else "computed"
        if column.typed:
            role = "typed_text" if column.format == TEXT else "typed"
        return self.styles.number(role, column.format)

    # ----------------------------------------------------------------------------------- summary and lists

    def _summary_rows(self, table: Table) -> None:
        for position, values in enumerate(self.computed.data[table.key]):
            row = table.first_row + position
            formulas = TableFormulas(table, self.layout.tables, row)
            for number, column in enumerate(table.columns, start=table.first_column):
                place = f"{letter(number)}{row}"
                element = plain_formula(formulas.text(column))
                style = self.styles.number("computed", column.format)
                self.cells.put(row, number, formula_cell(place, style, element, values[column.key]))

    def _listed_rows(self, table: Table) -> None:
        data = self.computed.data[table.key]
        for position in range(table.rows):
            row = table.first_row + position
            lines = 1
            for number, column in enumerate(table.columns, start=table.first_column):
                value = data[position].get(column.key) if position < len(data) else None
                long = isinstance(value, str) and len(value) > column.width
                if isinstance(value, str) and (long or column.width > 20):
                    lines = max(lines, 1 + int(len(value) / (1.25 * column.width)))
                role = "listed_wrapped" if long or column.width > 20 else "listed"
                place = f"{letter(number)}{row}"
                self.cells.put(row, number, self._value(place, self.styles.number(role, column.format), value))
            if lines > 1:
                self.cells.heights[row] = 12.5 * lines

    # ------------------------------------------------------------------------------------------------ page

    def _line(self, row: int, line: Line) -> None:
        style = self.styles.number
        role = {"heading": "heading", "caution": "caution_wrapped"}.get(line.style, "text")
        self.cells.put(row, 1, self._value(f"A{row}", style(role), line.text))
        if line.style == "caution":
            font = ROLES[role]["font"]
            self.cells.heights[row] = LINE_HEIGHT * len(lines(line.text, font.sz, LINE_ROOM, bold=True))
        if line.style == "heading":
            self.cells.heights[row] = 26
        for number, head in enumerate(line.heads, start=2):
            self.cells.put(row, number, self._value(f"{letter(number)}{row}", style("head_right"), head))
        for number, expression in enumerate((line.expression, line.look, line.bare), start=2):
            if expression:
                figure = measure(expression, self.layout.tables, f"{self.sheet.name} row {row}")
                value = figure.value(self.computed.data[figure.table.key], None)
                text = figure.cell_text("")
                place = f"{letter(number)}{row}"
                cell = formula_cell(place, style("computed", "0"), plain_formula(text), value)
                self.cells.put(row, number, cell)
