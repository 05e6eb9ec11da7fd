"""Ids that empty rows of a log have been given ahead: moved, continued and marked in the log's own file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from workbook_tools.layout import Layout, Table
from workbook_tools.log.merging.matching import alike_id
from workbook_tools.xlsx.addresses import column_number
from workbook_tools.xlsx.editing.cell_formulas import formula_of
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit

MARK = "Mark of ids"  # the document property of a copy that was lent
SPARE_ROWS = 20  # empty rows that a table has below its new ones after it had to grow
Rows = Mapping[str, Iterable[Mapping[str, Any]]]


def mark_of(edit: WorkbookEdit) -> str:
    """The letters that ids given ahead end in, in a copy that was lent; empty in other logs."""
    return edit.property(MARK) or ""


def pointed_to(layout: Layout, rows: Rows) -> dict[str, set[object]]:
    """Ids that rows of other tables name, by table: these must not become other ids."""
    found: dict[str, set[object]] = {}
    for key, typed in rows.items():
        references = [column for column in layout.tables[key].typed if column.kind == "reference"]
        for row in typed if references else ():
            for column in references:
                if row.get(column.key) is not None:
                    found.setdefault(column.to, set()).add(alike_id(row[column.key]))
    return found


def moved(
    table: Table,
    ahead: Mapping[str, int],
    filled: Mapping[int, object],
    spare: Iterable[int],
    taken: Iterable[object],
    needed: set[object],
    mark: str,
) -> dict[str, int]:
    """Where the ids given ahead stand after rows were filled.

    Parameters
    ----------
    table, ahead : ids given ahead before, with their sheet rows.
    filled : sheet rows that are filled now, with their ids: an id whose row another one took moves to the next row.
    spare : empty rows that the table did not have before; they get ids, too.
    taken : all ids of filled rows.
    needed : ids that other rows name, as `pointed_to` has them; where there is no room for all, these stay.
    mark : what new ids end in.

    Returns
    -------
    The ids of empty rows, in the order of the rows. An id that is in use now is not among them.
    """
    used = {alike_id(name) for name in filled.values()}
    own = {name: row for name, row in ahead.items() if not table.is_given(name)}
    given = sorted((row, name) for name, row in ahead.items() if name not in own)
    names = [name for _, name in given if alike_id(name) not in used]
    rows = sorted({row for row, _ in given if row not in filled} | set(spare))
    while len(names) > len(rows):
        names.remove(next((n for n in reversed(names) if alike_id(n) not in needed), names[-1]))
    names += table.ids_ahead((*taken, *ahead), len(rows) - len(names), mark)
    kept = {name: row for name, row in own.items() if row not in filled}
    return dict(sorted((kept | dict(zip(names, rows, strict=True))).items(), key=lambda pair: pair[1]))


def write(edit: WorkbookEdit, sheet: str, letters: str, before: Mapping[str, int], after: Mapping[str, int]) -> None:
    """Put the ids that have another row now into the file."""
    for name, row in after.items():
        if before.get(name) != row:
            edit.put(sheet, row, column_number(letters), name)


def computed_ids(edit: WorkbookEdit, sheet: str, letters: str, rows: Sequence[int]) -> set[int]:
    """Rows whose id a person's formula computes."""
    there = ((row, edit.rows(sheet).peek(row)) for row in rows)
    column = column_number(letters)
    return {row for row, found in there if found is not None and formula_of(found.cells.get(column)) is not None}
