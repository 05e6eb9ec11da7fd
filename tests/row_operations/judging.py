"""Holds what a spreadsheet shows after some steps against what Python makes of the same typed cells.

Python's rows are read by the reader of the product from the cells as they are shown. A row that lost its formulas, or
that says in its Check that cells of it were moved, shows nothing; what other rows make of it then follows from nothing.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from workbook_tools.layout import Column, Layout, Table
from workbook_tools.layout.compute import Computed
from workbook_tools.layout.measures import measure
from workbook_tools.log.building.boards import ASKED_COLUMN, ASKED_ROW, board_results
from workbook_tools.log.checking import reading
from workbook_tools.log.checking.reading import ReadLog, ReadTable
from workbook_tools.xlsx.addresses import letter

MOVED = "were cut or shifted"  # in the Check of a row of which typed cells were cut away or shifted
TYPED_OVER = "over or cleared"  # in that of a row of which computed cells were
TELLING = (MOVED, TYPED_OVER)
TWICE = re.compile(r"\btwice\b|\balready\b|\ba row above\b", re.IGNORECASE)
BARE = re.compile(
    r"without formulas", re.IGNORECASE
)  # a heading on the Start sheet, or a word above a sheet's headings
REFERENCE = re.compile(r"(?<!\w)(\$?[A-Z]{1,3})(\$?)(\d+)(?![\w(])")
QUOTED = re.compile(r'("[^"]*")')


@dataclass(frozen=True)
class Violation:
    """One cell that is not as it must be. `kind` is a key of KINDS."""

    kind: str
    sheet: str
    row: int
    column: str
    shown: object
    right: object

    def __str__(self) -> str:
        return f"{self.kind}: {self.sheet} row {self.row}, {self.column}: {self.shown!r}, by Python {self.right!r}"


KINDS = {
    "another value": "a result that differs from Python's",
    "value from nowhere": "a result where Python has none",
    "blank unsaid": "no result where Python has one, and the row does not say that its cells were moved",
    "other words": "another Check text than Python's",
    "row not in use": "a result in a row in which nothing is typed",
    "row without formulas": "a result in a row that has no formulas",
    "moved row": "a result in a row that says its cells were moved",
    "typed over row": "a result that differs from Python's in a row that says a computed cell was typed over",
    "no reason": "a row that says one of the two though its formulas are as they were built",
    "no word of rows without formulas": "rows with something typed and no formulas, and nowhere a word of them",
    "id twice unsaid": "a row with an id that an earlier row has, and no word of it in its Check",
    "error": "an error value in a cell",
    "broken name": "a name that leads nowhere",
    "summary": "a figure of the Summary that differs from Python's",
    "board": "a cell of the Plan or the Calendar that differs from Python's",
    "start": "a figure of the Start sheet that differs from Python's",
    "stale": "a cell that LibreOffice itself did not compute again and that is right once it computes everything",
}


@dataclass
class Seen:
    """What a spreadsheet showed; fields as `after_steps` in tests/support/uno_worker.py tells them."""

    cells: dict[str, list[list[Any]]]
    errors: dict[str, dict[str, str]]
    formulas: dict[str, list[tuple[int, int, int, int]]]
    names: dict[str, str]
    texts: dict[str, dict[str, list[str]]] = field(default_factory=dict)
    refused: list[int] = field(default_factory=list)

    def formula_columns(self, sheet: str) -> dict[int, set[int]]:
        """Columns from 0 that hold a formula, by row from 1."""
        found: dict[int, set[int]] = {}
        for left, top, right, bottom in self.formulas[sheet]:
            for row in range(top, bottom + 1):
                found.setdefault(row + 1, set()).update(range(left, right + 1))
        return found

    def value(self, sheet: str, row: int, column: int) -> Any:
        """By row and column from 1."""
        cells = self.cells[sheet][row - 1] if row <= len(self.cells[sheet]) else []
        return reading.typed_value(cells[column - 1]) if column <= len(cells) else None


class _NothingBeside:
    """For the reader: cells that are shown by a spreadsheet have nothing beside their values."""

    from_1904 = False

    def put_into(self, *_: object) -> None:
        return None

    def after_rows(self, _: str) -> bytes:
        return b""


class _Withheld(dict[str, Any]):
    """A row of which no result counts; only what is in `kept` is there of its computed columns."""

    def __init__(self, row: Mapping[str, Any], kept: Mapping[str, Any], computed: Collection[str]) -> None:
        super().__init__({**row, **dict.fromkeys(computed), **kept})
        self._given = kept, computed

    def __ror__(self, other: dict[str, Any]) -> _Withheld:
        return _Withheld({**other, **self}, *self._given)

    def __setitem__(self, key: str, value: Any) -> None:
        if key not in self._given[1]:
            super().__setitem__(key, value)


@dataclass
class _ShownTable:
    """One log table as it is shown."""

    table: Table
    read: ReadTable
    heading_row: int
    columns: dict[str, int]  # index from 0 of each column found
    formulas: dict[int, set[int]]

    @cached_property
    def results(self) -> list[Column]:
        return [c for c in self.table.columns if c.kind == "computed" and c.key in self.columns]

    @cached_property
    def visible(self) -> set[int]:
        return {self.columns[c.key] for c in self.results if not c.hidden} | {self.columns["check"]}

    def bare(self, row: int) -> bool:
        """Whether a row has none of its formulas."""
        return not self.visible & self.formulas.get(row, set())


class Judge:
    """Judges what is shown of one log.

    Parameters
    ----------
    layout : with as many rows on each sheet as the log was built with.
    built : what the log shows before any step, with the formulas of every row in `texts`.
    """

    def __init__(self, layout: Layout, built: Seen) -> None:
        self.layout = layout
        self.built = {
            table.sheet: [normal(text, table.first_row) for text in built.texts[table.sheet][str(table.first_row)]]
            for table in layout.log_tables()
        }

    def violations(self, seen: Seen) -> list[Violation]:
        """Everything that is not as it must be."""
        log, tables = self._read(seen)
        moved = {t.table.key: self._saying(seen, t, MOVED) for t in tables}
        computed = self._computed(log, tables, moved)
        found = [
            Violation("error", sheet, 0, cell, text, None)
            for sheet, errors in seen.errors.items()
            for cell, text in errors.items()
        ]
        found += [
            Violation("broken name", "", 0, name, content, None)
            for name, content in seen.names.items()
            if "#REF!" in content
        ]
        for shown in tables:
            over = self._saying(seen, shown, TYPED_OVER)
            found += self._rows(seen, shown, computed, moved[shown.table.key], over)
            found += self._for_no_reason(seen, shown, moved[shown.table.key] | over)
        found += self._summary(seen, computed)
        found += self._boards(seen, computed)
        found += self._start(seen, computed, tables)
        return found

    def _read(self, seen: Seen) -> tuple[ReadLog, list[_ShownTable]]:
        """What is typed, by the product's own reader, and where everything is."""
        read: dict[str, ReadTable] = {}
        shown = []
        for sheet in self.layout.sheets:
            wanted = reading._to_be_read(sheet)
            if not wanted:
                continue
            cells = [list(row) for row in seen.cells[sheet.name]]
            found = reading._all_headings(wanted, cells)
            formulas = seen.formula_columns(sheet.name)
            for table in wanted:
                row, columns = found[table.key]
                beside: Any = _NothingBeside()
                read[table.key] = reading._read_table(table, sheet.name, cells, (row, columns), [], beside, True)
                if table.log:
                    assert row is not None, f"the headings of {table.sheet} are gone"
                    shown.append(_ShownTable(table, read[table.key], row, columns, formulas))
        return ReadLog("shown", self.layout, read, []), shown

    @staticmethod
    def _saying(seen: Seen, shown: _ShownTable, words: str) -> dict[int, str]:
        """Check texts of rows that say so."""
        checks = {row: seen.value(shown.table.sheet, row, shown.columns["check"] + 1) for row in shown.formulas}
        return {
            row: text
            for row, text in checks.items()
            if row > shown.heading_row and isinstance(text, str) and words in text
        }

    def _computed(
        self, log: ReadLog, tables: Sequence[_ShownTable], moved: Mapping[str, Mapping[int, str]]
    ) -> Computed:
        """What Python makes of the typed cells, with nothing for rows that rightly show nothing."""
        data = {key: list(rows) for key, rows in log.data().items()}
        for shown in tables:
            key = shown.table.key
            keys = {column.key for column in shown.table.columns if not column.typed}
            for position, number in enumerate(shown.read.numbers):
                if shown.bare(number) or number in moved[key]:
                    kept = {"check": moved[key].get(number)}
                    data[key][position] = _Withheld(data[key][position], kept, keys)
        return Computed(self.layout, data, log.numbers(), log.ahead())

    def _rows(
        self, seen: Seen, shown: _ShownTable, computed: Computed, moved: Mapping[int, str], over: Mapping[int, str]
    ) -> Iterator[Violation]:
        table, sheet = shown.table, shown.table.sheet
        rows = dict(zip(shown.read.numbers, computed.data[table.key], strict=True))
        twice = _used_twice(shown)
        for number in range(shown.heading_row + 1, len(seen.cells[sheet]) + 1):
            right = rows.get(number)
            kind = (
                "moved row"
                if number in moved
                else "row not in use"
                if right is None
                else "row without formulas"
                if shown.bare(number)
                else "typed over row"
                if number in over
                else ""
            )
            for column in shown.results:
                value = seen.value(sheet, number, shown.columns[column.key] + 1)
                wanted = None if right is None else right[column.key]
                if not close(value, wanted):
                    different = kind or _difference(value, wanted)
                    yield Violation(different, sheet, number, column.heading, value, wanted)
            if right is None or number in over:
                continue
            said = seen.value(sheet, number, shown.columns["check"] + 1)
            if number in twice and number not in moved and not shown.bare(number) and not TWICE.search(str(said)):
                yield Violation("id twice unsaid", sheet, number, "Check", said, twice[number])
            if said != right["check"]:
                yield Violation("other words", sheet, number, "Check", said, right["check"])

    def _for_no_reason(self, seen: Seen, shown: _ShownTable, saying: Mapping[int, str]) -> Iterator[Violation]:
        """Rows that say that cells of them were moved though each formula reads its own row as it was built to."""
        for number, said in saying.items():
            texts = seen.texts[shown.table.sheet].get(str(number), [])
            built = self.built[shown.table.sheet]
            places = [shown.columns[column.key] for column in shown.table.columns if not column.typed]
            if texts and all(normal(texts[place], number) == built[place] for place in places):
                yield Violation("no reason", shown.table.sheet, number, "Check", said, None)

    def _summary(self, seen: Seen, computed: Computed) -> Iterator[Violation]:
        """Rows of the Summary by what they are for: a row left blank on the way is none."""
        for sheet in self.layout.sheets:
            tables = [table for table in sheet.tables if table.key_source]
            found = reading._all_headings(tables, seen.cells[sheet.name]) if tables else {}
            for table in tables:
                heading_row, columns = found[table.key]
                assert heading_row is not None, f"the headings of {table.name} are gone"
                numbers = range(heading_row + 1, heading_row + 1 + table.rows)
                shown = [[seen.value(sheet.name, row, columns[c.key] + 1) for c in table.columns] for row in numbers]
                right = [[row[c.key] for c in table.columns] for row in computed.data[table.key]]
                yield from _unlike(table, _by_key(shown), _by_key(right))

    def _boards(self, seen: Seen, computed: Computed) -> Iterator[Violation]:
        for sheet in self.layout.sheets:
            if sheet.board:
                asked = seen.value(sheet.name, ASKED_ROW, ASKED_COLUMN)
                for (row, column), right in board_results(sheet, self.layout, computed, asked).items():
                    value = seen.value(sheet.name, row, column)
                    if not close(value, right):
                        yield Violation("board", sheet.name, row, letter(column), value, right)

    def _start(self, seen: Seen, computed: Computed, tables: Sequence[_ShownTable]) -> Iterator[Violation]:
        """The figures of the Start sheet, and a word of rows that have no formulas there or on the sheet itself."""
        bare = {t.table.key: [row for row in t.read.numbers if t.bare(row)] for t in tables}
        for sheet in self.layout.sheets:
            figures = {line.text: (line.expression, line.look, line.bare) for line in sheet.lines if line.expression}
            for number, cells in enumerate(seen.cells[sheet.name] if figures else [], start=1):
                for column, expression in enumerate(figures.get(str(cells[0]) if cells else "", ()), start=2):
                    if expression:
                        figure = measure(expression, self.layout.tables, f"{sheet.name} row {number}")
                        right = figure.value(computed.data[figure.table.key], None)
                        if figure.name == "bare":
                            right = len(bare[figure.table.key])
                        value = seen.value(sheet.name, number, column)
                        if not close(value, right):
                            yield Violation("start", sheet.name, number, str(cells[0]), value, right)
        for shown in tables:
            rows = bare[shown.table.key]
            if bool(rows) != tells_of_bare_rows(seen, shown.table.sheet, shown.heading_row):
                yield Violation("no word of rows without formulas", shown.table.sheet, 0, "", None, rows)


def tells_of_bare_rows(seen: Seen, sheet: str, heading_row: int) -> bool:
    """Whether a log says that rows of a sheet have no formulas: by a number on the Start sheet, or a word on the sheet
    itself above its headings."""
    above = seen.cells[sheet][: heading_row - 1]
    return counted_bare_rows(seen, sheet) > 0 or any(
        isinstance(value, str) and BARE.search(value) is not None for row in above for value in row
    )


def counted_bare_rows(seen: Seen, sheet: str) -> float:
    """How many rows of a sheet have no formulas, by the Start sheet; 0 where it does not say."""
    headings: list[Any] = []
    for line in seen.cells["Start"]:
        if any(BARE.fullmatch(str(value)) for value in line):
            headings = line
        elif headings and line[0] == sheet:
            return float(next(v for h, v in zip(headings, line, strict=True) if BARE.fullmatch(str(h))))
    return 0.0


def normal(text: str, row: int) -> str:
    """A formula with the rows of its own row's cells told from where it is; rows held fast as "fixed"."""

    def told(match: re.Match[str]) -> str:
        return f"{match[1]}[fixed]" if match[2] else f"{match[1]}[{int(match[3]) - row}]"

    parts = QUOTED.split(text)
    return "".join(part if number % 2 else REFERENCE.sub(told, part) for number, part in enumerate(parts))


def close(one: object, other: object) -> bool:
    """Equal, numbers to a billionth."""
    if isinstance(one, int | float) and isinstance(other, int | float):
        return math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-12)
    return one == other


def _difference(value: object, wanted: object) -> str:
    return "another value" if None not in (value, wanted) else "blank unsaid" if value is None else "value from nowhere"


def _used_twice(shown: _ShownTable) -> dict[int, object]:
    """Rows in use whose id another row above has, with that id."""
    key = shown.table.key_column.key
    found, before = {}, {name.casefold(): number for name, number in shown.read.ahead.items()}
    for number, row in zip(shown.read.numbers, shown.read.rows, strict=True):
        folded = row[key].casefold() if isinstance(row[key], str) else row[key]
        if folded is not None and before.setdefault(folded, number) < number:
            found[number] = row[key]
    return found


def _by_key(rows: Sequence[Sequence[object]]) -> list[Sequence[object]]:
    return sorted((row for row in rows if row[0] is not None), key=lambda row: str(row[0]))


def _unlike(table: Table, shown: list[Sequence[object]], right: list[Sequence[object]]) -> Iterator[Violation]:
    if [row[0] for row in shown] != [row[0] for row in right]:
        ours, theirs = Counter(str(row[0]) for row in shown), Counter(str(row[0]) for row in right)
        yield Violation("summary", table.sheet, 0, table.name, dict(ours - theirs), dict(theirs - ours))
        return
    for one, other in zip(shown, right, strict=True):
        for column, value, wanted in zip(table.columns, one, other, strict=True):
            if not close(value, wanted):
                yield Violation("summary", table.sheet, 0, f"{table.name} {one[0]}: {column.heading}", value, wanted)
