"""Computes a log in Python: every computed cell, every Check sentence, every figure of the Summary.

The same expressions become cell text in `workbook`; a test holds the two against each other and against two
spreadsheet engines.
"""

from __future__ import annotations

import ast
import functools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from graphlib import CycleError, TopologicalSorter
from typing import Any

from workbook_tools.errors import LayoutError
from workbook_tools.layouts.expressions import NOTHING, is_measure, python_function
from workbook_tools.layouts.measures import Measure, Running, measure
from workbook_tools.layouts.model import Column, Form, Layout, Rule, Table
from workbook_tools.layouts.trees import column_names, is_number, is_own, parsed
from workbook_tools.layouts.uncollected import uncollected

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

    def __call__(self, rows: Sequence[Row], find: Find, tally: Tally | None) -> list[Any]:
        """The value for each row; of a test, the positions of the rows for which it holds."""
        return self.function(rows, find, tally) if rows else []


@dataclass(frozen=True)
class Program:
    """A table's expressions and rules, compiled. Each goes through all rows in use before the next one does."""

    table: Table
    steps: tuple[tuple[str, _Expression], ...]
    later: tuple[tuple[str, _Expression], ...]  # what needs the other rows of the same table
    rules: tuple[tuple[Rule, _Expression], ...]

    def compute(self, rows: Sequence[Row], log: Computed) -> None:
        """Fill the computed columns of rows in use."""
        for column in self.table.columns:
            if column.kind == "position":
                reference, place = column.key.removesuffix("_row"), log.place.get(column.to, {})
                for row in rows:
                    row[column.key] = place.get(_folded(row[reference]))
        for key, function in (*self.steps, *self.later):
            for row, value in zip(rows, function(rows, log.find, log.tally), strict=True):
                row[key] = value

    @cached_property
    def of_columns(self) -> dict[str, tuple[int, ...]]:
        """Rules that follow from a column alone, as numbers in `rules`, by column."""
        from workbook_tools.layouts.load import column_rules

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
                broken = self.rules[number][1](samples, find, None)
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
            for position in function(rows, log.find, log.tally) if number not in alone else ():
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
    from workbook_tools.layouts.load import load

    return measure(expression, load(name).tables, name)


@functools.cache
def _programs(name: str) -> dict[str, Program]:
    from workbook_tools.layouts.load import load

    layout = load(name)
    return {key: _program(table, layout) for key, table in layout.tables.items()}


def _program(table: Table, layout: Layout) -> Program:
    where = f"{table.sheet}.{table.key}"
    later = own_tallies(table)
    steps = tuple(
        (column.key, _Expression(column.expression, table, layout, f"{where}.{column.key}"))
        for column in in_order(table)
    )
    rules = tuple(
        (rule, _Expression(rule.when, table, layout, f"{where}.{rule.code}", test=True)) for rule in table.rules
    )
    first = tuple(step for step in steps if step[0] not in later)
    return Program(table, first, tuple(step for step in steps if step[0] in later), rules)


def own_tallies(table: Table) -> set[str]:
    """Columns that count over their own table, and those that are computed from them."""
    found: set[str] = set()
    for column in in_order(table):
        tree = parsed(column.expression, column.key)
        counts = any(_counts_over(part, table) for part in ast.walk(tree) if isinstance(part, ast.Call))
        if counts or found & set(_needed(tree, table)):
            found.add(column.key)
    return found


def _counts_over(node: ast.Call, table: Table) -> bool:
    return is_measure(node) and ast.unparse(node.args[0]).split(".")[0] == table.key


def in_order(table: Table) -> list[Column]:
    """Computed columns, each after those it is computed from. Raises LayoutError where they go in a circle."""
    computed = {column.key: column for column in table.columns if column.kind == "computed"}
    needs = {
        key: [name for name in _needed(parsed(column.expression, key), table) if name in computed]
        for key, column in computed.items()
    }
    try:
        return [computed[key] for key in TopologicalSorter(needs).static_order()]
    except CycleError as error:
        raise LayoutError(table.key, [f"columns computed from each other: {', '.join(error.args[1])}"]) from error


def _needed(node: ast.expr, table: Table) -> list[str]:
    """Columns of its own row that an expression reads; names inside a measure are another table's, but for row.x."""
    if is_measure(node):
        return [part.attr for part in ast.walk(node) if isinstance(part, ast.Attribute) and is_own(part)]
    if isinstance(node, ast.IfExp):
        parts = (node.test, node.body, node.orelse)
        return [name for part in parts for name in _needed(part, table)]
    return column_names(node, table)


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

    def find(self, table: str, key: object) -> Row:
        rows = self.index.get(table, {})
        return rows.get(key) or rows.get(_folded(key)) or NOTHING

    def row_of(self, table: Table, key: object) -> int | None:
        """Sheet row of the row that a key stands for: of several, the first."""
        place = self.place[table.key].get(_folded(key))
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
        ahead = {_folded(name): (number, {key: name}) for name, number in self.ahead.get(table.key, {}).items()}
        if table.purpose:
            ahead[_folded(table.purpose)] = (PURPOSE_ROW, {key: table.purpose})
        for position, row in enumerate(rows):
            if numbered and table.in_use(row):
                row["own_row"] = float(self.number(table, position))
            if row[key] is None:
                continue
            folded, number = _folded(row[key]), self.number(table, position)
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
            folded = _folded(row[key])
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
        for table in self.in_turn:
            self._compute(table)
        for table in (t for t in layout.tables.values() if t.key_source):
            self.data[table.key] = self._measured(table)

    def tally(self, expression: str, row: Row) -> float | None:
        """A figure over another table's rows, as a column of `row` asks for it."""
        figure = _measure(expression, self.layout.name)
        for test in figure.tests:
            if test.own and (row[test.own] is None or (test.sign != "=" and not is_number(row[test.own]))):
                return None
        rows = self._alike(figure, row)
        if not figure.runs:
            return figure.value(rows, None, row)
        key = expression, id(rows)  # the rows of a group stay in `groups`
        if key not in self.running:
            self.running[key] = Running(figure, figure.tests[0].passing(rows, None, row))
        return self.running[key].value(row[figure.tests[1].own])

    def _alike(self, figure: Measure, row: Row) -> Sequence[Row]:
        """Rows that pass a figure's first test, gathered once: asked for by many rows, the whole table is too long."""
        first = figure.tests[0] if figure.tests else None
        if first is None or first.sign != "=" or first.value is not None:
            return self.data[figure.table.key]
        if (figure.table.key, first.column) not in self.groups:
            groups: dict[object, list[Row]] = {}
            for other in self.data[figure.table.key]:
                groups.setdefault(_folded(other.get(first.column)), []).append(other)
            self.groups[figure.table.key, first.column] = groups
        return self.groups[figure.table.key, first.column].get(_folded(row[first.own or "key"]), ())

    @staticmethod
    def table_reasons(table: Table) -> list[Column]:
        return [column for column in table.columns if column.kind == "reasons"]

    def _compute(self, table: Table) -> None:
        if not table.log:
            return
        program = _programs(self.layout.name)[table.key]
        used = self.used(table)
        rows = [row for _, row in used]
        program.compute(rows, self)
        broken = program.judge(rows, self)
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
        rows = []
        for key in [*keys, *[None] * (table.rows - len(keys))]:
            row: Row = {column.key: None for column in table.columns} | {"key": key}
            if key is not None:
                for name, figure in measures.items():
                    row[name] = figure.value(self._alike(figure, row), key)
            rows.append(row)
        program.compute([row for row in rows if row["key"] is not None], self)
        return rows


def _folded(key: object) -> object:
    return key.casefold() if isinstance(key, str) else float(key) if isinstance(key, int | float) else key
