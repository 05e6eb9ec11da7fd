"""Edits a workbook in place: what a person added stays, and parts that an edit does not concern keep their bytes.

Libraries that load a workbook and save it anew drop what they do not know; those that patch it do less than is needed
here (rows that grow, whole sheets, columns), see DEVELOPERS.md for what was measured.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from workbook_tools.xlsx.editing import grafting, growing
from workbook_tools.xlsx.editing.appending import NewColumn, append_columns
from workbook_tools.xlsx.editing.book import TablePlace
from workbook_tools.xlsx.editing.cell_edits import CellEdit
from workbook_tools.xlsx.editing.notes import SheetNotes
from workbook_tools.xlsx.reading import Archive

__all__ = ["NewColumn", "TablePlace", "WorkbookEdit"]


class WorkbookEdit(CellEdit):
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
        self._notes: dict[str, SheetNotes] = {}

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

    def content(self) -> bytes:
        """The edited file. The same edits of the same file give the same bytes."""
        for notes in self._notes.values():
            notes.write()
        return super().content()
