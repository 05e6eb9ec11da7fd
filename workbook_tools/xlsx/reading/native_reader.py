"""The native reader of cells, with whatever stops it turned into a sentence."""

from __future__ import annotations

import concurrent.futures
import contextlib
import io
import os
import re
import sys
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, TypeAlias

import python_calamine

from workbook_tools.errors import ReadError
from workbook_tools.xlsx.reading.archive import Archive, shown
from workbook_tools.xlsx.reading.contents import ROOT, TAKEN, TYPES, links_of, main_part, relations_of, sheets_of
from workbook_tools.xlsx.reading.sheet_extent import check_sheet
from workbook_tools.xlsx.reading.shortened import packed

Cells: TypeAlias = list[list[Any]]
THREADS = 2
WORTH_A_THREAD = 1 << 20  # bytes of a file; smaller ones are read before a thread has begun
LARGE = 1 << 19  # bytes of a sheet, packed
NEEDED = ("sharedStrings", "styles")
DATE = re.compile(r"date|time|NaiveDate|duration|overflow", re.IGNORECASE)


def native_workbook(content: bytes, path: object) -> python_calamine.CalamineWorkbook:
    """The workbook in the bytes of a file; raises ReadError where the reader cannot take it."""
    with _held_back():
        return _workbook(content, path)


def _workbook(content: bytes, path: object) -> python_calamine.CalamineWorkbook:
    with _in_words(path, "it"):
        try:
            return python_calamine.load_workbook(io.BytesIO(content))
        except (python_calamine.CalamineError, OSError, ValueError) as error:
            raise ReadError(path, f"cannot be read as an .xlsx workbook ({error}).") from error


@contextlib.contextmanager
def sheets_ahead(archive: Archive, wanted: Iterable[str]) -> Iterator[Iterator[tuple[str, Cells]]]:
    """Names and values of some sheets of a workbook, in any order: read while the next ones come, and while those
    before are worked on.

    The reader leaves Python free while it parses, so further threads shorten the time of large files. ReadError comes
    with the sheet that cannot be read.
    """
    if len(archive.content) < WORTH_A_THREAD:
        wanted = list(wanted)  # all of them have come before the first is read
        with _held_back():
            found = _read(_content(archive, wanted), archive.path, wanted)
        yield iter(found)
        return
    with _held_back(), concurrent.futures.ThreadPoolExecutor(THREADS) as pool:
        try:
            waiting = [
                pool.submit(_read, _content(archive, group), archive.path, group) for group in _groups(archive, wanted)
            ]
            yield (one for done in concurrent.futures.as_completed(waiting) for one in done.result())
        finally:
            pool.shutdown(cancel_futures=True)


def _groups(archive: Archive, wanted: Iterable[str]) -> Iterator[list[str]]:
    """Sheets that are read as one piece of work: each large one by itself, as soon as it comes; the others at last."""
    small = []
    for sheet in wanted:
        if archive.entries[sheets_of(archive)[sheet].target].compress_size < LARGE:
            small.append(sheet)
        else:
            yield [sheet]
    if small:
        yield small


def _content(archive: Archive, wanted: Sequence[str]) -> bytes:
    """What the reader gets for some sheets: where rows were shortened, a workbook of these sheets alone."""
    short = archive.shortened
    if not short:
        return archive.content
    main = main_part(archive)
    names = {TYPES, ROOT, main, relations_of(main), *(sheets_of(archive)[sheet].target for sheet in wanted)}
    names |= {link.target for link in links_of(archive, main) if link.kind in NEEDED}
    names |= {name for name in archive.names() if name.casefold() in TAKEN}
    there = (name for name in sorted(names) if archive.has(name))
    return packed((name, short[name].part() if name in short else archive.read(name)) for name in there)


def _read(content: bytes, path: object, wanted: Sequence[str]) -> list[tuple[str, Cells]]:
    workbook = _workbook(content, path)
    return [(sheet, _cells(workbook, sheet, path)) for sheet in wanted]


def whole_sheet(archive: Archive, sheet: str) -> Cells:
    """All values of a sheet of which a part was asked for; raises ReadError as the door and `native_cells` do."""
    part = sheets_of(archive)[sheet].target
    archive.shortened.pop(part, None)
    check_sheet(archive, part)
    return native_cells(native_workbook(archive.content, archive.path), sheet, archive.path)


def native_cells(workbook: python_calamine.CalamineWorkbook, sheet: str, path: object) -> Cells:
    """The values of a sheet from A1 on; raises ReadError where one of them stops the reader."""
    with _held_back():
        return _cells(workbook, sheet, path)


def _cells(workbook: python_calamine.CalamineWorkbook, sheet: str, path: object) -> Cells:
    with _in_words(path, f"the sheet {shown(sheet)}"):
        try:
            rows: Cells = workbook.get_sheet_by_name(sheet).to_python(skip_empty_area=False)
        except (python_calamine.CalamineError, OSError, ValueError, OverflowError) as error:
            raise ReadError(path, f"the sheet {shown(sheet)} cannot be read ({error}).") from error
    return rows


@contextlib.contextmanager
def _in_words(path: object, what: str) -> Iterator[None]:
    """Turns a panic of the reader into a ReadError."""
    try:
        yield
    except BaseException as error:
        if type(error).__name__ != "PanicException":  # the reader's own, which has no other base
            raise
        raise ReadError(path, _sentence(str(error), what)) from error


def _sentence(panic: str, what: str) -> str:
    if "index out of bounds" in panic or "out of range" in panic:
        return f"{what} is damaged: a cell points to a text or a format that is not there."
    if DATE.search(panic):
        return (
            f"{what} holds a date or time that no calendar has: a number far too large or far below zero in a cell for "
            "dates. It shows as #####; mend it, save, and try again."
        )
    return f"{what} cannot be read: something in it stops the reader ({panic})."


@contextlib.contextmanager
def _held_back() -> Iterator[None]:
    """Holds back what is written to the process's error output meanwhile; it follows afterwards, a panic's does not."""
    try:
        sys.stderr.flush()
        kept = os.dup(2)
    except (OSError, ValueError, AttributeError):  # there is none
        yield
        return
    try:
        with tempfile.TemporaryFile() as held:
            os.dup2(held.fileno(), 2)
            panicked = False
            try:
                yield
            except ReadError as error:
                panicked = type(error.__cause__).__name__ == "PanicException"
                raise
            finally:
                os.dup2(kept, 2)
                held.seek(0)
                if not panicked:
                    _write(held.read())
    finally:
        os.close(kept)


def _write(content: bytes) -> None:
    with contextlib.suppress(OSError):
        while content:
            content = content[os.write(2, content) :]
