"""Opens a log's file for edits, if it is of today's layout."""

from __future__ import annotations

from pathlib import Path

from workbook_tools.errors import ReadError
from workbook_tools.layouts import Layout
from workbook_tools.workbook.editing import WorkbookEdit

VERSION = "Layout version"  # the document property


def opened(path: Path, content: bytes, layout: Layout) -> WorkbookEdit:
    """The file, open for edits; raises ReadError where the log is of another layout version."""
    edit = WorkbookEdit(content, path)
    version = edit.property(VERSION)
    if version is not None and version != layout.version:
        raise ReadError(
            path,
            f"is of layout version {version}, these tools are of {layout.version}: bring it up to date first "
            "(`workbook-tools upgrade`), or take newer tools.",
        )
    return edit
