"""Findings that rest on several rows of a table: the same row twice, a jump from one day to the next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any, NamedTuple

from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import cell_key
from workbook_tools.log.checking.reading import ReadTable

FEWEST = 4  # typed cells below which two equal rows may well be two
JUMP = 6.0  # C
JUMP_DAYS = 2.0

Row = dict[str, Any]


class SeenBetween(NamedTuple):
    """What was seen: position of the row, column key, code, sentence."""

    position: int
    key: str
    code: str
    say: str


def rows_twice(read: ReadTable) -> Iterator[SeenBetween]:
    """Rows that hold the same as an earlier one in everything but their id."""
    keys = [column.key for column in read.table.typed if column.kind != "id"]
    first: dict[tuple[object, ...], int] = {}
    columns = [[cell_key(row[key]) for row in read.rows] for key in keys]
    for position, held in enumerate(zip(*columns, strict=True)):
        if len(held) - held.count(None) < FEWEST:
            continue
        if held in first:
            yield SeenBetween(
                position, read.table.key_column.key, "row-twice", f"The row holds the same as row {first[held]}."
            )
        else:
            first[held] = read.numbers[position]


def days_twice(read: ReadTable, rows: Sequence[Row]) -> Iterator[SeenBetween]:
    """Losses of one group on one day in two rows, of which the lower temperature counts."""
    first: dict[tuple[object, object], int] = {}
    for position, row in enumerate(rows):
        if row["date"] is None or row["stock_row"] is None:
            continue
        held = (row["date"], row["stock_row"])
        if held in first and row["temperature"] is not None:
            say = f"This group has a row for this day already, row {first[held]}."
            yield SeenBetween(position, "date", "day-twice", say)
        first.setdefault(held, read.numbers[position])


def days_to_come(rows: Sequence[Row], today: float) -> Iterator[SeenBetween]:
    """Losses of days that have not come yet: no cell can know today, and a temperature would count as read."""
    for position, row in enumerate(rows):
        if is_number(row["date"]) and row["date"] >= today + 1:
            yield SeenBetween(
                position, "date", "future-day", "This day has not come yet; its temperature counts as read."
            )


def temperature_jumps(rows: Sequence[Row], group: str, date: str, temperature: str) -> Iterator[SeenBetween]:
    """Temperatures of one group or vessel that differ more than water does in so short a time."""
    dated: dict[object, list[tuple[float, int]]] = {}
    for position, row in enumerate(rows):
        if row[group] is not None and is_number(row[date]) and is_number(row[temperature]):
            dated.setdefault(cell_key(row[group]), []).append((row[date], position))
    for readings in dated.values():
        readings.sort()
        for (before, one), (after, other) in pairwise(readings):
            change = rows[other][temperature] - rows[one][temperature]
            if after - before <= JUMP_DAYS and abs(change) > JUMP:
                say = f"The temperature changes by {abs(change):.1f} C within {JUMP_DAYS:g} days; is it in Celsius?"
                yield SeenBetween(other, temperature, "temperature-jump", say)
