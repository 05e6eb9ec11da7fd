"""Files as a command found them, so that nothing is written over what somebody saved meanwhile."""

from __future__ import annotations

import hashlib
from pathlib import Path

from workbook_tools.errors import ChangedFileError, ReadError
from workbook_tools.xlsx.reading import file_content


class Seen:
    """The content of files at the moment a command begins to read them."""

    def __init__(self, *paths: Path) -> None:
        self._before = {path: _digest(path) for path in paths}
        self._files = {_which(path) for path in paths} - {None}

    def has(self, path: Path) -> bool:
        """Whether a path leads to one of the files, by whatever name."""
        return _which(path) in self._files

    def check(self) -> None:
        """Raises ChangedFileError where one of the files has another content by now, or is there no more."""
        for path, before in self._before.items():
            if _digest(path) != before:
                raise ChangedFileError(path)


def _which(path: Path) -> tuple[int, int] | None:
    """The file that a path leads to, links followed; None where there is none."""
    try:
        found = path.stat()
    except (OSError, ValueError):
        return None
    return found.st_dev, found.st_ino


def _digest(path: Path) -> bytes | None:
    """None for what is no file that can be read: the reader proper says why."""
    try:
        return hashlib.sha256(file_content(path)).digest()
    except ReadError:
        return None
