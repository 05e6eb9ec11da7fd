"""What one worker does, wherever it runs: reads a few files and packs their rows. It writes nothing."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from workbook_tools import __version__
from workbook_tools.across.many_logs.one_log import UNREADABLE, File, read_file
from workbook_tools.errors import MissingLibraryError


@dataclass(frozen=True)
class Chunk:
    """Files of a folder to be read, in order, each with the digest of its last reading or ''."""

    folder: str
    files: tuple[tuple[str, str], ...]
    version: str = __version__

    def __len__(self) -> int:
        return len(self.files)

    def halves(self) -> list[Chunk]:
        """The same files in two chunks, or in one where there is one file."""
        middle = len(self.files) // 2
        parts = (self.files[:middle], self.files[middle:])
        return [Chunk(self.folder, part, self.version) for part in parts if part]


@dataclass(frozen=True)
class Batch:
    """What came of a chunk: its files, and the rows of those that were read as Parquet by table.

    `refusal` says in words why the worker read none of them.
    """

    files: tuple[File, ...]
    tables: dict[str, bytes]
    refusal: str = ""


def read_chunk(chunk: Chunk) -> Batch:
    """Read the files of a chunk."""
    from workbook_tools.across.many_logs.parquet import arrow_table, library, parquet_bytes

    if chunk.version != __version__:
        said = f"a worker has workbook-tools {__version__}, this computer {chunk.version}: install the same on all."
        return Batch((), {}, said)
    try:
        library()
    except MissingLibraryError as error:
        return Batch((), {}, f"a worker cannot: {error}")
    folder = Path(chunk.folder)
    if not folder.is_dir():
        return Batch((), {}, f"a worker does not see the folder {folder}: it must be there under the same name.")
    files: list[File] = []
    columns: dict[str, dict[str, list[object]]] = {}
    for file, digest in chunk.files:
        one, rows = read_file(folder, file, digest)
        files.append(one)
        for name, read in rows.tables.items() if rows is not None else ():
            whole = columns.setdefault(name, {key: [] for key in read})
            for key, values in read.items():
                whole[key] += values
    return Batch(tuple(files), {name: parquet_bytes(arrow_table(name, held)) for name, held in columns.items()})


def lost(chunk: Chunk, reason: str) -> Batch:
    """The answer for a chunk that could not be read at all."""
    return Batch(tuple(File(file, 0, 0, UNREADABLE, reason) for file, _ in chunk.files), {})
