"""A file let in, or turned away with a reason."""

from __future__ import annotations

from pathlib import Path

from workbook_tools.intake.archive import Archive
from workbook_tools.intake.contents import check_contents
from workbook_tools.intake.files import file_content


def admitted(path: Path) -> bytes:
    """The bytes of the workbook at a path.

    Parameters
    ----------
    path : where it is said to be.

    Returns
    -------
    The file's bytes. Read these, not the path again: what was looked at is then what is read.

    Raises
    ------
    ReadError : it is no file, no workbook, one that is damaged, or one that would need more room than any real one.
    """
    content = file_content(path)
    check_admitted(content, path)
    return content


def check_admitted(content: bytes, path: object) -> None:
    """The same for bytes; raises ReadError."""
    check_contents(Archive(content, path))
