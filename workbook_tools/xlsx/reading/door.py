"""A file let in, or turned away with a reason."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from workbook_tools.xlsx.reading.archive import Archive
from workbook_tools.xlsx.reading.contents import Asked, sheets_in_turn
from workbook_tools.xlsx.reading.files import file_content


def admitted(path: Path | str, content: bytes | None = None, asked: Asked | None = None) -> Archive:
    """The workbook at a path, looked at from end to end.

    Parameters
    ----------
    path : where it is said to be.
    content : its bytes, where they were read already; the path is then only what it is called in sentences.
    asked : for who wants some values only, the part of each sheet that is asked for. Its rows are then shortened; what
        stands beyond is still to be had.

    Returns
    -------
    Its parts and its bytes. Read these, not the path again: what was looked at is then what is read.

    Raises
    ------
    ReadError : it is no file, no workbook, one that is damaged, or one that would need more room than any real one.
    """
    archive, sheets = admitted_in_turn(path, content, asked)
    for _ in sheets:
        pass
    return archive


def admitted_in_turn(
    path: Path | str, content: bytes | None = None, asked: Asked | None = None
) -> tuple[Archive, Iterator[str]]:
    """The same for who reads a sheet while the next is looked at: the names of the sheets, each when it may be read.

    Nothing of the file may be used before all names have come; ReadError may come instead of any of them.
    """
    archive = Archive(file_content(Path(path)) if content is None else content, path)
    return archive, sheets_in_turn(archive, asked or {})
