"""Finds the workbooks of a folder that may be case logs, in the order of their names."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from workbook_tools.errors import ReadError
from workbook_tools.xlsx.reading import real_path
from workbook_tools.xlsx.saving.program_locks import is_lock_file
from workbook_tools.xlsx.saving.whole_file import is_backup


@dataclass(frozen=True, order=True)
class FoundFile:
    """A workbook: its path from the folder on with / between the parts, its size [bytes] and time of change [ns]."""

    file: str
    size: int
    changed: int


@dataclass(frozen=True)
class Search:
    """What a folder holds: workbooks in the order of their paths, and folders that could not be looked into."""

    found: tuple[FoundFile, ...]
    closed: tuple[tuple[str, str], ...]  # folder, reason

    def is_behind(self, file: str) -> bool:
        """Whether a file lies in a folder that could not be looked into."""
        return any(file.startswith(f"{folder}/") for folder, _ in self.closed)


def find(folder: Path, but: Path | None = None) -> Search:
    """Every .xlsx file below a folder.

    Left out: lock files and backups, whatever begins with a dot, and the folder `but`. Links to folders are not
    followed.

    Raises
    ------
    ReadError : the folder is not there, is a file, or cannot be looked into.
    """
    if not folder.exists():
        raise ReadError(folder, "there is no such folder.")
    if not folder.is_dir():
        raise ReadError(folder, "is a file; name the folder that the logs are in.")
    closed: list[tuple[str, str]] = []
    found = sorted(_below(folder, "", None if but is None else real_path(but), closed))
    if closed and closed[0][0] == "":
        raise ReadError(folder, f"cannot be looked into ({closed[0][1]}).")
    return Search(tuple(found), tuple(sorted(closed)))


def _below(folder: Path, before: str, but: Path | None, closed: list[tuple[str, str]]) -> Iterator[FoundFile]:
    try:
        with os.scandir(folder) as listing:
            entries = sorted(listing, key=lambda entry: entry.name)
    except OSError as error:
        closed.append((before.rstrip("/"), error.strerror or type(error).__name__))
        return
    for entry in entries:
        name = entry.name
        if name.startswith("."):
            continue
        if entry.is_dir(follow_symlinks=False):
            if but is None or real_path(Path(entry.path)) != but:
                yield from _below(Path(entry.path), f"{before}{name}/", but, closed)
        elif name.lower().endswith(".xlsx") and not is_lock_file(name) and not is_backup(name):
            try:
                state = entry.stat()
            except OSError:  # a link that leads nowhere: whoever reads it says why
                yield FoundFile(f"{before}{name}", 0, 0)
                continue
            if not stat.S_ISDIR(state.st_mode):  # a link to a folder is not followed
                yield FoundFile(f"{before}{name}", state.st_size, state.st_mtime_ns)
