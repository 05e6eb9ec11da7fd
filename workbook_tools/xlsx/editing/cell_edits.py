"""Edits of single cells: a value typed, a result stored beside a formula."""

from __future__ import annotations

from lxml import etree

from workbook_tools.errors import DataError, EditError
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.editing.book import Book, escaped
from workbook_tools.xlsx.editing.cell_formulas import Area, blocks, formula_of, let_go
from workbook_tools.xlsx.editing.parts import Element, local, space
from workbook_tools.xlsx.reading import Archive
from workbook_tools.xlsx.reading.limits import MOST_COLUMNS, MOST_ROWS
from workbook_tools.xlsx.writing.values import cell_value


class CellEdit(Book):
    """A workbook whose cells are edited; `WorkbookEdit` adds the larger edits."""

    def __init__(self, content: bytes | Archive, path: object = "workbook") -> None:
        super().__init__(content, path)
        self._blocks: dict[str, list[Area]] = {}

    def put(self, sheet: str, row: int, column: int, value: object, replace: bool = False) -> None:
        """Type a value into a cell; None empties it. The cell keeps its look; text never becomes a formula.

        A formula that stands there is only replaced when `replace` says so. Raises EditError, and DataError for a
        value that no cell can hold.
        """
        rows = self.rows(sheet)
        held = self._held(sheet, row, column, value)
        there = rows.peek(row)
        cell = there.cells.get(column) if there is not None else None
        place = f"{sheet}!{letter(column)}{row}"
        if self._in_block(sheet, row, column):
            raise EditError(self.path, place, "belongs to a formula that fills several cells together.")
        if formula_of(cell) is not None:
            if not replace:
                raise EditError(self.path, place, "holds a formula, which is not typed over.")
            let_go(rows, row, column)
            self.formulas_changed = True
        if cell is None and held is None:
            return
        if self.is_covered(sheet, row, column):
            raise EditError(self.path, place, "is covered by merged cells; only the first of them can be filled.")
        self._fill(rows.edit_cell(row, column), held, typed=True)
        self.values_changed = True

    def store(self, sheet: str, row: int, column: int, value: object) -> None:
        """Store a new result beside a cell's formula; None is the empty text. The formula stays as it is."""
        rows = self.rows(sheet)
        held = self._held(sheet, row, column, value)
        there = rows.peek(row)
        cell = there.cells.get(column) if there is not None else None
        if cell is None or (formula_of(cell) is None and not self._in_block(sheet, row, column)):
            raise EditError(self.path, f"{sheet}!{letter(column)}{row}", "holds no formula to store a result of.")
        self._fill(rows.edit_cell(row, column), "" if held is None else held, typed=False)

    def _held(self, sheet: str, row: int, column: int, value: object) -> object:
        place = f"{sheet}!row {row}, column {column}"
        if not 1 <= row <= MOST_ROWS or not 1 <= column <= MOST_COLUMNS:
            raise EditError(self.path, place, "there is no such cell.")
        try:
            return cell_value(value)
        except ValueError as error:
            raise DataError([f"{place}: {error}"]) from error

    def is_covered(self, sheet: str, row: int, column: int) -> bool:
        """Whether a cell lies under merged ones."""
        merged = (Area.of(entry.get("ref", "")) for entry in self.rows(sheet).frame().iter("{*}mergeCell"))
        areas = (area for area in merged if area is not None and area.holds(row, column))
        return any((area.top, area.left) != (row, column) for area in areas)

    def _in_block(self, sheet: str, row: int, column: int) -> bool:
        key = self.part_of(sheet)
        if key not in self._blocks:
            self._blocks[key] = [
                area for area in blocks(self.rows(sheet)) if area.top != area.bottom or area.left != area.right
            ]
        return any(area.holds(row, column) for area in self._blocks[key])

    def _fill(self, cell: Element, value: object, typed: bool) -> None:
        """Put a value into a cell element, in the place of what it held."""
        gone = ("v", "is", "f") if typed else ("v", "is")
        if cell.get("t") == "s":
            self.texts.uses -= 1
        for child in list(cell):
            if local(child) in gone:
                cell.remove(child)
        for name in ("t", "cm", "vm", "ph") if typed else ("t", "vm"):
            cell.attrib.pop(name, None)
        if value is None:
            return
        if isinstance(value, bool):
            cell.set("t", "b")
            text = str(int(value))
        elif isinstance(value, int | float):
            text = repr(value).removesuffix(".0")
        elif typed:
            cell.set("t", "s")
            text = str(self.texts.number(str(value)))
        else:
            cell.set("t", "str")
            text = escaped(str(value))
        element = etree.Element(f"{{{space(cell)}}}v", nsmap=cell.nsmap)
        element.text = text
        formula = formula_of(cell)
        cell.insert(0 if formula is None else cell.index(formula) + 1, element)

    def forget(self, part: str) -> None:
        """Read a sheet's rows anew when they are asked for: its part was written as a whole."""
        self._blocks.pop(part, None)
        super().forget(part)
