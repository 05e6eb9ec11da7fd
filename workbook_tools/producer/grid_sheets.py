"""Sheets of a copy whose cells are placed one by one: the daily sheets, the charts, the page about the copy."""

from __future__ import annotations

from collections.abc import Sequence

from openpyxl import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.printing.bands import line_height
from workbook_tools.xlsx.printing.page_room import BOTTOM, EDGE, PAPERS, SIDE, TOP
from workbook_tools.xlsx.writing.cells import SheetCells, Strings, value_cell
from workbook_tools.xlsx.writing.styles import ROLES, Styles
from workbook_tools.xlsx.writing.text_width import NARROW, lines
from workbook_tools.xlsx.writing.values import cell_value


class Grid:
    """One sheet with columns of given widths [characters], printed on one page."""

    def __init__(
        self, frame: Workbook, styles: Styles, strings: Strings, name: str, widths: Sequence[float], paper: str,
        orientation: str = "portrait",
    ) -> None:  # fmt: skip
        self.sheet: Worksheet = frame.create_sheet(name)
        self.styles, self.strings, self.widths = styles, strings, widths
        self.cells = SheetCells()
        for number, width in enumerate(widths, start=1):
            self.sheet.column_dimensions[letter(number)].width = width
        setup = self.sheet.page_setup
        setup.paperSize, setup.orientation = PAPERS[paper][2], orientation
        setup.fitToWidth = setup.fitToHeight = 1
        self.sheet.sheet_properties.pageSetUpPr.fitToPage = True
        margins = self.sheet.page_margins
        margins.left = margins.right = SIDE
        margins.top, margins.bottom, margins.header, margins.footer = TOP, BOTTOM, EDGE, EDGE
        self.sheet.sheet_view.showGridLines = False

    def put(self, row: int, column: int, value: object, role: str, number_format: str = "General") -> None:
        """One cell; a text stays a text, whatever it begins with."""
        style = self.styles.number(role, number_format)
        self.cells.put(row, column, value_cell(f"{letter(column)}{row}", style, cell_value(value), self.strings))

    def across(self, row: int, text: str, role: str, first: int = 1, last: int | None = None) -> None:
        """A text over several columns, its row as high as the text needs."""
        last = last or len(self.widths)
        self.put(row, first, text, role)
        for column in range(first + 1, last + 1):
            self.put(row, column, None, role)
        if last > first:
            self.sheet.merged_cells.add(f"{letter(first)}{row}:{letter(last)}{row}")
        font = ROLES[role]["font"]
        room = sum(self.widths[first - 1 : last]) * NARROW - 10
        count = len(lines(text, font.sz, room, bool(font.b)))
        self.height(row, count * line_height(role) + 4)

    def height(self, row: int, points: float) -> None:
        self.cells.heights[row] = round(min(max(points, self.cells.heights.get(row, 0)), 409), 1)
        self.cells.rows.setdefault(row, [])
