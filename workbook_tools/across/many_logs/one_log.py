"""Reads one file: whether it is a case log, of which layout, and its rows."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from workbook_tools.across.many_logs.gathered_rows import Rows, rows_of
from workbook_tools.errors import ReadError
from workbook_tools.layout import Layout, case_log
from workbook_tools.layout.collector_pause import uncollected
from workbook_tools.log.checking.annotating import SAYS as MARKED_SAYS
from workbook_tools.log.checking.annotating import SHEET as MARKED
from workbook_tools.log.checking.reading import read_log, typed_part
from workbook_tools.log.merging.given_ids import MARK
from workbook_tools.log.upgrading.log_upgrade import LAYOUT, VERSION, layout_before
from workbook_tools.producer.row_marks import PROPERTIES
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit
from workbook_tools.xlsx.reading import Archive, admitted, file_content, native_cells, native_workbook, why_not

READ, OTHER, UNREADABLE, SAME = "read", "other", "unreadable", "same"
TRIES = 3


@dataclass(frozen=True, slots=True)
class File:
    """What came of one file.

    `state` is READ, OTHER for a workbook that is no log of its own, UNREADABLE, or SAME for one whose content is that
    of the last run; `reason` says why it was not read, in words. `size` [bytes], `changed` [ns] and `digest` are of
    what was read.
    """

    file: str
    size: int
    changed: int
    state: str = READ
    reason: str = ""
    layout: str = ""
    sites: int = 0
    rows: int = 0
    problems: int = 0
    digest: str = ""


class _OtherError(Exception):
    """A workbook that is no case log of its own."""


@cache
def gathered_layout() -> Layout:
    """Today's layout without the sheets whose tables only sum up the others."""
    layout = case_log()
    sheets = (s for s in layout.sheets if s.tables and not any(table.key_source for table in s.tables))
    return replace(layout, sheets=tuple(sheets))


def read_file(folder: Path, file: str, digest: str = "") -> tuple[File, Rows | None]:
    """Read a file of a folder; what is wrong with it is said in the answer, not raised.

    `digest` is that of the last run: where the content still has it the file is not read. Rows are None for whatever is
    not READ.
    """
    path = folder / file
    for _ in range(TRIES):
        try:
            before = path.stat()
            content = file_content(path)
            here = File(file, before.st_size, before.st_mtime_ns, digest=_digest(content))
            if here.digest == digest:
                return replace(here, state=SAME), None
            one, rows = _read(path, content, here)
            after = path.stat()
        except ReadError as error:
            return File(file, 0, 0, UNREADABLE, error.reason), None
        except OSError as error:  # read_log's own have been answered by _read
            return File(file, 0, 0, UNREADABLE, why_not(error)), None
        if (after.st_size, after.st_mtime_ns) == (before.st_size, before.st_mtime_ns) and len(
            content
        ) == before.st_size:
            return one, rows
    return File(file, 0, 0, UNREADABLE, "was being saved again and again while it was read."), None


def _digest(content: bytes) -> str:
    return hashlib.blake2b(content, digest_size=20).hexdigest()


@uncollected()
def _read(path: Path, content: bytes, here: File) -> tuple[File, Rows | None]:
    try:
        archive = admitted(path, content, typed_part(gathered_layout()))
        version, before = _of_layout(path, archive)
        rows = rows_of(read_log(path, gathered_layout(), archive), here.file, version, before)
    except _OtherError as error:
        return replace(here, state=OTHER, reason=str(error)), None
    except ReadError as error:
        return replace(here, state=UNREADABLE, reason=error.reason), None
    except MemoryError:
        return replace(here, state=UNREADABLE, reason="needs more memory than there is."), None
    counts = {name: rows.count(name) for name in rows.tables}
    logs = sum(counts[table.key] for table in gathered_layout().log_tables())
    return replace(here, layout=version, sites=counts["sites"], rows=logs, problems=counts["problems"]), rows


def _of_layout(path: Path, archive: Archive) -> tuple[str, Layout | None]:
    """Layout version of a log, and its layout where that is an older one."""
    edit = WorkbookEdit(archive, path)
    property_of: Callable[[str], str | None] = edit.property
    if property_of(PROPERTIES[0]) is not None:
        raise _OtherError("is a copy for a producer; its daily rows come with the log that they are merged into.")
    if property_of(MARK):
        raise _OtherError("is a copy lent to another device; its rows come with the log that it is merged into.")
    kind = property_of(LAYOUT)
    names = {name.casefold() for name in edit.sheet_names}
    if kind is None or property_of(VERSION) is None:
        ours = [sheet.name for sheet in gathered_layout().sheets if sheet.name.casefold() in names]
        if len(ours) < len(gathered_layout().sheets) / 2:
            raise _OtherError("is no case log.")
    elif kind != case_log().name:
        raise _OtherError(f"is a workbook of another kind ({kind}).")
    elif _is_marked(path, archive, edit.sheet_names):
        raise _OtherError("is a marked copy made by the check; its rows come with the log itself.")
    before = layout_before(edit, case_log())
    return (case_log().version, None) if before is None else (before.version, before)


def _is_marked(path: Path, archive: Archive, sheets: Sequence[str]) -> bool:
    """Whether the check made the file: a sheet with the name of its list alone may be a person's own."""
    named = [name for name in sheets if name.startswith(MARKED)]
    if not named:
        return False
    workbook = native_workbook(archive.content, path)
    heads = (row for name in named for row in native_cells(workbook, name, path)[:2])
    return any(str(cell).startswith(MARKED_SAYS) for row in heads for cell in row)
