"""Files as a command found them, so that nothing is written over what somebody saved meanwhile."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Protocol

from workbook_tools.errors import ChangedFileError, ReadError
from workbook_tools.xlsx.reading import file_content


class Read(Protocol):
    """A file that is read once: `Opened`."""

    path: Path

    @property
    def content(self) -> bytes: ...


class Seen:
    """The content of files at the moment a command begins to read them."""

    def __init__(self, *files: Path | Read) -> None:
        self._before = {file if isinstance(file, Path) else file.path: _digest(file) for file in files}
        self._files = {_which(path) for path in self._before} - {None}
        self._states = {path: _state(path) for path in self._before}

    def has(self, path: Path) -> bool:
        """Whether a path leads to one of the files, by whatever name."""
        return _which(path) in self._files

    def check_states(self) -> None:
        """The same as `check` by what a program's save changes of a file, without reading it: before the work."""
        for path, before in self._states.items():
            if _state(path) != before:
                self._check(path)

    def check(self) -> None:
        """Raises ChangedFileError where one of the files has another content by now, or is there no more."""
        for path in self._before:
            self._check(path)

    def _check(self, path: Path) -> None:
        if _digest(path) != self._before[path]:
            raise ChangedFileError(path)


def _which(path: Path) -> tuple[int, int] | None:
    """The file that a path leads to, links followed; None where there is none."""
    try:
        found = path.stat()
    except (OSError, ValueError):
        return None
    return found.st_dev, found.st_ino


def _state(path: Path) -> tuple[int, ...] | None:
    """What changes whenever a program saves a file; None where there is none."""
    try:
        there = path.stat()
    except (OSError, ValueError):
        return None
    return there.st_dev, there.st_ino, there.st_size, there.st_mtime_ns


def _digest(file: Path | Read) -> bytes | None:
    """None for what is no file that can be read: the reader proper says why."""
    try:
        return hashlib.sha256(file_content(file) if isinstance(file, Path) else file.content).digest()
    except ReadError:
        return None
