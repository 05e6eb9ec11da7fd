"""Ways to gather in tests: in the test's own process, with readers of its own; and what a table holds."""

from __future__ import annotations

import datetime
import os
import signal
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from workbook_tools.across.many_logs.chunk import Batch, Chunk, read_chunk
from workbook_tools.across.many_logs.columns import kinds
from workbook_tools.across.many_logs.dataset import Dataset
from workbook_tools.across.many_logs.fan_out import Answers, Work
from workbook_tools.across.many_logs.gathering import Gathered, gather
from workbook_tools.across.many_logs.one_log import SAME, File
from workbook_tools.across.many_logs.parquet import arrow_table, parquet_bytes

Tables = dict[str, list[dict[str, Any]]]


def in_turn(reader: Callable[[Chunk], Batch] = read_chunk) -> Work:
    """Chunks one after the other, the last first: the order in which they come must not matter."""

    def work(chunks: Sequence[Chunk]) -> Answers:
        for place in reversed(range(len(chunks))):
            yield place, [reader(chunks[place])]

    return work


def gathered_in_turn(folder: Path, out: Path, reader: Callable[[Chunk], Batch] = read_chunk) -> Gathered:
    return gather(folder, out, in_turn(reader))


def tables(out: Path) -> Tables:
    """All rows of all tables in their order; the files' times of change left out."""
    found: Tables = {}
    dataset = Dataset(out)
    for name in kinds():
        rows = [row for key in dataset.keys(name) for row in dataset.rows(name, key).to_pylist()]
        found[name] = [{key: value for key, value in row.items() if key != "changed"} for row in rows]
    return found


def row_for_each_line(chunk: Chunk) -> Batch:
    """A reader for tests of the keeping alone: a site for each line of a file, no workbooks needed."""
    files, sites = [], {one.name: [] for one in kinds()["sites"].fields}  # type: ignore[var-annotated]
    for file, digest in chunk.files:
        path = Path(chunk.folder) / file
        content, state = path.read_text(), path.stat()
        if content == digest:
            files.append(File(file, state.st_size, state.st_mtime_ns, SAME, digest=content))
            continue
        lines = content.split()
        files.append(File(file, state.st_size, state.st_mtime_ns, digest=content, rows=len(lines)))
        for number, line in enumerate(lines):
            for name, cells in sites.items():
                cells.append({"log_file": file, "log_row": number, "site": line}.get(name))
    return Batch(tuple(files), {"sites": parquet_bytes(arrow_table("sites", sites))})


def deadly(chunk: Chunk) -> Batch:
    """Ends its process whenever a file named deadly is among those to be read."""
    if any("deadly" in file for file, _ in chunk.files):
        os.kill(os.getpid(), signal.SIGKILL)
    return row_for_each_line(chunk)


def deadly_once(chunk: Chunk) -> Batch:
    """Ends its process the first time that such a file is to be read, by a chunk of several files or of one."""
    done = Path(chunk.folder) / "done"
    if any("deadly" in file for file, _ in chunk.files) and not done.exists():
        done.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return row_for_each_line(chunk)


def unforeseen(chunk: Chunk) -> Batch:
    """Meets an error that nobody foresaw at such a file."""
    if any("deadly" in file for file, _ in chunk.files):
        raise ZeroDivisionError("a bug")
    return row_for_each_line(chunk)


def some_files(folder: Path, count: int, deadly: int | None = None) -> Path:
    """Files for `row_for_each_line`."""
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(count):
        name = f"{number:03d}{' deadly' if number == deadly else ''}.xlsx"
        (folder / name).write_text("\n".join(f"S{number:03d}{letter}" for letter in "ab"))
    return folder


def day(number: int) -> datetime.date:
    return datetime.date(1899, 12, 30) + datetime.timedelta(days=number)
