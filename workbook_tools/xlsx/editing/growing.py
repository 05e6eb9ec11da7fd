"""Lengthens a table: room below it is looked at first, then rows, table, filter, rules and notices grow together.

Where other tables stand close below it, room can be made first, if nothing refers to them by their cells.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING

from lxml import etree

from workbook_tools.errors import EditError
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.editing.cell_formulas import Area, formula_holder, formula_of, formula_text_of, translated
from workbook_tools.xlsx.editing.parts import Element, local
from workbook_tools.xlsx.editing.sheet_rows import SheetRow, SheetRows, copied, place_of
from workbook_tools.xlsx.reading.limits import MOST_ROWS

if TYPE_CHECKING:
    from workbook_tools.xlsx.editing.book import Book, TablePlace

FOLLOWING = ("dataValidation", "conditionalFormatting", "ignoredError", "protectedRange")
# what a sheet may hold, and be linked to, while its rows are pushed down: all else names cells by their rows
FREE_OF_ROWS = (
    *("sheetPr", "dimension", "sheetViews", "sheetFormatPr", "cols", "sheetData", "sheetProtection", "printOptions"),
    *("pageMargins", "pageSetup", "headerFooter", "tableParts"),
)
FREE_LINKS = ("table", "printerSettings")
ROW_LOOK = ("ht", "customHeight", "s", "customFormat", "thickTop", "thickBot")


def grow(book: Book, place: TablePlace, more: int) -> int:
    """Lengthen a table by so many empty rows; see `WorkbookEdit.grow`."""
    if more < 1:
        raise EditError(book.path, place.name, f"cannot grow by {more} rows.")
    if place.totals:
        raise EditError(book.path, place.name, "has a row of totals right below it; take that row out, then try again.")
    first, last = place.last_row + 1, place.last_row + more
    rows = book.rows(place.sheet)
    room = Area(first, place.first_column, last, place.last_column)
    check_free_cells(book, place, room)
    _add_rows(book, rows, place, first, last)
    book.stretch(place, last, place.last_column)
    stretch_areas(rows, place, last)
    book.formulas_changed = True
    return first


def check_free_cells(book: Book, place: TablePlace, room: Area) -> None:
    """Raises EditError, naming it, where anything stands in cells that a table is to take."""
    where = f"{place.sheet}!{room}"
    if room.bottom > MOST_ROWS:
        raise EditError(book.path, place.name, f"cannot reach to row {room.bottom:,}: a sheet ends at {MOST_ROWS:,}.")
    rows = book.rows(place.sheet)
    for number in rows.row_numbers(room.top, room.bottom):
        row = rows.peek(number)
        for column, cell in row.cells.items() if row is not None else ():
            if room.left <= column <= room.right and any(local(child) in ("v", "f", "is") for child in cell):
                raise EditError(
                    book.path,
                    where,
                    f"something stands in {letter(column)}{number}, where {place.name} needs room. "
                    "Move it elsewhere, then try again.",
                )
    for other in book.tables().values():
        bottom = other.last_row + other.totals
        own = Area(other.heading_row, other.first_column, bottom, other.last_column)
        if other.sheet == place.sheet and other.name != place.name and room.meets(own):
            raise EditError(book.path, where, f"the table {other.name} stands where {place.name} needs room.")
    for merged in rows.frame().iter("{*}mergeCell"):
        area = Area.of(merged.get("ref", ""))
        if area is not None and room.meets(area):
            raise EditError(book.path, where, f"the merged cells {area} stand where {place.name} needs room.")
    for link in book.package.relations(rows.name):
        if link.kind == "pivotTable":
            location = book.package.tree(link.target).find("{*}location")
            area = Area.of(location.get("ref", "")) if location is not None else None
            if area is not None and room.meets(area):
                raise EditError(book.path, where, f"a pivot table in {area} stands where {place.name} needs room.")


def make_room(book: Book, place: TablePlace, more: int) -> None:
    """Push down what stands below a table; see `WorkbookEdit.make_room`."""
    rows, first = book.rows(place.sheet), place.last_row + place.totals + 2
    _refuse_to_push(book, rows, place, first)
    for other in book.tables().values():
        if other.sheet == place.sheet and other.heading_row >= first:
            for entry in book.package.tree(other.part, change=True).iter():
                area = Area.of(entry.get("ref", "")) if isinstance(entry.tag, str) else None
                if area is not None:
                    lower = Area(area.top + more, area.left, area.bottom + more, area.right)
                    entry.set("ref", str(lower))
    rows.push_down(first, more)
    rows.widen(rows.last_row, 1)


def _refuse_to_push(book: Book, rows: SheetRows, place: TablePlace, first: int) -> None:
    """Raises EditError where more than cells and tables would have to follow the rows from one on."""
    where = f"{place.sheet}!{first}"
    said = "no room can be made below the table {}: {}."
    links = {link.kind for link in book.package.relations(rows.name)} - set(FREE_LINKS)
    others = {local(child) for child in rows.frame() if isinstance(child.tag, str)} - set(FREE_OF_ROWS)
    if links or others:
        raise EditError(
            book.path, where, said.format(place.name, f"its sheet holds {', '.join(sorted(links | others))}")
        )
    for number in rows.row_numbers(1, rows.last_row):
        row = rows.peek(number)
        if row is not None and any(formula_of(cell) is not None for cell in row.cells.values()):
            raise EditError(book.path, where, said.format(place.name, f"row {number} of its sheet holds formulas"))
    name = re.escape(place.sheet).replace("'", "(?:'|&apos;)+")
    to_sheet = re.compile(rf"\b{name}(?:'|&apos;)?!(\$?[A-Z]{{1,3}}\$?\d+)(?::(\$?[A-Z]{{1,3}}\$?\d+))?", re.IGNORECASE)
    for part in book.package.names():
        if part.endswith(".xml") and place.sheet.encode() in (content := book.package.read(part)):
            if f'sheet="{place.sheet}"'.encode() in content:
                raise EditError(
                    book.path, where, said.format(place.name, "a pivot table is made from cells of its sheet")
                )
            for found in to_sheet.finditer(content.decode("utf-8", "replace")):
                last = place_of(found[2] or found[1])
                if last is None or first <= last[0] < MOST_ROWS:
                    raise EditError(book.path, where, said.format(place.name, f"{found[0]} is referred to"))


# ----------------------------------------------------------------------------------------------------- the rows


def _add_rows(book: Book, rows: SheetRows, place: TablePlace, first: int, last: int) -> None:
    model = rows.peek(place.last_row)
    cells = {
        c: cell for c, cell in (model.cells if model else {}).items() if place.first_column <= c <= place.last_column
    }
    patterns = {column: _pattern(rows, place, column, cell, last) for column, cell in cells.items()}
    for number in range(first, last + 1):
        new = rows.edit(number)
        if model is not None and not new.cells:
            for name in ROW_LOOK:
                if model.element.get(name) is not None:
                    new.element.set(name, model.element.get(name))
        for column, (cell, text) in patterns.items():
            _add_cell(new, number, column, cell, text, place.last_row)
    if cells:
        rows.widen(last, max(cells))


def _add_cell(new: SheetRow, number: int, column: int, pattern: Element, text: str | None, origin: int) -> None:
    cell = copied(pattern)
    cell.set("r", f"{letter(column)}{number}")
    formula = formula_of(cell)
    if formula is not None and text is not None:
        formula.text = translated(text, (origin, column), (number, column))
        if formula.get("ref") is not None:
            formula.set("ref", f"{letter(column)}{number}")
    new.set_cell(column, cell)


def _pattern(rows: SheetRows, place: TablePlace, column: int, cell: Element, last: int) -> tuple[Element, str | None]:
    """A cell of the last row without its value, and its formula's text where that stands in every row anew."""
    pattern = etree.Element(cell.tag, nsmap=cell.nsmap)
    if cell.get("s") is not None:
        pattern.set("s", cell.get("s"))
    formula = formula_of(cell)
    if formula is None or formula.get("t") == "dataTable":
        return pattern, None
    text: str | None = formula_text_of(rows, place.last_row, column, formula)
    kept = etree.SubElement(pattern, formula.tag)
    if formula.get("t") == "shared" and _shared_further(rows, formula.get("si", ""), column, last):
        kept.set("t", "shared")
        kept.set("si", formula.get("si", ""))
        text = None
    elif formula.get("t") == "array":
        area = Area.of(formula.get("ref", ""))
        if area is not None and (area.top != area.bottom or area.left != area.right):
            pattern.remove(kept)  # one formula over several cells is not a row's own
            return pattern, None
        kept.set("t", "array")
        kept.set("ref", "")
        for name in ("cm", "aca"):
            if cell.get(name) is not None:
                pattern.set(name, cell.get(name))
    return pattern, text


def _shared_further(rows: SheetRows, number: str, column: int, last: int) -> bool:
    """Let a shared formula reach down to another row; False where it cannot."""
    held = formula_holder(rows, number)
    area = Area.of(held[2].get("ref", "")) if held is not None else None
    if held is None or area is None or not area.left <= column <= area.right:
        return False
    formula = formula_of(rows.edit_cell(held[0], held[1]))
    assert formula is not None
    formula.set("ref", str(Area(area.top, area.left, max(area.bottom, last), area.right)))
    return True


# ------------------------------------------------------------------------------------------- rules and notices


def stretch_areas(rows: SheetRows, place: TablePlace, last: int) -> None:
    """Let rules, notices and the like that reach a table's last row reach down to another row."""
    for entry, text in _areas(rows.frame()):
        said = (entry.text or "") if text else entry.get("sqref", "")
        new = " ".join(_stretched(ref, place, last) for ref in said.split())
        if new != " ".join(said.split()):
            rows.frame(change=True)
            if text:
                entry.text = new
            else:
                entry.set("sqref", new)


def _areas(frame: Element) -> Iterator[tuple[Element, bool]]:
    """Elements that name cells they hold for, and whether they do so in their text."""
    for element in frame.iter():
        if local(element) in FOLLOWING and element.get("sqref") is not None:
            yield element, False
        elif local(element) == "sqref" and local(element.getparent()) in FOLLOWING:
            yield element, True  # in an extension


def _stretched(ref: str, place: TablePlace, last: int) -> str:
    area = Area.of(ref)
    if area is None or area.bottom != place.last_row:
        return ref
    one_row = area.top == area.bottom and place.first_row != place.last_row
    if one_row or area.right < place.first_column or area.left > place.last_column or area.top < place.heading_row:
        return ref
    return str(Area(area.top, area.left, last, area.right))
