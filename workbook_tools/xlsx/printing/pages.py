"""Workbooks of printable pages, from plain data: texts, facts, tables, boxes to tick, lines, cards to cut, drawings.

    build_pages("Visit plan", [Page("Plan", [Heading("Bath B001"), Table(...)], paper="A4")])

Plain cells, no formula, no name, no macro; grey and black alone carry the look. Row heights are worked out here, so
that every text stands whole on paper in whatever program prints it; pages are broken between rows, headings of tables
are repeated, and a heading stays with what follows.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence

from openpyxl import Workbook
from openpyxl.styles import Font
from openpyxl.utils.indexed_list import IndexedList
from openpyxl.worksheet.pagebreak import Break
from openpyxl.worksheet.worksheet import Worksheet

from workbook_tools.errors import DataError
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.printing.bands import SNAP, Band, BandPiece, bands_of, drawing_width, gap, stacked
from workbook_tools.xlsx.printing.blocks import Figure, Page, Value, figure
from workbook_tools.xlsx.printing.page_room import BOTTOM, EDGE, PAPERS, SIDE, TOP, Sized, page_faults, sized
from workbook_tools.xlsx.writing.cells import SheetCells, Strings, value_cell
from workbook_tools.xlsx.writing.package import new_frame, package
from workbook_tools.xlsx.writing.picture import Placed, with_drawings
from workbook_tools.xlsx.writing.styles import Styles
from workbook_tools.xlsx.writing.text_width import WIDE
from workbook_tools.xlsx.writing.values import cell_value

LEAST_SCALE = 0.65  # smaller, letters of 10 pt become less than 6.5 pt
FREE = "_)"  # a number stands off the line at its right by the width of a bracket; an indent is lost in merged cells
ANGLED = re.compile(r"[\[\]:*?/\\]")
NAME_LIMIT = 31


More = Callable[[Workbook, Styles, Strings, Mapping[str, SheetCells]], Mapping[str, SheetCells]]


def build_pages(title: str, pages: Sequence[Page], more: More | None = None) -> bytes:
    """A workbook of pages to print.

    Parameters
    ----------
    title : of the workbook, in its properties.
    pages : one sheet each, in order.
    more : called with the frame and the cells of its sheets once the pages stand in it, to add sheets of another kind
        after them, properties, footers or protection; it returns the cells of the sheets that it added, by their names.

    Returns
    -------
    The bytes of the .xlsx file; the same input gives the same bytes.

    Raises
    ------
    DataError : papers or looks that do not exist, rows that do not fit their headings, values that no cell can hold,
        pages that would become too small to read on one page; all at once.
    """
    faults = list(page_faults(pages))
    if faults:
        raise DataError(faults)
    frame = _frame(title)
    styles, strings = Styles(frame), Strings()
    cells: dict[str, SheetCells] = {}
    drawings: dict[int, list[Placed]] = {}
    names = sheet_names(pages)
    too_long = []
    for number, (page, name) in enumerate(zip(pages, names, strict=True), start=1):
        worksheet = frame.worksheets[0] if number == 1 else frame.create_sheet()
        worksheet.title = name
        writer = _PageWriter(worksheet, sized(page), styles, strings)
        cells[name] = writer.write()
        if writer.placed:
            drawings[number] = writer.placed
        if page.one_page and writer.scale < LEAST_SCALE:
            too_long.append(f"the page {page.title!r} does not fit on one page: let it take several")
    if too_long:
        raise DataError(too_long)
    if more is not None:
        cells |= more(frame, styles, strings, cells)
    return with_drawings(package(frame, cells, strings), drawings)


def _frame(title: str) -> Workbook:
    """An empty workbook whose width unit is the digit of a face that every system has, or has one as wide as it."""
    frame = new_frame(title)
    font = Font("Arial", 10)
    frame._fonts = IndexedList([font])
    frame._named_styles["Normal"].font = font
    return frame


def one_page_scale(page: Page) -> float:
    """How much smaller a page must be printed to fit on one page: 1 where it fits as it is."""
    room = sized(page)
    return min(1.0, room.height / sum(band.height for band in _whole(room) if not band.new_page))


def _whole(room: Sized) -> list[Band]:
    """All bands of a page, its title first."""
    title = bands_of([BandPiece(0, room.width, room.page.title, "page_title")])
    return [*title, gap(4), *stacked(room.page.blocks, room.width)]


def sheet_names(pages: Sequence[Page]) -> list[str]:
    """Names of the sheets: no character that a sheet's name cannot have, 31 at most, each once."""
    names: list[str] = []
    for page in pages:
        plain = ANGLED.sub(" ", page.name or page.title).strip().strip("'")[:NAME_LIMIT].strip() or "Page"
        name, number = plain, 2
        while name.casefold() in {other.casefold() for other in names}:
            ending = f" {number}"
            name, number = plain[: NAME_LIMIT - len(ending)] + ending, number + 1
        names.append(name)
    return names


class _PageWriter:
    """Writes one page onto one sheet."""

    def __init__(self, worksheet: Worksheet, room: Sized, styles: Styles, strings: Strings) -> None:
        self.worksheet = worksheet
        self.room = room
        self.page = room.page
        self.styles = styles
        self.strings = strings
        self.cells = SheetCells()
        self.placed: list[Placed] = []
        self.scale = 1.0

    def write(self) -> SheetCells:
        whole = _whole(self.room)
        if self.page.one_page:
            whole = [band for band in whole if not band.new_page]
            self.scale = one_page_scale(self.page)
        else:
            whole = list(paged(whole, self.room.height))
        self.grid = columns(whole, self.room.width)
        for number, (left, right) in enumerate(zip(self.grid, self.grid[1:], strict=False), start=1):
            self.worksheet.column_dimensions[letter(number)].width = round((right - left) / WIDE, 2)
        row = 0
        for band in whole:
            if band.new_page:
                self.worksheet.row_breaks.append(Break(id=row))
                continue
            row += 1
            self._band(row, band)
        self._print_set_up()
        return self.cells

    def _band(self, row: int, band: Band) -> None:
        self.cells.heights[row] = round(band.height, 1)
        self.cells.rows.setdefault(row, [])
        for piece in band.pieces:
            self._piece(row, piece)
        if band.picture is not None:
            self.placed.append(Placed(band.picture, row - 1, 0, drawing_width(self.room.width, band.share)))

    def _piece(self, row: int, piece: BandPiece) -> None:
        first, last = column_of(self.grid, piece.left) + 1, column_of(self.grid, piece.right)
        value: Value = figure(piece.value) if isinstance(piece.value, int | float) else piece.value
        number_format = value.format + FREE if isinstance(value, Figure) else "General"
        style = self.styles.number(piece.role, number_format)
        held = cell_value(value.value if isinstance(value, Figure) else value or None)
        for column in range(first, last + 1):
            shown = held if column == first else None
            self.cells.put(row, column, value_cell(f"{letter(column)}{row}", style, shown, self.strings))
        if last > first:
            self.worksheet.merged_cells.add(f"{letter(first)}{row}:{letter(last)}{row}")

    def _print_set_up(self) -> None:
        sheet = self.worksheet
        sheet.page_setup.paperSize = PAPERS[self.page.paper][2]
        sheet.page_setup.orientation = self.page.orientation
        if self.page.one_page:
            sheet.sheet_properties.pageSetUpPr.fitToPage = True
            sheet.page_setup.fitToWidth = sheet.page_setup.fitToHeight = 1
        sheet.page_margins.left = sheet.page_margins.right = SIDE
        sheet.page_margins.top, sheet.page_margins.bottom = TOP, BOTTOM
        sheet.page_margins.header = sheet.page_margins.footer = EDGE
        sheet.oddFooter.left.text = "&A"
        sheet.oddFooter.right.text = "Page &P of &N"
        sheet.sheet_view.showGridLines = False


def paged(whole: Sequence[Band], height: float) -> Iterator[Band]:
    """Bands with breaks where a page is full. A band that is kept with the next goes over to the new page with it."""
    page: list[Band] = []
    for band in whole:
        if band.new_page:
            if any(not other.blank for other in page):
                yield from page
                yield band
            page = []
            continue
        if band.blank and not page:
            continue
        if page and sum(other.height for other in page) + band.height > height:
            chain = _kept(page)
            if chain < len(page):
                carried = page[chain:]
                page = page[:chain]
            else:
                carried = []
            yield from page
            yield Band(0, new_page=True)
            page = carried or list(band.repeat)
            if band.blank:
                continue
        page.append(band)
    yield from page


def _kept(page: Sequence[Band]) -> int:
    """Where the run of bands at the end of a page starts that must go on to the next page; its length if there is none.

    A run that fills the page from its top cannot be kept.
    """
    start = len(page)
    while start and page[start - 1].keep:
        start -= 1
    return start if start else len(page)


def columns(whole: Sequence[Band], width: float) -> list[float]:
    """Edges of the sheet's columns: every edge of a cell, those that nearly meet taken together."""
    wanted = sorted(
        {0.0, width, *(edge for band in whole for piece in band.pieces for edge in (piece.left, piece.right))}
    )
    grid = [0.0]
    for edge in wanted[1:]:
        if edge - grid[-1] >= SNAP:
            grid.append(edge)
    if width - grid[-1] > 0 and len(grid) > 1:
        grid[-1] = width
    return grid if len(grid) > 1 else [0.0, width]


def column_of(grid: Sequence[float], edge: float) -> int:
    """Number of the grid's edge nearest to a place."""
    return min(range(len(grid)), key=lambda number: abs(grid[number] - edge))
