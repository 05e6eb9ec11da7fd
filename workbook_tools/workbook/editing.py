"""Edits a workbook in place: what a person added stays, and parts that an edit does not concern keep their bytes.

Libraries that load a workbook and save it anew drop what they do not know; those that patch it do less than is needed
here (rows that grow, whole sheets, columns), see DEVELOPERS.md for what was measured.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from lxml import etree

from workbook_tools.addresses import letter
from workbook_tools.errors import DataError, EditError
from workbook_tools.intake import Archive
from workbook_tools.intake.limits import MOST_COLUMNS, MOST_ROWS
from workbook_tools.workbook import grafting, growing
from workbook_tools.workbook.appending import NewColumn, append_columns
from workbook_tools.workbook.book import Book, TablePlace, escaped
from workbook_tools.workbook.cell_formulas import Area, blocks, formula_of, let_go
from workbook_tools.workbook.notes import SheetNotes
from workbook_tools.workbook.parts import Element, local, space
from workbook_tools.workbook.values import cell_value

__all__ = ["NewColumn", "TablePlace", "WorkbookEdit"]


class WorkbookEdit(Book):
    """A workbook that is being edited; `content` gives the new file.

    Parameters
    ----------
    content : the bytes of an .xlsx file, or its parts where it was let in already.
    path : what to call it in sentences.

    Raises
    ------
    ReadError : it is no workbook, is locked or damaged, or brings what no spreadsheet writes.
    EditError : from every edit that cannot be made; nothing of that edit was done.
    """

    def __init__(self, content: bytes | Archive, path: object = "workbook") -> None:
        super().__init__(content, path)
        self._blocks: dict[str, list[Area]] = {}
        self._notes: dict[str, SheetNotes] = {}

    # ------------------------------------------------------------------------------------------------- cells

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

    # ------------------------------------------------------------------------------------------ larger edits

    def grow(self, table: str, rows: int) -> int:
        """Lengthen a table by so many empty rows, which look and compute as its last one; the first of them.

        Its filter and the rules and notices that reach its last row grow with it. Raises EditError where something
        stands below the table in its way.
        """
        return growing.grow(self, self.table(table), rows)

    def make_room(self, table: str, rows: int) -> None:
        """Let all that stands below a table and the free row under it stand so many rows lower, tables with it.

        Raises EditError where something refers to what would move, or stands there that is neither cell nor table.
        """
        growing.make_room(self, self.table(table), rows)

    def append_columns(self, table: str, columns: Sequence[NewColumn]) -> None:
        """Add columns at the end of a table; raises EditError where something stands to the right of it."""
        append_columns(self, self.table(table), columns)

    def graft(
        self, other: bytes, sheets: Sequence[str], replaces: bool = False, before: WorkbookEdit | None = None
    ) -> None:
        """Copy whole sheets from another workbook that this project built.

        With `replaces`, a sheet of the same name is put anew in the same place; without, it is in the way. What a
        person put round its cells is told from ours by the workbook `before`, of the layout that the sheet had.
        """
        grafting.graft(self, WorkbookEdit(other, "the new workbook"), sheets, replaces, before)

    def styles_from(self, other: bytes) -> Mapping[int, int]:
        """Numbers here of another workbook's cell styles, which are added where they are not here yet."""
        return grafting.StyleGraft(self, WorkbookEdit(other, "the new workbook")).numbers

    def remark(self, sheet: str, row: int, column: int, text: str) -> None:
        """Put a note on a cell, below the note that is there; a thread of comments there is left alone (EditError)."""
        self._held(sheet, row, column, text)
        part = self.part_of(sheet)
        if part not in self._notes:
            self._notes[part] = SheetNotes(self, sheet)
        self._notes[part].add(row, column, text)

    def forget(self, part: str) -> None:
        """Read a sheet's rows anew when they are asked for: its part was written as a whole."""
        self._blocks.pop(part, None)
        super().forget(part)

    def content(self) -> bytes:
        """The edited file. The same edits of the same file give the same bytes."""
        for notes in self._notes.values():
            notes.write()
        return super().content()
