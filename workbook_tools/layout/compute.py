"""Computes a log in Python: every computed cell, every Check sentence, every figure of the Summary.

The same expressions become cell text in `workbook`; a test holds the two against each other and against two
spreadsheet engines.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from workbook_tools.layout.collector_pause import uncollected
from workbook_tools.layout.computing_order import in_order, last_columns, own_tallies
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.expressions import NOTHING, python_function
from workbook_tools.layout.ids import cell_key
from workbook_tools.layout.measures import Measure, Running, measure
from workbook_tools.layout.model import Column, Form, Layout, Rule, Table

PURPOSE_ROW = 2  # of a sheet: its purpose in a sentence
Row = dict[str, Any]
Data = Mapping[str, Sequence[Row]]
Find = Callable[[str, object], Row]
Tally = Callable[[str, Row], float | None]


class _Expression:
    """An expression or a rule's condition, compiled when it is first asked: most commands need a part of them."""

    def __init__(self, text: str, table: Table, layout: Layout, where: str, test: bool = False) -> None:
        self.text, self.table, self.layout, self.where, self.test = text, table, layout, where, test

    @cached_property
    def function(self) -> Callable[..., list[Any]]:
        found: Callable[..., list[Any]] = python_function(
            self.text, self.table, self.layout.tables, self.where, self.test
        )
        return found

    def __call__(
        self, rows: Sequence[Row], find: Find, tally: Tally | None = None, log: Typed | None = None
    ) -> list[Any]:
        """The value for each row; of a test, the positions of the rows for which it holds."""
        return self.function(rows, find, tally, log) if rows else []


@dataclass(frozen=True)
class Program:
    """A table's expressions and rules, compiled. Each goes through all rows in use before the next one does."""

    table: Table
    steps: tuple[tuple[str, _Expression], ...]
    later: tuple[tuple[str, _Expression], ...]  # what needs the other rows of the same table
    last: tuple[tuple[str, _Expression], ...]  # what needs the rows of tables that stand later
    rules: tuple[tuple[Rule, _Expression], ...]

    def compute(self, rows: Sequence[Row], log: Computed) -> None:
        """Fill the computed columns of rows in use."""
        for column in self.table.columns:
            if column.kind == "position":
                reference, place = column.key.removesuffix("_row"), log.place.get(column.to, {})
                for row in rows:
                    row[column.key] = place.get(cell_key(row[reference]))
        self._go(rows, log, (*self.steps, *self.later))

    def compute_last(self, rows: Sequence[Row], log: Computed) -> None:
        """Fill the columns that count over later tables, once those are computed."""
        self._go(rows, log, self.last)

    @staticmethod
    def _go(rows: Sequence[Row], log: Computed, steps: Sequence[tuple[str, _Expression]]) -> None:
        for key, function in steps:
            for row, value in zip(rows, function(rows, log.find, log.tally, log), strict=True):
                row[key] = value

    @cached_property
    def of_columns(self) -> dict[str, tuple[int, ...]]:
        """Rules that follow from a column alone, as numbers in `rules`, by column."""
        from workbook_tools.layout.load import column_rules

        numbers = {rule: number for number, (rule, _) in enumerate(self.rules)}
        alone = {column.key: [numbers.get(rule) for rule in column_rules(column)] for column in self.table.typed}
        return {key: tuple(n for n in found if n is not None) for key, found in alone.items()}

    def judge_columns(self, rows: Sequence[Row], find: Find) -> dict[int, list[int]]:
        """Numbers of the rules of single columns that speak for rows in use, by position among them.

        Asked of each different value once: most columns of a log hold few, many none.
        """
        found: dict[int, list[int]] = {}
        for key, rules in self.of_columns.items():
            values = [row[key] for row in rows]
            different = [*dict.fromkeys(values)]
            if bool in set(map(type, values)):  # TRUE and 1 would count as equal
                different = values
            samples = [{key: value} for value in different]
            for number in rules:
                broken = self.rules[number][1](samples, find)
                if different is not values:
                    wrong = {different[position] for position in broken}
                    broken = [position for position, value in enumerate(values) if value in wrong] if wrong else []
                for position in broken:
                    found.setdefault(position, []).append(number)
        return found

    def judge(self, rows: Sequence[Row], log: Computed) -> dict[int, list[Rule]]:
        """All rules that speak for rows in use, in order, by position among them."""
        found = self.judge_columns(rows, log.find)
        alone = {number for numbers in self.of_columns.values() for number in numbers}
        for number, (_, function) in enumerate(self.rules):
            for position in function(rows, log.find, log.tally, log) if number not in alone else ():
                found.setdefault(position, []).append(number)
        return self.named(found)

    def named(self, found: Mapping[int, list[int]]) -> dict[int, list[Rule]]:
        return {position: [self.rules[number][0] for number in sorted(numbers)] for position, numbers in found.items()}


def compute_form(form: Form, layout: Layout, values: Mapping[str, object]) -> Row:
    """Everything on a form from what is typed on it; `values` by field key, None for a blank."""
    table = form.table
    row: Row = {column.key: None for column in table.columns} | dict(values)
    computed = Computed(layout, {table.key: [row]})
    return computed.data[table.key][0]


@functools.cache
def _measure(expression: str, name: str) -> Measure:
    from workbook_tools.layout.load import load

    return measure(expression, load(name).tables, name)


@functools.cache
def _programs(name: str) -> dict[str, Program]:
    from workbook_tools.layout.load import load

    layout = load(name)
    last = last_columns(layout)
    return {key: _program(table, layout, last.get(key, frozenset())) for key, table in layout.tables.items()}


def _program(table: Table, layout: Layout, last: frozenset[str]) -> Program:
    where = f"{table.sheet}.{table.key}"
    later = own_tallies(table)
    steps = tuple(
        (column.key, _Expression(column.expression, table, layout, f"{where}.{column.key}"))
        for column in in_order(table)
    )
    rules = tuple(
        (rule, _Expression(rule.when, table, layout, f"{where}.{rule.code}", test=True)) for rule in table.rules
    )
    first = tuple(step for step in steps if step[0] not in later | last)
    second = tuple(step for step in steps if step[0] in later - last)
    return Program(table, first, second, tuple(step for step in steps if step[0] in last), rules)


class Typed:
    """What is typed in a log. `data` holds typed values by table and column key; None is a blank.

    The rows given stay as they are; those of the log here have every column. `rows` gives the sheet row of each row,
    `ahead` that of the ids which rows not yet filled have been given, by table.
    """

    @uncollected()
    def __init__(
        self,
        layout: Layout,
        data: Data,
        rows: Mapping[str, Sequence[int]] | None = None,
        ahead: Mapping[str, Mapping[str, int]] | None = None,
    ) -> None:
        self.layout = layout
        self.ahead = ahead or {}
        self.data: dict[str, list[Row]] = {key: list(data.get(key, ())) for key in layout.tables}
        self.numbers = rows or {}
        self.index: dict[str, dict[object, Row]] = {}
        self.place: dict[str, dict[object, int]] = {}
        self.by_number: dict[str, dict[int, Row]] = {}
        in_turn = sorted((t for t in layout.tables.values() if not t.key_source), key=lambda t: t.log)
        self.in_turn = tuple(in_turn)  # lists before logs
        for table in in_turn:
            self._enter(table)

    @uncollected()
    def broken_alone(self) -> list[tuple[Table, int, Rule]]:
        """Rules of single columns that speak: what is required, its kind, its range, its list, where it points.

        What they need is typed, so that nothing is computed for them.
        """
        found = []
        for table in (table for table in self.in_turn if table.log):
            program, used = _programs(self.layout.name)[table.key], self.used(table)
            broken = program.named(program.judge_columns([row for _, row in used], self.find))
            found += [(table, used[number][0], rule) for number, rules in sorted(broken.items()) for rule in rules]
        return found

    def used(self, table: Table) -> list[tuple[int, Row]]:
        """Rows in use, each with its position."""
        return [(position, row) for position, row in enumerate(self.data[table.key]) if table.in_use(row)]

    def number(self, table: Table, position: int) -> int:
        """Sheet row of the row at a position of a table."""
        numbers = self.numbers.get(table.key)
        return numbers[position] if numbers else table.first_row + position

    def position(self, table: str, key: object) -> int | None:
        """Where the row that a key names stands in the column of the keys, as MATCH counts it in `Table.cells`."""
        return self.place.get(table, {}).get(cell_key(key))

    def at(self, table: str, number: float) -> Row:
        """The row that stands in a sheet row."""
        if table not in self.by_number:
            used = self.used(self.layout.tables[table])
            self.by_number[table] = {self.number(self.layout.tables[table], place): row for place, row in used}
        return self.by_number[table].get(int(number), NOTHING)

    def find(self, table: str, key: object) -> Row:
        rows = self.index.get(table, {})
        return rows.get(key) or rows.get(cell_key(key)) or NOTHING

    def row_of(self, table: Table, key: object) -> int | None:
        """Sheet row of the row that a key stands for: of several, the first."""
        place = self.place[table.key].get(cell_key(key))
        return None if place is None else place + (table.heading_row - 1 if table.stacked else 0)

    def _enter(self, table: Table) -> None:
        """Where each key stands; the first of two equal keys answers, as MATCH has it."""
        rows: Sequence[Row] = self.data[table.key]
        if not rows and table.data:
            rows = [dict(zip((c.key for c in table.columns), row, strict=True)) for row in table.data]
        blank: Row = dict.fromkeys(column.key for column in table.columns)
        self.data[table.key] = rows = [blank | row for row in rows]
        index: dict[object, Row] = {}
        place: dict[object, int] = {}
        key = table.key_column.key
        numbered = self.numbered(table)
        above = table.heading_row - 1 if table.stacked else 0
        no_keys = {word.casefold() for word in table.not_keys}
        ahead = {cell_key(name): (number, {key: name}) for name, number in self.ahead.get(table.key, {}).items()}
        if table.purpose:
            ahead[cell_key(table.purpose)] = (PURPOSE_ROW, {key: table.purpose})
        for position, row in enumerate(rows):
            if numbered and table.in_use(row):
                row["own_row"] = float(self.number(table, position))
            if row[key] is None:
                continue
            folded, number = cell_key(row[key]), self.number(table, position)
            if folded in no_keys or folded in index:
                continue
            if folded in ahead and ahead[folded][0] < number:
                number, row = ahead[folded]  # noqa: PLW2901 - the first of the two on the sheet
            index[folded] = row
            place[folded] = number - above
        for folded, (number, free) in ahead.items():
            if folded not in index:
                index[folded] = free
                place[folded] = number - above
        for row in rows:  # most are asked for as they are spelled
            folded = cell_key(row[key])
            if folded in index:
                index.setdefault(row[key], index[folded])
        self.index[table.key] = index
        self.place[table.key] = place

    @staticmethod
    def numbered(table: Table) -> bool:
        return "own_row" in table.by_key


class Computed(Typed):
    """A log with everything computed."""

    @uncollected()
    def __init__(
        self,
        layout: Layout,
        data: Data,
        rows: Mapping[str, Sequence[int]] | None = None,
        ahead: Mapping[str, Mapping[str, int]] | None = None,
    ) -> None:
        super().__init__(layout, data, rows, ahead)
        self.findings: list[tuple[Table, int, Rule]] = []
        self.groups: dict[tuple[str, str], dict[object, list[Row]]] = {}
        self.running: dict[tuple[str, int], Running] = {}
        self.codes: dict[tuple[str, str], list[float]] = {}
        programs = _programs(layout.name)
        filled = [(table, self.used(table)) for table in self.in_turn if table.log]
        for table, used in filled:
            programs[table.key].compute([row for _, row in used], self)
        for table, used in filled:
            programs[table.key].compute_last([row for _, row in used], self)
        for table, used in filled:
            self._judge_table(table, used)
        for table in (t for t in layout.tables.values() if t.key_source):
            self.data[table.key] = self._measured(table)

    def tally(self, expression: str, row: Row) -> float | None:
        """A figure over another table's rows, as a column of `row` asks for it."""
        return self._figure(_measure(expression, self.layout.name), expression, row)

    def _figure(self, figure: Measure, expression: str, row: Row) -> float | None:
        for name in figure.asked:
            if row[name] is None or (name in figure.asked_numbers and not is_number(row[name])):
                return None
        if figure.ordered:
            number = row[figure.number] if figure.number else 0
            return figure.of_group(self._codes(figure), row[figure.place], number)
        rows = self._alike(figure, row)
        if not figure.runs:
            return figure.value(rows, None, row)
        key = expression, id(rows)  # the rows of a group stay in `groups`
        if key not in self.running:
            self.running[key] = Running(figure, figure.tests[0].passing(rows, None, row))
        return self.running[key].value(row[figure.tests[1].own])

    def _codes(self, figure: Measure) -> list[float]:
        """All numbers of a column of order(...), sorted."""
        place = figure.table.key, figure.column
        if place not in self.codes:
            values = (row.get(figure.column) for row in self.data[figure.table.key])
            self.codes[place] = sorted(value for value in values if is_number(value))
        return self.codes[place]

    def _alike(self, figure: Measure, row: Row) -> Sequence[Row]:
        """Rows that pass a figure's first test, gathered once: asked for by many rows, the whole table is too long."""
        first = figure.tests[0] if figure.tests else None
        if first is None or first.sign != "=" or first.value is not None:
            return self.data[figure.table.key]
        if (figure.table.key, first.column) not in self.groups:
            groups: dict[object, list[Row]] = {}
            for other in self.data[figure.table.key]:
                groups.setdefault(cell_key(other.get(first.column)), []).append(other)
            self.groups[figure.table.key, first.column] = groups
        return self.groups[figure.table.key, first.column].get(cell_key(row[first.own or "key"]), ())

    @staticmethod
    def table_reasons(table: Table) -> list[Column]:
        return [column for column in table.columns if column.kind == "reasons"]

    def _judge_table(self, table: Table, used: Sequence[tuple[int, Row]]) -> None:
        broken = _programs(self.layout.name)[table.key].judge([row for _, row in used], self)
        reasons = self.table_reasons(table)
        for number, (position, row) in enumerate(used):
            row["check"] = "ok"
            if number in broken:
                self._judge(table, position, row, broken[number], reasons)

    def _judge(self, table: Table, position: int, row: Row, broken: list[Rule], reasons: list[Column]) -> None:
        """What the rules say of a row, for the Check column and the checker."""
        self.findings += [(table, position, rule) for rule in broken]
        for column in reasons:
            said = [rule.say for rule in column.rules if rule in broken]
            row[column.key] = "".join(f"{sentence} " for sentence in said) or None
        row["check"] = " ".join(rule.say for rule in broken)

    def _measured(self, table: Table) -> list[Row]:
        program = _programs(self.layout.name)[table.key]
        measures: dict[str, Measure] = {
            column.key: measure(column.expression, self.layout.tables, f"{table.sheet}.{column.key}")
            for column in table.columns
            if column.kind == "measure"
        }
        source = self.layout.tables[table.key_source]
        filled = source.told_by.key if source.gives_ids else source.key_column.key
        keys = [None if row[filled] is None else row[source.key_column.key] for row in self.data[source.key]]
        keys = keys[: table.rows]
        first = self.number(source, 0) if self.data[source.key] else source.first_row
        above = source.heading_row - 1 if source.stacked else 0
        rows = []
        for number, key in enumerate([*keys, *[None] * (table.rows - len(keys))]):
            place = self.number(source, number) if number < len(self.data[source.key]) else first + number
            row: Row = {column.key: None for column in table.columns} | {"key": key, "key_row": float(place - above)}
            if key is not None:
                for name, figure in measures.items():
                    row[name] = (
                        self._figure(figure, name, row)
                        if figure.ordered
                        else figure.value(self._alike(figure, row), key)
                    )
            rows.append(row)
        program.compute([row for row in rows if row["key"] is not None], self)
        return rows
