"""Files as a command found them, so that nothing is written over what somebody saved meanwhile."""

from __future__ import annotations

import hashlib
from pathlib import Path

from workbook_tools.errors import ChangedFileError, ReadError
from workbook_tools.intake import file_content


class Seen:
    """The content of files at the moment a command begins to read them."""

    def __init__(self, *paths: Path) -> None:
        self._before = {path: _digest(path) for path in paths}

    def check(self) -> None:
        """Raises ChangedFileError where one of the files has another content by now, or is there no more."""
        for path, before in self._before.items():
            if _digest(path) != before:
                raise ChangedFileError(path)


def _digest(path: Path) -> bytes | None:
    """None for what is no file that can be read: the reader proper says why."""
    try:
        return hashlib.sha256(file_content(path)).digest()
    except ReadError:
        return None
