"""One file that a command works on: its bytes are read once, and everything else is made of them.

A command opens each of its files here and hands it down. What is saved at the end is held against the same bytes
(`saving/inputs.py`), so that nothing is written over what somebody saved meanwhile, and no output mixes two states.
"""

from __future__ import annotations

from functools import cached_property
from pathlib import Path

from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit
from workbook_tools.xlsx.reading import Archive, admitted, file_content


class Opened:
    """A file as it was when it was first looked at.

    Parameters
    ----------
    path : where it is. It is read when its content is first asked for, and never again.
    """

    def __init__(self, path: Path) -> None:
        self.path = path

    @classmethod
    def of(cls, file: Path | Opened) -> Opened:
        """The file, opened already or not."""
        return file if isinstance(file, Opened) else cls(file)

    @cached_property
    def content(self) -> bytes:
        """Its bytes; raises ReadError where it cannot be read."""
        return file_content(self.path)

    @cached_property
    def archive(self) -> Archive:
        """Its parts, looked at from end to end; raises ReadError for what is no workbook."""
        return admitted(self.path, self.content)

    def edit(self) -> WorkbookEdit:
        """The workbook, to be edited; each call begins with the file as it was. Raises ReadError."""
        return WorkbookEdit(self.archive, self.path)
