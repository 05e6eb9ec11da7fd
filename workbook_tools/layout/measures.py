"""Figures over a whole table: the measures of the Summary and Start sheets, as cell text and in Python.

A measure is one of

- `count(table, test, ...)`: rows of a log table for which every test holds;
- `total(table.column, test, ..., unless=flag)`: sum of a column over such rows; blank where one of them says yes in
  the column `flag`, so that no sum leaves out a row whose amount is not known;
- `median(table.column, row.place)`, `percentile(table.column, row.place, share)`: over the numbers of the rows that
  point to a place, the row of a key or of another table; the column is one of `order(...)`; blank if there are none;
- `latest(table.column, row.place)`, `nth(table.column, row.place, row.number)`, `before(table.column, row.place,
  row.limit)`: the greatest of such numbers, the so-manieth, the greatest below a limit;
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
from functools import cached_property
from itertools import accumulate
from typing import Any

from workbook_tools.errors import TranslationError
from workbook_tools.functions.texts.cell_text import COMPARISONS
from workbook_tools.layout.expression_trees import is_number, is_own, parsed, same
from workbook_tools.layout.model import Table
from workbook_tools.layout.row_order import Group, ordered_by, step_of

Row = Mapping[str, Any]
TALLIES = ("count", "total")
ORDERED = {"median": 2, "percentile": 3, "latest": 2, "nth": 3, "before": 3}  # with how many arguments
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
    place: str = ""  # of an ordered one: the asking row's column that says whose numbers are meant
    number: str = ""  # which of them, or below what
    step: float = 0
    unless: str = ""  # column in which a row says yes that the sum is not known

    @property
    def ordered(self) -> bool:
        return self.name in ORDERED

    @cached_property
    def asked(self) -> tuple[str, ...]:
        """Columns of the asking row."""
        names = [*(test.own for test in self.tests), self.place, self.number]
        return tuple(dict.fromkeys(name for name in names if name))

    @cached_property
    def asked_numbers(self) -> frozenset[str]:
        """Those of them that have to be numbers."""
        return frozenset({self.place, self.number, *(test.own for test in self.tests if test.sign != "=")} - {""})

    def cell_text(self, key: str, own: Mapping[str, str] | None = None) -> str:
        """Formula text; `key` is the cell of the row's key, `own` the cells of the asking row's columns."""
        cells: Mapping[str | None, str] = {None: key} | dict(own or {})
        if self.ordered:
            return self._ordered_text(cells[self.place], cells[self.number or None])
        if self.name in ("used", "attention"):
            check = self.table.cells("check")
            looks = f'COUNTIF({check},"* *")'  # every reason has several words; what stands above the rows one
            return f'COUNTIF({check},"ok")+{looks}' if self.name == "used" else looks
        if self.name == "bare":
            counts = [self._bare_text(self.table.cells(column.key)) for column in self.table.telling]
            return counts[0] if len(counts) == 1 else f"MAX({','.join(counts)})"
        criteria = ",".join(
            f"{self.table.cells(test.column)},{_criterion(test, cells[test.own or None])}" for test in self.tests
        )
        if self.name == "count":
            return f"COUNTIFS({criteria})"
        total = f"SUMIFS({self.table.cells(self.column)},{criteria})"
        if not self.unless:
            return total
        return f'IF(COUNTIFS({criteria},{self.table.cells(self.unless)},"yes")>0,"",{total})'

    def _bare_text(self, told: str) -> str:
        """Cells filled in one column, less those in rows with a Check text and what stands above the rows."""
        check = self.table.cells("check")
        filled = f'COUNTIFS({told},"<>",{check},'  # this way round, which every engine counts alike
        words = ("ok", "* *", "computed", self.table.by_key["check"].heading)
        return f"COUNTA({told})" + "".join(f'-{filled}"{word}")' for word in words)

    def _ordered_text(self, place: str, number: str) -> str:
        codes, step = self.table.cells(self.column), f"{self.step:.0f}"
        start, end = f"{place}*{step}", f"({place}+1)*{step}"
        below = f'COUNTIF({codes},"<"&{start})'
        if self.name in ("median", "percentile"):
            count = f'COUNTIFS({codes},">="&{start},{codes},"<"&{end})'
            along = f"{self.share:.15g}*({count}-1)"
            low = f"SMALL({codes},{below}+1+INT({along}))"
            high = f"SMALL({codes},{below}+MIN({count},2+INT({along})))"
            return f'IF({count}=0,"",{low}-{start}+({high}-{low})*({along}-INT({along})))'
        which = {
            "latest": f'COUNTIF({codes},"<"&{end})',
            "before": f'COUNTIF({codes},"<"&({start}+{number}))',
            "nth": f"{below}+{number}",
        }[self.name]
        found = f"SMALL({codes},{which})"
        return f'IFERROR(IF(AND({found}>={start},{found}<{end}),{found}-{start},""),"")'

    def of_group(self, codes: Sequence[float], place: float, number: float) -> float | None:
        """An ordered one in Python, over the sorted numbers of the whole column."""
        group = Group(codes, place, self.step)
        if self.name == "nth":
            return group.nth(number)
        if self.name == "before":
            return group.before(number)
        return group.latest() if self.name == "latest" else group.percentile(self.share)

    def value(self, rows: Sequence[Row], key: object, asking: Row | None = None) -> float | None:
        """One that is not ordered, in Python."""
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
        if self.unless and any(same(row.get(self.unless), "yes") for row in chosen):
            return None
        return sum(sorted(float(row[self.column]) for row in chosen if is_number(row.get(self.column))))

    @property
    def runs(self) -> bool:
        """Whether it adds up the rows of a group on one side of a place: all days up to a row's own, for one."""
        if self.name not in ("count", "total") or len(self.tests) != 2 or self.unless:
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


def is_tally(node: ast.expr) -> bool:
    """Whether a part of a column's expression is a figure over a table."""
    return isinstance(node, ast.Call) and ast.unparse(node.func) in (*TALLIES, *ORDERED)


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
    if column and column not in table.by_key:
        raise TranslationError(where, 1, f"there is no column {table_key}.{column}")
    if name in ORDERED:
        return _ordered(name, table, column, rest, where)
    if name not in (*TALLIES, "used", "attention", "bare"):
        raise TranslationError(where, 1, f"there is no measure {name!r}")
    unless = [part.value.id for part in node.keywords if part.arg == "unless" and isinstance(part.value, ast.Name)]
    if len(unless) != len(node.keywords) or (unless and (name != "total" or unless[0] not in table.by_key)):
        raise TranslationError(where, 1, f"{expression!r}: only total takes `unless`, and a column of its own table")
    tests = tuple(_test(part, table, where) for part in rest)
    return Measure(name, table, column, 0.5, tests, unless="".join(unless))


def _ordered(name: str, table: Table, column: str, rest: Sequence[ast.expr], where: str) -> Measure:
    share = 0.5
    if name == "percentile" and len(rest) == 2:
        share = float(ast.literal_eval(rest[1]))
    named = [part.attr for part in rest if isinstance(part, ast.Attribute) and is_own(part)]
    if 1 + len(rest) != ORDERED[name] or len(named) != len(rest) - (name == "percentile"):
        raise TranslationError(where, 1, f"{name} takes a column of order(...) and columns of its own row")
    step = step_of(ordered_by(table, column, where))
    place, number = [*named, ""][:2]
    return Measure(name, table, column, share, (), place, number, step)


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
