"""Opens a log's file for edits, if it is of today's layout."""

from __future__ import annotations

from pathlib import Path

from workbook_tools.errors import ReadError
from workbook_tools.layout import Layout
from workbook_tools.log.checking.silent_cells import counts_from_1904
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit
from workbook_tools.xlsx.reading import Archive

VERSION = "Layout version"  # the document property


def editable(path: object, content: bytes | Archive) -> WorkbookEdit:
    """The file, open for edits; raises ReadError where day numbers written into it would mean other days."""
    edit = WorkbookEdit(content, path)
    if counts_from_1904(edit.package.tree(edit.package.workbook)):
        raise ReadError(
            path,
            "counts its days from 1904, as some old spreadsheets do: dates written into it would be four years off. "
            "Make a new log (`workbook-tools new log`), and merge this one into it (`workbook-tools merge`).",
        )
    return edit


def opened(path: Path, content: bytes | Archive, layout: Layout) -> WorkbookEdit:
    """The file, open for edits; raises ReadError where the log is of another layout version."""
    edit = editable(path, content)
    version = edit.property(VERSION)
    if version is not None and version != layout.version:
        raise ReadError(
            path,
            f"is of layout version {version}, these tools are of {layout.version}: bring it up to date first "
            "(`workbook-tools upgrade`), or take newer tools.",
        )
    return edit
