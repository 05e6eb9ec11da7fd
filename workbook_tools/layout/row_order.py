"""Numbers that sort rows by where they point, so that the k-th row of a group is found by SMALL in a whole column.

Such a number is the row on its sheet that a reference points to, times a step, plus a number of the row's own: a day, a
row, seconds. SMALL and COUNTIF answer from it what would otherwise take an array formula over the whole column.
"""

from __future__ import annotations

import ast
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

from workbook_tools.errors import TranslationError
from workbook_tools.layout.expression_trees import is_number, parsed
from workbook_tools.layout.model import Column, Table

# Whole numbers up to ten million: days and rows; the greatest sum, 1,048,576 times that, is exact in a float.
# Values of a list stand in its first few hundred rows: with the smaller step seconds keep their decimals.
STEPS = {"reference": 1e7, "list": 1e5}


def step_of(reference: Column) -> float:
    """What lies between the numbers of two groups."""
    return STEPS["reference" if reference.kind == "reference" else "list"]


def order_parts(node: ast.Call, table: Table, where: str) -> tuple[str, str]:
    """Keys of the two columns of `order(reference, number)`; raises TranslationError where they are none."""
    names = [argument.id for argument in node.args if isinstance(argument, ast.Name) and argument.id in table.by_key]
    if len(node.args) != 2 or len(names) != 2 or not table.by_key[names[0]].to:
        raise TranslationError(where, 1, f"{ast.unparse(node)!r}: a column that points somewhere and a number")
    return names[0], names[1]


def ordered_by(table: Table, key: str, where: str) -> Column:
    """The column by whose target an order column sorts; raises TranslationError for any other column."""
    node = parsed(table.by_key[key].expression, where) if table.by_key[key].expression else None
    if not isinstance(node, ast.Call) or ast.unparse(node.func) != "order":
        raise TranslationError(where, 1, f"{table.key}.{key} is no column of order(...)")
    return table.by_key[order_parts(node, table, where)[0]]


def order(position: float | None, number: object, step: float) -> float | None:
    """The number that sorts a row; None where it points nowhere, or the number is none or past the step."""
    if position is None or not is_number(number) or not 0 <= number < step:
        return None
    return position * step + number


@dataclass(frozen=True)
class Group:
    """The numbers of one group among all numbers of a column, as SMALL and COUNTIF find them."""

    codes: Sequence[float]  # sorted
    position: float
    step: float

    @property
    def start(self) -> float:
        return self.position * self.step

    @property
    def end(self) -> float:
        return (self.position + 1) * self.step

    def nth(self, number: float) -> float | None:
        """The number-th smallest; None past the group's end."""
        return self._at(bisect_left(self.codes, self.start) + int(number))

    def before(self, limit: float) -> float | None:
        """The greatest below a limit."""
        return self._at(bisect_left(self.codes, self.start + limit))

    def latest(self) -> float | None:
        return self._at(bisect_left(self.codes, self.end))

    def percentile(self, share: float) -> float | None:
        """The value below which a share lies, interpolated as PERCENTILE does it."""
        first, last = bisect_left(self.codes, self.start), bisect_left(self.codes, self.end)
        if first == last:
            return None
        place = share * (last - first - 1)
        low = self.codes[first + int(place)]
        high = self.codes[first + min(int(place) + 1, last - first - 1)]
        return low - self.start + (high - low) * (place - int(place))

    def _at(self, count: int) -> float | None:
        code = self.codes[count - 1] if 0 < count <= len(self.codes) else None
        return code - self.start if code is not None and self.start <= code < self.end else None
