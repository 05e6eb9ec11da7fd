"""Figures over a whole table: the measures of the Summary and Start sheets, as cell text and in Python.

A measure is one of

- `count(table, test, ...)`: rows of a log table for which every test holds;
- `total(table.column, test, ...)`: sum of a column over such rows;
- `median(table.column, test, ...)`, `percentile(table.column, share, test, ...)`: over the
  numbers of such rows, blank if there are none;
- `latest(table.column, test, ...)`: the greatest of such rows' numbers, a date for one, blank if there are none;
- `used(table)`, `attention(table)`: rows in use; rows whose Check column says more than ok;
- `bare(table)`: rows in which something is typed and nothing is computed, for want of formulas.

A test compares a column with `key` (the row's own key), a number or a word; in a column's expression also with a
column of its own row (`row.stock`).
"""

from __future__ import annotations

import ast
import operator
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Any

from workbook_tools.errors import TranslationError
from workbook_tools.hosts.cell_text import COMPARISONS, number_piece
from workbook_tools.layouts.model import Table
from workbook_tools.layouts.trees import is_number, is_own, parsed, same

Row = Mapping[str, Any]
PLAIN = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 ")
PYTHON: dict[str, Callable[[Any, Any], bool]] = {
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
}


@dataclass(frozen=True)
class Test:
    column: str
    sign: str
    value: float | str | None  # None stands for the row's key
    own: str = ""  # column of the asking row

    def passing(self, rows: Sequence[Row], key: object, asking: Row) -> Sequence[Row]:
        """The rows for which the test holds."""
        value = asking[self.own] if self.own else key if self.value is None else self.value
        column = self.column
        if self.sign == "=":
            if not isinstance(value, str):
                return [row for row in rows if same(row.get(column), value)]
            words = {word for row in rows if isinstance(word := row.get(column), str)}  # few, in many rows
            alike = {word for word in words if same(word, value)}
            return [row for row in rows if row.get(column) in alike]
        if not is_number(value):
            return []
        compare = PYTHON[self.sign]
        return [row for row in rows if is_number(mine := row.get(column)) and compare(mine, value)]


@dataclass(frozen=True)
class Measure:
    name: str
    table: Table
    column: str
    share: float
    tests: tuple[Test, ...]

    def reference(self, column: str, whole: bool = True) -> str:
        """A column of the table."""
        heading = self.table.by_key[column].heading
        if whole:
            return self.table.cells(column)
        if not set(heading) <= PLAIN:
            raise TranslationError(heading, 1, "a heading used by a measure may hold letters, digits and spaces only")
        return f"{self.table.name}[{heading}]"

    def cell_text(self, key: str, own: Mapping[str, str] | None = None) -> tuple[str, bool]:
        """Formula text, and whether it must be entered as an array formula.

        `key` is the cell of the row's key, `own` the cells of the asking row's columns.
        """
        place = {None: key} | dict(own or {})
        if self.name in ("used", "attention"):
            check = self.reference("check")
            reasons = f'COUNTIF({check},"* *")'  # every reason has several words; what stands above the rows one
            return (f'COUNTIF({check},"ok")+{reasons}' if self.name == "used" else reasons), False
        if self.name == "bare":
            told, check = self.reference(self.table.told_by.key), self.reference("check")
            filled = f'COUNTIFS({told},"<>",{check},'  # this way round, which every engine counts alike
            words = (
                "ok",
                "* *",
                "computed",
                self.table.by_key["check"].heading,
            )  # those of rows, and what stands above
            return f"COUNTA({told})" + "".join(f'-{filled}"{word}")' for word in words), False
        if self.name in ("count", "total"):
            criteria = ",".join(f"{self.reference(t.column)},{_criterion(t, place[t.own or None])}" for t in self.tests)
            if self.name == "count":
                return f"COUNTIFS({criteria})", False
            return f"SUMIFS({self.reference(self.column)},{criteria})", False
        values = self.reference(self.column, whole=False)
        tests = [
            f"({self.reference(test.column, whole=False)}{test.sign}{_literal(test.value, place[test.own or None])})"
            for test in self.tests
        ]
        there = f'({values}<>"")'  # a blank would count as zero
        chosen = f"IF({'*'.join([*tests, there])},{values})"
        if self.name == "latest":
            return f'IF(MAX({chosen})=0,"",MAX({chosen}))', True
        whole = f"MEDIAN({chosen})" if self.name == "median" else f"PERCENTILE({chosen},{self.share:g})"
        return f'IFERROR({whole},"")', True

    def value(self, rows: Sequence[Row], key: object, asking: Row | None = None) -> float | None:
        """The same in Python."""
        if self.name == "used":
            return float(sum(row["check"] is not None for row in rows))
        if self.name == "bare":
            return 0.0  # here every row has its formulas
        if self.name == "attention":
            return float(sum(row["check"] not in (None, "ok") for row in rows))
        chosen = rows
        for test in self.tests:
            chosen = test.passing(chosen, key, asking or {})
        if self.name == "count":
            return float(len(chosen))
        numbers = sorted(float(row[self.column]) for row in chosen if is_number(row.get(self.column)))
        if self.name == "total":
            return sum(numbers)
        if self.name == "latest":
            return max(numbers, default=0) or None
        return interpolated(numbers, 0.5 if self.name == "median" else self.share)

    @property
    def runs(self) -> bool:
        """Whether it adds up the rows of a group on one side of a place: all days up to a row's own, for one."""
        if self.name not in ("count", "total") or len(self.tests) != 2:
            return False
        first, second = self.tests
        return first.sign == "=" and bool(first.own) and second.sign in PYTHON and bool(second.own)


class Running:
    """The sums of a measure that `runs`, over the rows of one group: adding them up for each row that asks would take a
    time that grows with the square of the rows.
    """

    def __init__(self, figure: Measure, rows: Sequence[Row]) -> None:
        place, self.sign = figure.tests[1].column, figure.tests[1].sign
        steps = sorted(
            (float(row[place]), 1.0 if figure.name == "count" else float(row[figure.column]))
            for row in rows
            if is_number(row.get(place)) and (figure.name == "count" or is_number(row.get(figure.column)))
        )
        self.places = [place for place, _ in steps]
        self.below = [*accumulate((amount for _, amount in steps), initial=0.0)]
        self.above = [*accumulate((amount for _, amount in reversed(steps)), initial=0.0)][::-1]

    def value(self, place: float) -> float:
        """The sum for a row that stands at a place."""
        find = bisect_left if self.sign in ("<", ">=") else bisect_right
        sums = self.below if self.sign in ("<", "<=") else self.above
        return sums[find(self.places, place)]


def interpolated(numbers: Sequence[float], share: float) -> float | None:
    """The value below which a share of sorted numbers lies, as PERCENTILE interpolates; None for no numbers."""
    if not numbers:
        return None
    place = share * (len(numbers) - 1)
    below = int(place)
    above = min(below + 1, len(numbers) - 1)
    return numbers[below] + (numbers[above] - numbers[below]) * (place - below)


def measure(expression: str, tables: Mapping[str, Table], where: str) -> Measure:
    """Read a measure; raises TranslationError in words."""
    return measure_of(parsed(expression, where), tables, where)


def measure_of(node: ast.expr, tables: Mapping[str, Table], where: str) -> Measure:
    """Read a measure that is parsed already."""
    expression = ast.unparse(node)
    if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name) or not node.args:
        raise TranslationError(where, 1, f"{expression!r} is not a measure")
    name = node.func.id
    target, *rest = node.args
    table_key, _, column = ast.unparse(target).partition(".")
    if table_key not in tables:
        raise TranslationError(where, 1, f"there is no table {table_key!r}")
    table = tables[table_key]
    share = 0.5
    if name == "percentile":
        first, *rest = rest
        share = float(ast.literal_eval(first))
    if name not in ("count", "total", "median", "percentile", "latest", "used", "attention", "bare"):
        raise TranslationError(where, 1, f"there is no measure {name!r}")
    tests = tuple(_test(part, table, where) for part in rest)
    if column and column not in table.by_key:
        raise TranslationError(where, 1, f"there is no column {table_key}.{column}")
    return Measure(name, table, column, share, tests)


def _test(node: ast.expr, table: Table, where: str) -> Test:
    if isinstance(node, ast.Compare) and isinstance(node.left, ast.Name) and len(node.ops) == 1:
        sign = COMPARISONS.get(type(node.ops[0]), "")
        side = node.comparators[0]
        if node.left.id in table.by_key and sign in ("=", *PYTHON):
            if isinstance(side, ast.Name) and side.id == "key":
                return Test(node.left.id, sign, None)
            if isinstance(side, ast.Attribute) and is_own(side):
                return Test(node.left.id, sign, None, side.attr)
            if isinstance(side, ast.Constant) and isinstance(side.value, int | float | str):
                return Test(node.left.id, sign, side.value)
    raise TranslationError(where, 1, f"{ast.unparse(node)!r} is not a test of a measure")


def _criterion(test: Test, key: str) -> str:
    if test.value is None:
        return f'"{test.sign}"&{key}'
    return f'"{test.sign}{test.value}"' if isinstance(test.value, str) else f'"{test.sign}{test.value:g}"'


def _literal(value: float | str | None, key: str) -> str:
    if value is None:
        return key
    return f'"{value}"' if isinstance(value, str) else number_piece(value).text
