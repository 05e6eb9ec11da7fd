"""One log's rows as the gathered tables hold them: each value of its column's kind, and what is of another kind named.

Nothing is turned into something else: a text in a number's column, a number in a text's, a date with a time of day in
it, is left blank and listed among the problems with what was typed. Computed columns are computed anew from what was
typed, never read: a program that saved the file without computing, or a cell that was typed over, would pass its figure
on; it costs a tenth of the reading.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from workbook_tools.across.drug_use import uses
from workbook_tools.across.many_logs.columns import DATE, DAYS, NUMBER, TEXT, TIME, Field, kinds
from workbook_tools.across.observations import anaesthetised
from workbook_tools.across.prevalence import sampled
from workbook_tools.across.responses import reference_range
from workbook_tools.layout import Layout
from workbook_tools.layout.compute import Computed
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import id_key, id_text
from workbook_tools.layout.shown_values import EPOCH, MOST_DAYS
from workbook_tools.log.checking.reading import ReadLog, ReadTable
from workbook_tools.producer.selection import owners

Columns = dict[str, list[Any]]
DAY = datetime.timedelta(days=1)


@dataclass
class Rows:
    """Rows by table, column by column, in the order of the sheets; problems among them."""

    tables: dict[str, Columns] = field(default_factory=dict)

    def count(self, name: str) -> int:
        return len(self.tables[name]["log_file"])


def rows_of(log: ReadLog, file: str, version: str, before: Layout | None = None) -> Rows:
    """The rows of a log.

    Parameters
    ----------
    log : as it was read, by today's layout.
    file : its path from the folder on.
    version : layout version of the file.
    before : the layout of that version, where it is an older one: what it did not have is no problem.
    """
    computed = log.computed()
    found = Rows({name: {one.name: [] for one in kind.fields} for name, kind in kinds().items() if name != "files"})
    owned = _sites(computed)
    for read in log.tables.values():
        if read.table.log:
            _table(found, read, computed, owned.get(read.table.key), file, version)
    _answers(found, computed, file, version)
    for remark in log.remarks:
        if before is None or _was_there(before, remark.place.sheet, remark.place.column):
            place = remark.place
            value = None if remark.value is None else id_text(remark.value)
            _problem(found, file, place.sheet, place.row, place.column, place.letters and str(place), value, remark.say)
    return found


def _sites(computed: Computed) -> dict[str, list[str | None]]:
    """Site ids by table and position, spelled as on the Sites sheet."""
    spelled = {id_key(row["site"]): id_text(row["site"]) for row in computed.data["sites"]}
    return {
        table: [None if owner is None else spelled.get(owner) for owner in found]
        for table, found in owners(computed).of_rows.items()
    }


def _was_there(layout: Layout, sheet: str, heading: str) -> bool:
    return any(
        table.sheet == sheet and (not heading or any(column.heading == heading for column in table.columns))
        for table in layout.tables.values()
    )


def _table(
    found: Rows, read: ReadTable, computed: Computed, sites: Sequence[str | None] | None, file: str, version: str
) -> None:
    rows, columns = computed.data[read.table.key], found.tables[read.table.key]
    columns["log_file"] = [file] * len(rows)
    columns["log_layout"] = [version] * len(rows)
    columns["log_site"] = [None] * len(rows) if sites is None else list(sites)
    columns["log_row"] = list(read.numbers)
    for one in kinds()[read.table.key].fields:
        if one.column is not None:
            columns[one.name] = _fitted(found, read, rows, one, file)


def _fitted(found: Rows, read: ReadTable, rows: Sequence[Mapping[str, Any]], one: Field, file: str) -> list[Any]:
    """The values of a column; what is of another kind is None, and a problem where it was typed."""
    assert one.column is not None
    fit, values = FITS[one.kind], []
    for position, row in enumerate(rows):
        value = row[one.name]
        if value is not None:
            value, reason = fit(value)
            if reason and one.column.typed:
                place = read.place(position, one.name)
                typed = row[one.name]
                shown = str(typed).upper() if isinstance(typed, bool) else id_text(typed)
                _problem(found, file, place.sheet, place.row, place.column, str(place), shown, reason)
        values.append(value)
    return values


def _problem(
    found: Rows, file: str, sheet: str, row: int, column: str, cell: str, value: str | None, reason: str
) -> None:
    listed = (file, sheet, row, column or None, cell or None, value, reason)
    for cells, one in zip(found.tables["problems"].values(), listed, strict=True):
        cells.append(one)


# A value as its column holds it, or None and the reason.


def _text(value: Any) -> tuple[str | None, str]:
    if isinstance(value, str):
        return value, ""
    return None, "is a number in a column of text: leading zeros may be lost" if is_number(value) else "is no text"


def _number(value: Any) -> tuple[float | None, str]:
    if is_number(value):
        return (float(value), "") if math.isfinite(value) else (None, "is no number")
    return None, "is text, no number" if isinstance(value, str) else "is TRUE or FALSE, no number"


def _date(value: Any) -> tuple[datetime.date | None, str]:
    if not is_number(value):
        return None, "is no date"
    if not 0 < value < MOST_DAYS:
        return None, "is a number that no calendar has"
    if value != int(value):
        return None, "is a date with a time of day in it"
    return (EPOCH + int(value) * DAY).date(), ""


def _time(value: Any) -> tuple[datetime.time | None, str]:
    if not is_number(value):
        return None, "is no time"
    microseconds = round(value * 86_400_000_000) if 0 <= value < 1 else -1
    if not 0 <= microseconds < 86_400_000_000:
        return None, "is no time of day"
    return (EPOCH + datetime.timedelta(microseconds=microseconds)).time(), ""


def _days(value: Any) -> tuple[float | None, str]:
    if not is_number(value) or not math.isfinite(value):
        return None, "is no time"
    return (float(value), "") if value >= 0 else (None, "is below zero, no time")


FITS: dict[str, Callable[[Any], tuple[Any, str]]] = {
    TEXT: _text,
    NUMBER: _number,
    DATE: _date,
    TIME: _time,
    DAYS: _days,
}


def _answers(found: Rows, computed: Computed, file: str, version: str) -> None:
    """What the answers across logs count, as `insight` reads it out of one log."""
    ranges: dict[str, tuple[float | None, float | None]] = {}
    for fish in anaesthetised(computed):
        if fish.agent not in ranges:
            ranges[fish.agent] = reference_range(computed, fish.agent)
        low, high = ranges[fish.agent]
        _answer(found, "responses", file, version, fish, range_low=low, range_high=high)
    for sample in sampled(computed):
        _answer(found, "findings", file, version, sample)
    for use in uses(computed):
        _answer(found, "drug_use", file, version, use)


def _answer(found: Rows, name: str, file: str, version: str, one: object, **more: object) -> None:
    values = {"log_file": file, "log_layout": version, **vars(one), **more}
    for column, cells in found.tables[name].items():
        cells.append(values[column])
