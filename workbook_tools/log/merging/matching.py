"""Which rows and cells of two copies of a log are the same: ids, values, and rows that hold nothing yet."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from workbook_tools.layout import Table
from workbook_tools.layout.ids import id_key
from workbook_tools.layout.model import Column
from workbook_tools.log.checking.reading import ReadTable

Row = Mapping[str, Any]
DIGITS = re.compile(r"(\d+)")
MILLISECONDS = 86_400_000  # in a day
LAST_MOMENT = 1e7  # days; far past every date a cell can show


def merged_columns(table: Table) -> tuple[Column, ...]:
    """Columns that a merge looks at: the typed ones of a log sheet, all of a list."""
    return table.typed if table.log else table.columns


def alike(column: Column, value: Any) -> tuple[str, object] | None:
    """What two values of a column have in common when they mean the same; None for a blank.

    Numbers count to 15 digits and moments to the millisecond, because some spreadsheet programs save no more; texts
    count exactly, but for the sort of line ends, and for the case of letters where they are ids or point to ids.
    """
    if value is None:
        return None
    if isinstance(value, bool):
        return "truth", value
    if isinstance(value, int | float):
        if column.kind in ("date", "time") and abs(value) < LAST_MOMENT:
            return "moment", round(value * MILLISECONDS)
        return "number", float(f"{value:.15g}")
    text = str(value).replace("\r\n", "\n")
    return "text", text.casefold() if column.kind in ("id", "reference") else text


def alike_id(value: Any) -> tuple[str, object] | None:
    """The same for the cell by which a row is known: a paste that made 7 of "7" has not made another row."""
    if value is None or isinstance(value, bool):
        return None if value is None else ("truth", value)
    return "text", id_key(value)


def value_order(value: Any) -> tuple[Any, ...]:
    """A key that sorts values of any type: blanks, truths, numbers, then texts with F2 before F10."""
    if value is None:
        return (0,)
    if isinstance(value, bool):
        return 1, value
    if isinstance(value, int | float):
        return 2, float(value), str(value)  # 7 and 7.0 are one number, and one of them is said
    parts = DIGITS.split(str(value).casefold())
    # parts at odd places are digits; isdecimal keeps out signs that int() does not read
    return 3, tuple((int(p), "") if n % 2 and len(p) < 400 else (-1, p) for n, p in enumerate(parts)), str(value)


@dataclass
class Side:
    """One table of one file, with its rows sorted out.

    `known` has the positions of the rows under each id, `nameless` those of rows without one. Rows that have nothing
    but an id given in advance are not among the rows that were read: they count as empty.
    """

    file: str
    read: ReadTable
    known: dict[object, list[int]] = field(default_factory=dict)
    nameless: list[int] = field(default_factory=list)

    @property
    def name(self) -> str:
        return Path(self.file).name

    @property
    def named(self) -> bool:
        """Whether the file has the column by which rows are known."""
        return self.has(self.read.table.key_column.key)

    def has(self, key: str) -> bool:
        """Whether the file has a column: a column that is not there says nothing, least of all that it is blank."""
        return key in self.read.letters

    def row(self, position: int) -> Row:
        return self.read.rows[position]

    def single(self, identity: object) -> Row | None:
        """The row under an id, where it is the only one."""
        places = self.known.get(identity, [])
        return self.row(places[0]) if len(places) == 1 else None


def side(file: str, read: ReadTable, twins: bool = False) -> Side:
    """Sort out the rows of one table of one file; with `twins`, one row twice over is two."""
    table = read.table
    made = Side(file, read)
    seen: set[tuple[object, ...]] = set()
    key = table.key_column.key
    others = [column.key for column in merged_columns(table) if column.key != key]
    for position, row in enumerate(read.rows):
        identity = alike_id(row.get(key))
        filled = any(row.get(other) is not None for other in others)
        if identity is None:
            if filled:
                made.nameless.append(position)
        elif (content := whole(made, position)) not in seen or twins:
            seen.add(content)
            made.known.setdefault(identity, []).append(position)
    return made


def whole(side: Side, position: int) -> tuple[object, ...]:
    """A row of a file as something that can be compared: every column that the file has."""
    return shape(side, side.row(position))


def shape(seen_by: Side, row: Row) -> tuple[object, ...]:
    """A row of any file, seen through the columns that one file has."""
    table = seen_by.read.table
    there = (c for c in merged_columns(table) if seen_by.has(c.key))
    return tuple(alike_id(row.get(c.key)) if c is table.key_column else alike(c, row.get(c.key)) for c in there)


def contradict(table: Table, one: Row, other: Row, settled: Row | None = None) -> bool:
    """Whether two rows under one id look like two things: a required cell, or more than one cell, is filled in both and
    not alike. Cells that are filled in `settled` do not count."""
    differing = [
        column
        for column in merged_columns(table)
        if column is not table.key_column
        and (settled is None or settled.get(column.key) is None)
        and one.get(column.key) is not None
        and other.get(column.key) is not None
        and alike(column, one[column.key]) != alike(column, other[column.key])
    ]
    return len(differing) > 1 or any(column.required for column in differing)


def filled_cells(side: Side, position: int) -> Iterator[tuple[Column, Any]]:
    """Cells of a row that hold something; the one by which it is known only where there is no other."""
    table = side.read.table
    row = side.row(position)
    filled = [column for column in merged_columns(table) if row.get(column.key) is not None]
    for column in filled:
        if column is not table.key_column or len(filled) == 1:
            yield column, row[column.key]
