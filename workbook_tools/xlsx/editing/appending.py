"""Adds columns at the end of a table: headings, cells, widths, column formulas, rules and notices."""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass
from typing import TYPE_CHECKING

from lxml import etree

from workbook_tools.errors import EditError
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.editing.book import escaped
from workbook_tools.xlsx.editing.cell_formulas import Area
from workbook_tools.xlsx.editing.growing import check_free_cells
from workbook_tools.xlsx.editing.parts import Element, local, parse, space
from workbook_tools.xlsx.editing.sheet_rows import SheetRows
from workbook_tools.xlsx.reading.limits import MOST_COLUMNS

if TYPE_CHECKING:
    from workbook_tools.xlsx.editing.book import TablePlace
    from workbook_tools.xlsx.editing.cell_edits import CellEdit


@dataclass(frozen=True)
class NewColumn:
    """A column to add to a table. Style numbers are those of the workbook that it is added to.

    heading : unique in the table.
    formula : text of its formula in the table's first row, or nothing for a typed column; the rows share it.
    results : stored results by row, or the typed values of a typed column; None and rows without one are blank.
    table_formula : what the table itself says of the column, which a new row takes over.
    rule, heading_rule : a dataValidation element as text, without the cells that it is for; nothing for none.
    notices : cfRule elements as text, with dxfId numbers of the workbook that it is added to.
    above : what stands in the cell above the heading.
    """

    heading: str
    formula: str = ""
    results: Sequence[object] = ()
    table_formula: str = ""
    heading_style: int = 0
    style: int = 0
    width: float | None = None
    hidden: bool = False
    rule: str = ""
    heading_rule: str = ""
    notices: Sequence[str] = ()
    above: str = ""
    above_style: int = 0


def append_columns(book: CellEdit, place: TablePlace, columns: Sequence[NewColumn]) -> None:
    """Add columns at the end of a table; see `WorkbookEdit.append_columns`."""
    last = place.last_column + len(columns)
    folded = {heading.casefold() for heading in place.headings}
    for column in columns:
        if column.heading.casefold() in folded:
            raise EditError(book.path, place.name, f"has a column {column.heading!r} already.")
        folded.add(column.heading.casefold())
    if last > MOST_COLUMNS:
        raise EditError(book.path, place.name, "has no room for more columns.")
    top = place.heading_row - 1 if any(column.above for column in columns) else place.heading_row
    check_free_cells(book, place, Area(max(top, 1), place.last_column + 1, place.last_row + place.totals, last))
    rows = book.rows(place.sheet)
    for number, column in enumerate(columns, start=place.last_column + 1):
        _around(book, rows, place, number, column)
    _cells(book, rows, place, columns)
    _in_table(book, place, columns)
    book.formulas_changed = True


def _cells(book: CellEdit, rows: SheetRows, place: TablePlace, columns: Sequence[NewColumn]) -> None:
    """The headings and the cells of every row, a row at a time."""
    first = place.last_column + 1
    if any(column.above for column in columns):
        for number, column in enumerate(columns, start=first):
            _heading(book, place, place.heading_row - 1, number, column.above, column.above_style)
    for number, column in enumerate(columns, start=first):
        _heading(book, place, place.heading_row, number, column.heading, column.heading_style)
    shared = {number: rows.free_shared() for number, column in enumerate(columns, start=first) if column.formula}
    for position, row in enumerate(range(place.first_row, place.last_row + 1)):
        for number, column in enumerate(columns, start=first):
            cell = rows.make_cell(row, number, str(column.style))
            rows.edit(row).set_cell(number, cell)
            value = column.results[position] if position < len(column.results) else None
            if not column.formula:
                book.put(place.sheet, row, number, value)
                continue
            formula = etree.SubElement(cell, f"{{{space(cell)}}}f")
            formula.set("t", "shared")
            formula.set("si", str(shared[number]))
            if position == 0:
                formula.set("ref", str(Area(place.first_row, number, place.last_row, number)))
                formula.text = escaped(column.formula)
            book.store(place.sheet, row, number, value)
    rows.widen(place.last_row, first + len(columns) - 1)


def _heading(book: CellEdit, place: TablePlace, row: int, column: int, text: str, style: int) -> None:
    if text:
        rows = book.rows(place.sheet)
        rows.edit(row).set_cell(column, rows.make_cell(row, column, str(style)))
        book.put(place.sheet, row, column, text)


def _in_table(book: CellEdit, place: TablePlace, columns: Sequence[NewColumn]) -> None:
    root = book.stretch(place, place.last_row, place.last_column + len(columns))
    if place.totals:
        first, _, last = root.get("ref", "").partition(":")
        root.set("ref", f"{first}:{last.rstrip('0123456789')}{place.last_row + 1}")
    group = next(child for child in root if local(child) == "tableColumns")
    taken = [int(entry.get("id", "0")) for entry in group if local(entry) == "tableColumn"]
    for number, column in enumerate(columns, start=max(taken, default=0) + 1):
        entry = etree.SubElement(group, f"{{{space(root)}}}tableColumn")
        entry.set("id", str(number))
        entry.set("name", escaped(column.heading).replace("\n", "_x000a_"))
        if column.table_formula:
            etree.SubElement(entry, f"{{{space(root)}}}calculatedColumnFormula").text = column.table_formula
    group.set("count", str(len(taken) + len(columns)))


# ------------------------------------------------------------------------------------------------ around the cells


def _around(book: CellEdit, rows: SheetRows, place: TablePlace, number: int, column: NewColumn) -> None:
    """Width, rules and notices of a new column."""
    if column.width is not None or column.hidden:
        set_width(rows, number, column.width, column.hidden)
    cells = str(Area(place.first_row, number, place.last_row, number))
    if column.rule:
        add_rule(rows, column.rule, cells)
    if column.heading_rule:
        add_rule(rows, column.heading_rule, f"{letter(number)}{place.heading_row}")
    for notice in column.notices:
        add_notice(rows, notice, cells)


def fragment(rows: SheetRows, text: str) -> Element:
    """An element from its text, in the sheet's own dialect."""
    root = parse(f'<a xmlns="{space(rows.frame())}">{text}</a>'.encode(), rows.name, rows.path)
    return root[0]


def add_rule(rows: SheetRows, text: str, cells: str) -> None:
    """Add a rule on what may be typed into cells."""
    group = rows.need("dataValidations")
    rule = fragment(rows, text)
    rule.set("sqref", cells)
    group.append(rule)
    group.set("count", str(sum(local(child) == "dataValidation" for child in group)))


def add_notice(rows: SheetRows, text: str, cells: str) -> None:
    """Add a notice on cells, weaker than those that are there."""
    frame = rows.frame(change=True)
    notice = fragment(rows, text)
    strongest = max((int(rule.get("priority", "0")) for rule in frame.iter("{*}cfRule")), default=0)
    notice.set("priority", str(strongest + 1))
    group = etree.Element(f"{{{space(frame)}}}conditionalFormatting", nsmap=frame.nsmap)
    group.set("sqref", cells)
    group.append(notice)
    rows.place_in_order(group)


def set_width(rows: SheetRows, column: int, width: float | None, hidden: bool) -> None:
    """Set a column's width; an entry that holds for several columns is cut around it."""
    group = rows.need("cols")
    made = None
    for entry in list(group):
        first, last = int(entry.get("min", "0")), int(entry.get("max", "0"))
        if not first <= column <= last:
            continue
        made = deepcopy(entry)
        made.tail = None
        at = group.index(entry)
        group.remove(entry)
        for low, high in ((column + 1, last), (first, column - 1)):
            if low <= high:
                part = deepcopy(entry)
                part.set("min", str(low))
                part.set("max", str(high))
                group.insert(at, part)
        at += first < column
        group.insert(at, made)
        break
    if made is None:
        made = etree.Element(f"{{{space(group)}}}col", nsmap=group.nsmap)
        before = [entry for entry in group if int(entry.get("max", "0")) < column]
        group.insert(group.index(before[-1]) + 1 if before else 0, made)
    made.set("min", str(column))
    made.set("max", str(column))
    if width is not None:
        made.set("width", f"{width:g}")
        made.set("customWidth", "1")
    if hidden:
        made.set("hidden", "1")
