"""Computes a log in Python: every computed cell, every Check sentence, every figure of the Summary.

The same expressions become cell text in `workbook`; a test holds the two against each other and against two
spreadsheet engines.
"""

from __future__ import annotations

import ast
import functools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from typing import Any

from workbook_tools.errors import LayoutError
from workbook_tools.layouts.expressions import NOTHING, is_measure, python_function
from workbook_tools.layouts.measures import Measure, measure
from workbook_tools.layouts.model import Column, Form, Layout, Rule, Table
from workbook_tools.layouts.trees import column_names, is_number, is_own, parsed

Row = dict[str, Any]
Data = Mapping[str, Sequence[Row]]


@dataclass(frozen=True)
class Program:
    """A table's expressions and rules, compiled."""

    table: Table
    steps: tuple[tuple[str, Callable[..., Any]], ...]
    later: tuple[tuple[str, Callable[..., Any]], ...]  # what needs the other rows of the same table
    rules: tuple[tuple[Rule, Callable[..., bool]], ...]

    def compute(self, row: Row, log: Computed) -> None:
        """Fill the computed columns of one row in use."""
        for column in self.table.columns:
            if column.kind == "position":
                row[column.key] = log.position(column.to, row[column.key.removesuffix("_row")])
        for key, function in self.steps:
            row[key] = function(row, log.find, log.tally)

    def finish(self, row: Row, log: Computed) -> None:
        """Fill what rests on the other rows of the table, once all of them are computed."""
        for key, function in self.later:
            row[key] = function(row, log.find, log.tally)

    def broken(self, row: Row, log: Computed) -> list[Rule]:
        """Rules that speak for one row in use, in order."""
        return [rule for rule, function in self.rules if function(row, log.find, log.tally)]


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
        (column.key, python_function(column.expression, table, layout.tables, f"{where}.{column.key}"))
        for column in in_order(table)
    )
    rules = tuple(
        (rule, python_function(rule.when, table, layout.tables, f"{where}.{rule.code}", test=True))
        for rule in table.rules
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


class Computed:
    """A log with everything computed. `data` holds typed values by table and column key; None is a blank.

    Rows gain the computed columns in place. `rows` gives the sheet row of each row, `ahead` that of the ids which rows
    not yet filled have been given, by table.
    """

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
        self.findings: list[tuple[Table, int, Rule]] = []
        self.groups: dict[tuple[str, str], dict[object, list[Row]]] = {}
        tables = layout.tables.values()
        in_turn = sorted((t for t in tables if not t.key_source), key=lambda t: t.log)  # lists before logs
        for table in in_turn:
            self._enter(table)
        for table in in_turn:
            self._compute(table)
        for table in (t for t in tables if t.key_source):
            self.data[table.key] = self._measured(table)

    def number(self, table: Table, position: int) -> int:
        """Sheet row of the row at a position of a table."""
        numbers = self.numbers.get(table.key)
        return numbers[position] if numbers else table.first_row + position

    def find(self, table: str, key: object) -> Row:
        return self.index.get(table, {}).get(_folded(key), NOTHING)

    def tally(self, expression: str, row: Row) -> float | None:
        """A figure over another table's rows, as a column of `row` asks for it."""
        figure = _measure(expression, self.layout.name)
        for test in figure.tests:
            if test.own and (row[test.own] is None or (test.sign != "=" and not is_number(row[test.own]))):
                return None
        return figure.value(self._alike(figure, row), None, row)

    def _alike(self, figure: Measure, row: Row) -> Sequence[Row]:
        """Rows that pass a figure's first test, gathered once: asked for by many rows, the whole table is too long."""
        first = figure.tests[0]
        if first.sign != "=" or not first.own:
            return self.data[figure.table.key]
        if (figure.table.key, first.column) not in self.groups:
            groups: dict[object, list[Row]] = {}
            for other in self.data[figure.table.key]:
                groups.setdefault(_folded(other.get(first.column)), []).append(other)
            self.groups[figure.table.key, first.column] = groups
        return self.groups[figure.table.key, first.column].get(_folded(row[first.own]), [])

    def position(self, table: str, key: object) -> object:
        return self.place.get(table, {}).get(_folded(key))

    @staticmethod
    def table_reasons(table: Table) -> list[Column]:
        return [column for column in table.columns if column.kind == "reasons"]

    def _enter(self, table: Table) -> None:
        """Where each key stands; the first of two equal keys answers, as MATCH has it."""
        if not self.data[table.key] and table.data:
            self.data[table.key] = [dict(zip((c.key for c in table.columns), row, strict=True)) for row in table.data]
        index: dict[object, Row] = {}
        place: dict[object, int] = {}
        for position, row in enumerate(self.data[table.key]):
            for column in table.columns:
                row.setdefault(column.key, None)
            if self.numbered(table) and table.in_use(row):
                row["own_row"] = float(self.number(table, position))
            key = row[table.key_column.key]
            if key is not None:
                index.setdefault(_folded(key), row)
                place.setdefault(_folded(key), self.number(table, position))
        for name, number in self.ahead.get(table.key, {}).items():
            index.setdefault(_folded(name), {table.key_column.key: name})
            place.setdefault(_folded(name), number)
        self.index[table.key] = index
        self.place[table.key] = place

    @staticmethod
    def numbered(table: Table) -> bool:
        return "own_row" in table.by_key

    def _compute(self, table: Table) -> None:
        if not table.log:
            return
        program = _programs(self.layout.name)[table.key]
        used = [(position, row) for position, row in enumerate(self.data[table.key]) if table.in_use(row)]
        for _, row in used:
            program.compute(row, self)
        for position, row in used:
            program.finish(row, self)
            self._judge(table, position, row, program)

    def _judge(self, table: Table, position: int, row: Row, program: Program) -> None:
        """What the rules say of a row, for the Check column and the checker."""
        broken = program.broken(row, self)
        self.findings += [(table, position, rule) for rule in broken]
        for column in self.table_reasons(table):
            said = [rule.say for rule in column.rules if rule in broken]
            row[column.key] = "".join(f"{sentence} " for sentence in said) or None
        row["check"] = " ".join(rule.say for rule in broken) or "ok"

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
                    row[name] = figure.value(self.data[figure.table.key], key)
                program.compute(row, self)
            rows.append(row)
        return rows


def _folded(key: object) -> object:
    return key.casefold() if isinstance(key, str) else float(key) if isinstance(key, int | float) else key
