"""Pages whose cells are placed one by one, as forms, cards and boards are."""

from __future__ import annotations

from collections.abc import Mapping

from workbook_tools.layout import Sheet
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.writing.cells import SheetCells, Strings, formula_cell, plain_formula, value_cell
from workbook_tools.xlsx.writing.styles import Styles


class PageWriter:
    """A page whose cells are placed one by one: title, purpose and caution stand there already."""

    def __init__(self, sheet: Sheet, results: Mapping[str, object], styles: Styles, strings: Strings) -> None:
        self.sheet = sheet
        self.results = results
        self.style = styles.number
        self.strings = strings
        self.cells = SheetCells()
        self.text(1, 1, sheet.name, "title")
        self.cells.heights[1] = 24
        self.text(2, 1, sheet.purpose, "purpose")
        if sheet.caution:
            self.text(3, 1, sheet.caution, "caution")

    def text(self, row: int, column: int, value: object, role: str, number_format: str = "General") -> None:
        place = f"{letter(column)}{row}"
        self.cells.put(row, column, value_cell(place, self.style(role, number_format), value, self.strings))

    def formula(self, row: int, column: int, text: str, value: object, role: str, number_format: str) -> None:
        place = f"{letter(column)}{row}"
        cell = formula_cell(place, self.style(role, number_format), plain_formula(text), value)
        self.cells.put(row, column, cell)
