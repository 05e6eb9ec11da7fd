"""A file let in, or turned away with a reason."""

from __future__ import annotations

from pathlib import Path

from workbook_tools.intake.archive import Archive
from workbook_tools.intake.contents import check_contents
from workbook_tools.intake.files import file_content


def admitted(path: Path | str, content: bytes | None = None) -> Archive:
    """The workbook at a path, looked at from end to end.

    Parameters
    ----------
    path : where it is said to be.
    content : its bytes, where they were read already; the path is then only what it is called in sentences.

    Returns
    -------
    Its parts and its bytes. Read these, not the path again: what was looked at is then what is read.

    Raises
    ------
    ReadError : it is no file, no workbook, one that is damaged, or one that would need more room than any real one.
    """
    archive = Archive(file_content(Path(path)) if content is None else content, path)
    check_contents(archive)
    return archive
