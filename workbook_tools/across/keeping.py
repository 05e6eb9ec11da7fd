"""Keeps what a log has learned in the log itself: values in the table Learned of its Summary sheet, in place."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from workbook_tools.across.responses import learned_rows
from workbook_tools.errors import EditError, ReadError
from workbook_tools.layout import Layout
from workbook_tools.layout.compute import Computed
from workbook_tools.log.checking.current_layout import editable
from workbook_tools.log.checking.log_check import check_log
from workbook_tools.log.merging.recomputing import RawCells
from workbook_tools.xlsx.editing.workbook_edit import TablePlace, WorkbookEdit
from workbook_tools.xlsx.opened import Opened
from workbook_tools.xlsx.reading import Archive
from workbook_tools.xlsx.saving.inputs import Seen
from workbook_tools.xlsx.saving.whole_file import save

TABLE = "learned"  # its key in the layout


def keep(
    log: Path | Opened,
    layout: Layout,
    today: datetime.date,
    out: Path | None = None,
    replace: bool = False,
    computed: Computed | None = None,
) -> tuple[int, Path | None]:
    """Write what a log has learned into its Learned table, in place or into a new file `out`.

    Parameters
    ----------
    log, layout : the log and what it was built from.
    today : the day that the rows say they were computed on.
    out : where to; the log itself where left out.
    replace : whether a file that is there may be replaced; it is kept beside it as a dated backup.
    computed : what the log's typed cells give, where that is known already.

    Returns
    -------
    Number of rows written, and the backup.

    Raises
    ------
    ReadError : the log cannot be read, or its Summary has no table Learned. EditError : something stands below the
    table where it needs more rows. MissingLibraryError : lifelines is not installed. SaveError : it cannot be written.
    """
    log = Opened.of(log)
    computed = computed or check_log(log, layout).computed
    rows = learned_rows(computed, today)
    content = with_learned(log.archive, rows, layout, log.path)
    return len(rows), save(log.path if out is None else out, content, replace, Seen(log), in_place=out is None)


def with_learned(
    content: bytes | Archive, rows: Sequence[Mapping[str, Any]], layout: Layout, path: object = "workbook"
) -> bytes:
    """A log's file with these rows in its Learned table, and none of those that were there.

    The table becomes longer where it must. No formula rests on it, so no stored result changes; a cell in which a
    person typed a formula is not typed over (EditError).
    """
    edit = editable(path, content)
    place = _place(edit, layout)
    missing = len(rows) - (place.last_row - place.heading_row)
    if missing > 0:
        edit.grow(place.name, missing)
    last = place.last_row + max(missing, 0)
    raw = RawCells(content if isinstance(content, bytes) else content.content)
    columns = {c.key: place.column(c.heading) for c in layout.tables[TABLE].columns}
    for position, number in enumerate(range(place.first_row, last + 1)):
        row = rows[position] if position < len(rows) else {}
        for key, column in columns.items():
            if raw.value(place.sheet, number, column) != row.get(key):
                edit.put(place.sheet, number, column, row.get(key))
    return edit.content()


def check_place(log: Opened, layout: Layout) -> None:
    """Raises ReadError or EditError where a log has no table for what it learns, as one of an older layout."""
    _place(log.edit(), layout)


def _place(edit: WorkbookEdit, layout: Layout) -> TablePlace:
    """Where the table stands; it is known by its headings, all of which must be there."""
    table = layout.tables[TABLE]
    wanted = {column.heading.casefold() for column in table.columns}
    for place in edit.tables().values():
        there = {heading.strip().casefold() for heading in place.headings}
        if place.sheet.casefold() == table.sheet.casefold() and table.columns[0].heading.casefold() in there:
            if wanted <= there:
                return place
            lost = [column.heading for column in table.columns if column.heading.casefold() not in there]
            raise EditError(edit.path, f"{place.sheet}, {place.name}", f"has lost the headings {', '.join(lost)}.")
    raise ReadError(
        edit.path,
        f"has no table with {table.columns[0].heading!r} on its sheet {table.sheet}; if it is of an older layout, "
        "bring it up to date first (`workbook-tools upgrade`).",
    )
