"""The folder that gathered tables are kept in, so that it is whole after any interruption.

    TABLE.parquet/
        about.json                  a sign of the folder it was gathered from, and whether the last run came to its end
        baths/part-000001000000.parquet
        fish/part-000001000000.parquet
        ...                         a folder for each kind of row; parts in order hold the files in order of their paths
        files/part-000001000000.parquet

A part holds a stretch of the files in the order of their paths, in all tables under one number. Its `files` table is
written last and taken away first: a part without it counts for nothing and is gathered again. Each file is written
beside its place and moved there whole.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import IO, Any

from workbook_tools.across.many_logs.columns import FILES, kinds
from workbook_tools.across.many_logs.one_log import File
from workbook_tools.across.many_logs.parquet import (
    arrow_table,
    joined,
    library,
    parquet_bytes,
    schema,
    signature,
    stored,
)
from workbook_tools.errors import BusyFileError, ReadError, SaveError

ABOUT, LOCK, ENDING = "about.json", ".lock", ".parquet"
GATHERING, COMPLETE = "gathering", "complete"
MADE_BY = "workbook-tools gather"
KEY_DIGITS = 12
FILE_FIELDS = ("file", "state", "reason", "layout", "sites", "rows", "problems", "size", "changed", "digest")


class Dataset:
    """A folder of gathered tables. Parts are known by their numbers, in the order of their files."""

    def __init__(self, path: Path) -> None:
        self.path = path

    # ------------------------------------------------------------------------------------------------ itself

    def about(self) -> dict[str, Any] | None:
        """What it says of itself; None for a folder that says nothing. Raises ReadError for what is no such folder."""
        if not self.path.exists():
            return None
        if not self.path.is_dir():
            raise ReadError(self.path, "is a file, not a folder that gather made.")
        try:
            found = json.loads((self.path / ABOUT).read_text(encoding="utf-8"))
        except FileNotFoundError:
            if any(entry.name != LOCK for entry in self.path.iterdir()):
                raise ReadError(self.path, "is a folder that gather did not make; nothing in it was changed.") from None
            return None
        except (OSError, ValueError) as error:
            raise ReadError(self.path / ABOUT, f"cannot be read ({error}).") from error
        if not isinstance(found, dict) or found.get("made by") != MADE_BY:
            raise ReadError(self.path, "is a folder that gather did not make; nothing in it was changed.")
        return found

    def say(self, folder: Path, state: str) -> None:
        """Note which folder it is gathered from, and how far."""
        text = {"made by": MADE_BY, "folder": sign_of(folder), "state": state}
        self._put(self.path / ABOUT, json.dumps(text, ensure_ascii=False, indent=2).encode())

    @contextlib.contextmanager
    def alone(self) -> Iterator[None]:
        """Keep another run out of it; the folder is made where it is not there.

        Raises
        ------
        BusyFileError : another run is at it. SaveError : it cannot be written to.
        """
        try:
            self.path.mkdir(exist_ok=True)
            file = (self.path / LOCK).open("w")
        except OSError as error:
            raise SaveError(self.path, f"cannot be written to ({error.strerror}).") from error
        with file:
            if not _locked(file):
                raise BusyFileError(self.path, "is being written by another run of gather. Wait for it to end.")
            yield

    # ------------------------------------------------------------------------------------------------- parts

    def place(self, name: str, key: int) -> Path:
        """Where a table of a part is."""
        return self.path / name / f"part-{key:0{KEY_DIGITS}d}{ENDING}"

    def keys(self, name: str = FILES.name) -> list[int]:
        """Numbers of the parts of a table, in order."""
        folder = self.path / name
        names = sorted(path.name for path in folder.glob(f"part-*{ENDING}")) if folder.is_dir() else []
        return [int(name.removeprefix("part-").removesuffix(ENDING)) for name in names]

    def parts(self) -> dict[int, list[File]]:
        """The files of each part that is whole, in order; parts that are not, or of other tools, are taken away."""
        whole = {}
        for key in self.keys():
            files = self.files(key)
            if files is None:
                self.remove(key)
            else:
                whole[key] = files
        for name in kinds():
            for key in set(self.keys(name)) - whole.keys():
                self.place(name, key).unlink()
            for left in (self.path / name).glob(".*.partial"):
                left.unlink()
        return whole

    def files(self, key: int) -> list[File] | None:
        """The files of a part; None where its table is damaged or of other tools."""
        try:
            rows = stored(self.place(FILES.name, key))
        except (library().ArrowInvalid, OSError):
            return None
        if (rows.schema.metadata or {}).get(b"form") != signature().encode():
            return None
        columns = [rows[one.name].to_pylist() for one in FILES.fields]
        return [_file(values) for values in zip(*columns, strict=True)]

    def rows(self, name: str, key: int) -> Any:
        """A table of a part."""
        return stored(self.place(name, key))

    def write(self, key: int, files: Sequence[File], tables: Mapping[str, bytes]) -> None:
        """Put a part in place: the rows of its tables, and last its files."""
        self.place(FILES.name, key).unlink(missing_ok=True)
        for name in kinds():
            if name != FILES.name:
                content = tables.get(name) or parquet_bytes(schema(name).empty_table())
                self._put(self.place(name, key), content)
        self._put(self.place(FILES.name, key), parquet_bytes(_files_table(files)))

    def remove(self, key: int) -> None:
        """Take a part away, its files first."""
        for name in reversed(kinds()):
            self.place(name, key).unlink(missing_ok=True)

    def split(self, key: int, groups: Mapping[int, Sequence[File]]) -> None:
        """Divide a part: its files, without those that no group has, each group under a number of its own."""
        tables = {name: self.rows(name, key) for name in kinds() if name != FILES.name}
        self.place(FILES.name, key).unlink()
        for new in sorted(groups, reverse=True):  # the part's own number last
            order = {one.file: number for number, one in enumerate(groups[new])}
            self.write(
                new, groups[new], {name: parquet_bytes(joined(name, [rows], order)) for name, rows in tables.items()}
            )

    def _put(self, path: Path, content: bytes) -> None:
        partial = path.with_name(f".{path.name}.partial")
        try:
            path.parent.mkdir(exist_ok=True)
            with partial.open("wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            partial.replace(path)
        except OSError as error:
            raise SaveError(path, f"cannot be written ({error.strerror}); start again to go on from here.") from error


def _file(values: Sequence[Any]) -> File:
    held: dict[str, Any] = dict(zip(FILE_FIELDS, values, strict=True))
    return File(**held | {key: "" for key, value in held.items() if value is None})


def _files_table(files: Sequence[File]) -> Any:
    columns: dict[str, list[Any]] = {}
    for one, key in zip(FILES.fields, FILE_FIELDS, strict=True):
        columns[one.name] = [getattr(file, key) or (None if one.kind == "text" else 0) for file in files]
    return arrow_table(FILES.name, columns)


def sign_of(folder: Path) -> str:
    """By which a folder is known again: its path would tell whose computer the tables are from."""
    return hashlib.sha256(str(folder).encode("utf-8", "surrogateescape")).hexdigest()[:24]


def _locked(file: IO[str]) -> bool:
    """Whether the file could be locked for this process; the lock ends with the process, however that ends."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
