"""Checks a case log: the rules of its layout, and what a Check column cannot see. Changes nothing."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.layout import Layout, Rule
from workbook_tools.layout.compute import Computed
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.load import FORMATS, TWICE
from workbook_tools.layout.shown_values import as_shown
from workbook_tools.log.checking.between_rows import (
    SeenBetween,
    days_to_come,
    days_twice,
    rows_twice,
    temperature_jumps,
)
from workbook_tools.log.checking.broken_formulas import Broken, broken_formulas
from workbook_tools.log.checking.reading import ReadLog, ReadTable, Remark, read_log
from workbook_tools.log.checking.structure import Structure, structures
from workbook_tools.log.checking.typing_slips import LOOKS_NUMERIC, SLIPS, percent_slip, slip, text_slip
from workbook_tools.xlsx.opened import Opened
from workbook_tools.xlsx.reading import Foreign, foreign_in

STANDS_FOR_OTHERS = re.compile(rf".*[*?~]|[<>=]|{LOOKS_NUMERIC.pattern}|\s*(true|false)\s*$", re.IGNORECASE)
STALE = {
    "result-differs": "{heading} shows another result than its row gives ({wanted}): not computed since it changed.",
    "typed-over": "{heading} was typed over: its row gives {wanted}. Copy the cell from a row above.",
}
SAVED_ELSEWHERE = ("column-formula-lost", "name-broken")  # what every save by LibreOffice does; no number is wrong
SEVERITY = {"row-twice": "notice", "day-twice": "fault", "future-day": "fault", "temperature-jump": "notice"}


@dataclass(frozen=True)
class Finding:
    """One thing that wants a look: where, which rule, why, and what stands there."""

    sheet: str
    row: int
    column: str
    code: str
    reason: str
    value: Any
    severity: str
    cell: str = ""
    shown: str = "-"
    more_rows: tuple[int, ...] = ()  # further rows of which it says the same

    def as_dict(self) -> dict[str, Any]:
        return {
            "sheet": self.sheet,
            "row": self.row,
            "column": self.column,
            "code": self.code,
            "reason": self.reason,
            "value": self.value,
            "severity": self.severity,
            "cell": self.cell,
        }


@dataclass
class CheckedLog:
    """A log that was read, computed and checked."""

    log: ReadLog
    computed: Computed
    findings: list[Finding]

    @property
    def faults(self) -> list[Finding]:
        return [finding for finding in self.findings if finding.severity == "fault"]


def check_log(file: Path | Opened, layout: Layout, today: datetime.date | None = None) -> CheckedLog:
    """Check a case log; every finding of every sheet in one run, in sheet and row order. `today` is the computer's day
    where none is given.

    Raises ReadError where the file cannot be read.
    """
    log_file = Opened.of(file)
    path, archive = log_file.path, log_file.archive
    moment = serial(today or datetime.date.today())
    log = read_log(path, layout, archive, results=True)
    computed = log.computed()
    findings = [_of_remark(remark) for remark in log.remarks]
    for table, position, rule in computed.findings:
        findings.append(_of_rule(log.tables[table.key], computed, position, rule))
    findings += [_of_foreign(foreign) for foreign in foreign_in(archive)]
    findings += [_of_broken(broken, layout) for broken in broken_formulas(log_file.edit(), layout)]
    built = structures(archive, (log.tables[table.key] for table in layout.log_tables()))
    for table in layout.log_tables():
        read = log.tables[table.key]
        rows = computed.data[table.key]
        structure = built.get(table.key, Structure())
        findings += _ids_that_stand_for_others(read)
        findings += _not_as_text(read)
        findings += _outside(read, structure)
        findings += _stale(read, rows, structure)
        findings += _without_rules(read, structure)
        for position, key, code, reason in _between_rows(read, rows, moment):
            value = rows[position][key]
            findings.append(_finding(read, position, key, code, reason, value, SEVERITY[code]))
    order = {sheet.name: number for number, sheet in enumerate(layout.sheets)}
    findings.sort(key=lambda f: (order.get(f.sheet, 99), f.row, f.column, f.code))
    return CheckedLog(log, computed, findings)


def _of_remark(remark: Remark) -> Finding:
    place = remark.place
    return Finding(
        place.sheet, place.row, place.column, remark.code, remark.say, remark.value, remark.severity, str(place)
    )


def _of_broken(broken: Broken, layout: Layout) -> Finding:
    where = f"{broken.sheet}!{broken.letters}{broken.row}" if broken.letters else broken.sheet or "whole file"
    severity = "notice" if broken.code in SAVED_ELSEWHERE else "fault"
    return Finding(
        broken.sheet,
        broken.row,
        broken.column,
        broken.code,
        broken.say,
        None,
        severity,
        where,
        more_rows=broken.more_rows,
    )


def _of_foreign(foreign: Foreign) -> Finding:
    """Something in the file that could act on a computer; it stands in no cell."""
    return Finding("", 0, "", foreign.code, foreign.say, None, foreign.severity, "whole file")


def _of_rule(read: ReadTable, computed: Computed, position: int, rule: Rule) -> Finding:
    key = rule.columns[0] if rule.columns else read.table.key_column.key
    row = computed.data[read.table.key][position]
    value = row.get(key)
    reason = rule.say
    if rule.code == "id-used-twice":
        where = f"row {computed.row_of(read.table, value)}"
        reason = TWICE.format(heading=f"{read.table.by_key[key].heading} {value}", where=where)
    if rule.code in SLIPS and isinstance(value, str | bool):
        reason = f"{rule.say} {slip(read.table.by_key[key], value)}".strip()
    elif rule.code == "out-of-range":
        reason = f"{rule.say} {percent_slip(read.table.by_key[key], value)}".strip()
    elif rule.code == "days-last-day" and is_number(row["ends"]):
        first, last, ends = (as_shown(row[name], FORMATS["date"]) for name in ("first", "last", "ends"))
        reason = f"{row['days']:g} days from {first} end on {ends}, not on {last}."
    return _finding(read, position, key, rule.code, reason, value, rule.severity)


def _finding(
    read: ReadTable, position: int, key: str, code: str, reason: str, value: Any, severity: str = "fault"
) -> Finding:
    place = read.place(position, key)
    shown = as_shown(value, read.table.by_key[key].format)
    return Finding(place.sheet, place.row, place.column, code, reason, value, severity, str(place), shown)


def _ids_that_stand_for_others(read: ReadTable) -> Iterator[Finding]:
    """Ids that a spreadsheet's own counting takes for others: with * ? ~, a leading sign, or of digits alone.

    Where rows are counted by their place, as lots are, any name will do.
    """
    column = read.table.id_column
    if column is None or (Computed.numbered(read.table) and not read.table.gives_ids):
        return
    for position, row in enumerate(read.rows):
        value = row[column.key]
        if isinstance(value, str) and STANDS_FOR_OTHERS.match(value):
            reason = (
                f"{column.heading} {value}: summaries count by names, and a spreadsheet takes * ? ~ for any letters, "
                "a leading < > = for a condition, 012 for 12 and TRUE for no text. Put a letter first and leave these "
                "signs out."
            )
            yield _finding(read, position, column.key, "id-stands-for-others", reason, value)


def _not_as_text(read: ReadTable) -> Iterator[Finding]:
    """What stands in columns of text and is no text, or not the text that it looks like."""
    for column in read.table.typed:
        if column.kind in ("text", "id", "reference"):
            for position, row in enumerate(read.rows):
                found = None if row[column.key] is None else text_slip(column, row[column.key])
                if found is not None:
                    code, severity, reason = found
                    yield _finding(read, position, column.key, code, reason, row[column.key], severity)


def _between_rows(read: ReadTable, rows: list[dict[str, Any]], today: float) -> Iterator[SeenBetween]:
    yield from rows_twice(read)
    if read.table.key == "losses":
        yield from days_twice(read, rows)
        yield from days_to_come(rows, today)
        yield from temperature_jumps(rows, "stock_row", "date", "temperature")
    if read.table.key == "water":
        yield from temperature_jumps(rows, "vessel_row", "date", "temperature")


def _outside(read: ReadTable, structure: Structure) -> Iterator[Finding]:
    for position, number in enumerate(read.numbers):
        if number in structure.bare:
            key, reason = read.table.key_column.key, "The row has no formulas: stretch the table over it."
            yield _finding(read, position, key, "row-outside-table", reason, read.rows[position][key])


def _without_rules(read: ReadTable, structure: Structure) -> Iterator[Finding]:
    for key in structure.without_rule:
        heading = read.table.by_key[key].heading
        reason = (
            f"The rule of {heading} does not cover all filled rows: something was pasted over it, or it was removed."
        )
        place = f"{read.table.sheet}!{read.letters[key]}{read.numbers[0]}"
        yield Finding(read.table.sheet, read.numbers[0], heading, "rule-missing", reason, None, "notice", place)


def _stale(read: ReadTable, rows: list[dict[str, Any]], structure: Structure) -> Iterator[Finding]:
    """Stored results that differ from what the typed cells give, and results that no formula gives."""
    if _never_stored(read, rows):
        reason = (
            f"{read.table.sheet} holds no stored results: a program saved it without computing. Open it in a "
            "spreadsheet and save it."
        )
        yield Finding(read.table.sheet, read.table.heading_row, "", "results-not-stored", reason, None, "notice")
        return
    computed = [
        column.key for column in read.table.columns if column.kind == "computed" and column.key in read.result_columns
    ]
    differing: dict[int, set[str]] = {}
    for key in computed:
        right = [row[key] for row in rows]
        stored = read.results(key)
        if stored != right:
            for position, pair in enumerate(zip(stored, right, strict=True)):
                if not _agree(*pair):
                    differing.setdefault(position, set()).add(key)
    for position, number in enumerate(read.numbers):
        gone = structure.without_formula.get(number, set())
        wrong = gone or differing.get(position)  # what follows from a cell typed over is not said as well
        if not wrong or number in structure.bare:
            continue
        for column in read.table.columns:
            if column.key in wrong:
                code = "typed-over" if gone else "result-differs"
                right = rows[position][column.key]
                wanted = "blank" if right is None else f"{right:g}" if isinstance(right, float) else str(right)
                reason = STALE[code].format(heading=column.heading, wanted=wanted)
                yield _finding(read, position, column.key, code, reason, read.stored[position].get(column.key))


def _never_stored(read: ReadTable, rows: list[dict[str, Any]]) -> bool:
    keys = [column.key for column in read.table.columns if column.kind == "computed"]
    wanted = any(row[key] is not None for row in rows for key in keys)
    there = (key for key in (*keys, "check") if key in read.result_columns)
    return wanted and all(value is None for key in there for value in read.results(key))


def _agree(stored: Any, right: Any) -> bool:
    if isinstance(stored, int | float) and isinstance(right, int | float):
        return abs(stored - right) <= 1e-9 * max(abs(stored), abs(right))
    return bool(stored == right)
