"""Gathers the logs of a folder into tables, and brings tables gathered before up to date.

Files are divided into stretches in the order of their paths; each stretch is a part of every table. A file is read
again when its size or time of change is another and its content too, or when the tools are other ones. Rows stand in
the order of files, then of sheets' rows, whoever read them: each batch goes to its own part, wherever it comes from and
whenever.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from workbook_tools.across.many_logs.chunk import Batch, Chunk
from workbook_tools.across.many_logs.columns import FILES, kinds
from workbook_tools.across.many_logs.dataset import COMPLETE, GATHERING, Dataset, sign_of
from workbook_tools.across.many_logs.fan_out import Answers, Work
from workbook_tools.across.many_logs.log_files import FoundFile, find
from workbook_tools.across.many_logs.one_log import OTHER, READ, SAME, UNREADABLE, File
from workbook_tools.across.many_logs.parquet import joined, library, parquet_bytes, unpacked
from workbook_tools.errors import HostError, ReadError
from workbook_tools.xlsx.reading import real_path

PARTS = 32  # wanted at least, so that workers end at about the same time
FEWEST, MOST = 8, 200  # files in a part
GAP = 1_000_000  # between the numbers of parts, for parts that come between them
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Gathered:
    """What a run did. Files are in the order of their paths; `closed` are folders that could not be looked into."""

    files: tuple[File, ...]
    read: int
    unchanged: int
    gone: int
    closed: tuple[tuple[str, str], ...] = ()

    def of(self, state: str) -> list[File]:
        """Files of a state."""
        return [one for one in self.files if one.state == state]

    @property
    def logs(self) -> list[File]:
        return self.of(READ)

    @property
    def complete(self) -> bool:
        """Whether everything that was found could be read."""
        return not self.closed and not self.of(UNREADABLE)

    def twins(self) -> list[list[str]]:
        """Logs whose files are the same byte by byte: their rows count as often as they are there."""
        by_digest = defaultdict(list)
        for one in self.logs:
            by_digest[one.digest].append(one.file)
        return [files for files in by_digest.values() if len(files) > 1]


@dataclass
class _Part:
    """A stretch of files: what the last run had of it, and what is there now."""

    key: int
    before: dict[str, File] = field(default_factory=dict)
    now: list[FoundFile] = field(default_factory=list)

    @property
    def unread(self) -> list[FoundFile]:
        """Files that are new or look changed. What was unreadable is tried again each time."""
        return [found for found in self.now if not _unchanged(found, self.before.get(found.file))]

    @property
    def gone(self) -> int:
        return len(self.before.keys() - {found.file for found in self.now})


def gather(folder: Path, out: Path, work: Work, progress: Progress = lambda more, whole: None) -> Gathered:
    """Bring the tables in `out` up to date with the logs below `folder`.

    Parameters
    ----------
    folder : where the logs are, in folders of any depth.
    out : folder of the tables; made where it is not there.
    work : who reads, from `fan_out`: processes of this computer, or a cluster whose workers see `folder`.
    progress : called with how many more files were read, and how many are to be read in all.

    Raises
    ------
    ReadError : the folder cannot be looked into, or `out` was gathered from another. SaveError : `out` cannot be
    written.
    MissingLibraryError : pyarrow is not installed. HostError : a worker cannot read at all.
    """
    library()
    folder = real_path(folder)
    search = find(folder, out)
    dataset = Dataset(out)
    _check_source(dataset, folder)
    with dataset.alone():
        dataset.say(folder, GATHERING)
        parts = _divided(dataset, search.found, dataset.parts(), search.is_behind)
        gone = sum(part.gone for part in parts)
        chunks = {part.key: chunk for part in parts if (chunk := _chunk(folder, part)) is not None}
        read, files = 0, {part.key: list(part.before.values()) for part in parts}
        for part, batches in _answered(parts, chunks, work(list(chunks.values()))):
            files[part.key] = _settled(dataset, part, batches)
            read += sum(one.state != SAME for batch in batches for one in batch.files)
            progress(sum(len(batch.files) for batch in batches), sum(map(len, chunks.values())))
        dataset.say(folder, COMPLETE)
    everything = tuple(one for key in sorted(files) for one in files[key])
    return Gathered(everything, read, len(everything) - read, gone, search.closed)


def _check_source(dataset: Dataset, folder: Path) -> None:
    about = dataset.about()
    if about is not None and about["folder"] != sign_of(folder):
        raise ReadError(
            dataset.path,
            f"was gathered from another folder than {folder}: its rows would be taken for files that are gone. Name "
            "another --out, or delete that one first.",
        )


def _unchanged(found: FoundFile, before: File | None) -> bool:
    return (
        before is not None
        and before.state != UNREADABLE
        and (found.size, found.changed) == (before.size, before.changed)
    )


# ------------------------------------------------------------------------------------------------- dividing


def _divided(
    dataset: Dataset, found: Sequence[FoundFile], before: Mapping[int, list[File]], behind: Callable[[str], bool]
) -> list[_Part]:
    """Every file in its part; parts that would grow too long are divided first."""
    size = min(max(-(-len(found) // PARTS), FEWEST), MOST)
    kept = [
        FoundFile(one.file, one.size, one.changed) for files in before.values() for one in files if behind(one.file)
    ]
    parts = [_Part(key, {one.file: one for one in files}) for key, files in before.items()]
    starts = [min(part.before, default="") for part in parts]
    for one in sorted([*found, *kept]):
        if not parts:
            parts, starts = [_Part(GAP)], [one.file]
        parts[max(bisect_right(starts, one.file) - 1, 0)].now.append(one)
    divided: list[_Part] = []
    for number, part in enumerate(parts):
        after = parts[number + 1].key if number + 1 < len(parts) else None
        divided += _division(dataset, part, after, size) if len(part.now) > 2 * size else [part]
    return divided


def _division(dataset: Dataset, part: _Part, after: int | None, size: int) -> list[_Part]:
    """A part as several of about `size` files, with numbers before that of the part after it."""
    groups = [part.now[start : start + size] for start in range(0, len(part.now), size)]
    step = GAP if after is None else (after - part.key) // len(groups)
    if not step:  # no number is free: a long part is slower, not wrong
        return [part]
    divided = [
        _Part(
            part.key + number * step,
            {one.file: part.before[one.file] for one in group if one.file in part.before},
            group,
        )
        for number, group in enumerate(groups)
    ]
    if part.before:
        dataset.split(part.key, {one.key: list(one.before.values()) for one in divided if one.before})
    return divided


def _chunk(folder: Path, part: _Part) -> Chunk | None:
    """What is to be read of a part."""
    files = tuple((found.file, _known(part.before.get(found.file))) for found in part.unread)
    return Chunk(str(folder), files) if files else None


def _known(before: File | None) -> str:
    return "" if before is None or before.state == UNREADABLE else before.digest


# ------------------------------------------------------------------------------------------------- settling


def _answered(
    parts: Iterable[_Part], chunks: Mapping[int, Chunk], answers: Answers
) -> Iterator[tuple[_Part, list[Batch]]]:
    """Parts that change, with what was read of them: those that only lose files first."""
    by_key = {part.key: part for part in parts}
    for part in by_key.values():
        if part.key not in chunks and part.gone:
            yield part, []
    keys = list(chunks)
    for place, batches in answers:
        refusals = [batch.refusal for batch in batches if batch.refusal]
        if refusals:
            raise HostError(f"Nothing more was gathered: {refusals[0]}")
        yield by_key[keys[place]], batches


def _settled(dataset: Dataset, part: _Part, batches: Sequence[Batch]) -> list[File]:
    """Write a part anew from what was kept and what was read; its files."""
    read = {one.file: one for batch in batches for one in batch.files}
    files, kept = [], []
    for found in part.now:
        one = read.get(found.file)
        if one is None or one.state == SAME:
            there = part.before[found.file]
            one = there if one is None else replace(there, size=one.size, changed=one.changed)
            kept.append(one)
        files.append(one)
    if not files:
        dataset.remove(part.key)
    elif not kept and len(batches) == 1:
        dataset.write(part.key, files, batches[0].tables)
    else:
        order = {one.file: number for number, one in enumerate(files)}
        fresh = {one.file for one in read.values() if one.state != SAME}
        dataset.write(part.key, files, _merged(dataset, part, batches, order, fresh))
    return files


def _merged(
    dataset: Dataset, part: _Part, batches: Sequence[Batch], order: Mapping[str, int], fresh: set[str]
) -> dict[str, bytes]:
    """Rows that stay and rows that were read, in the order of their files, table by table."""
    stay = {file: number for file, number in order.items() if file not in fresh}
    tables = {}
    for name in kinds():
        if name == FILES.name:
            continue
        old = [joined(name, [dataset.rows(name, part.key)], stay)] if part.before else []
        new = [unpacked(batch.tables[name]) for batch in batches if name in batch.tables]
        tables[name] = parquet_bytes(joined(name, [*old, *new], order))
    return tables


__all__ = ["OTHER", "READ", "UNREADABLE", "Gathered", "gather"]
