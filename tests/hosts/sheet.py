"""Puts samples into cells, and compares what an engine answers with what Python answers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from openpyxl.utils import get_column_letter

from tests.hosts.gaps import expected
from tests.hosts.samples import Arguments, Outcome, Sample
from tests.support.plain_workbook import CellContent
from workbook_tools.functions.catalogue import Entry

RELATIVE = 1e-9
ABSOLUTE = 1e-12
SHOWN = 5


@dataclass(frozen=True)
class Call:
    """One sample in its row of a sheet."""

    sample: Sample
    operands: tuple[str, ...]

    def text(self, name: str) -> str:
        return f"{name}({','.join(self.operands)})"


def lay_out(samples: Sequence[Sample]) -> tuple[dict[str, CellContent], list[Call]]:
    """Cells that hold the arguments, one row a sample, and the calls that refer to them; None leaves its cell blank."""
    cells: dict[str, CellContent] = {}
    calls = []
    for row, sample in enumerate(samples, 1):
        column = 1
        operands = []
        for argument in sample.arguments:
            items = argument if isinstance(argument, tuple) else (argument,)
            places = [f"{get_column_letter(column + number)}{row}" for number in range(len(items))]
            column += len(items)
            for place, item in zip(places, items, strict=True):
                assert item is None or isinstance(item, int | float | str)
                cells[place] = item
            operands.append(f"{places[0]}:{places[-1]}" if isinstance(argument, tuple) else places[0])
        calls.append(Call(sample, tuple(operands)))
    return cells, calls


def same(should: Outcome, actual: object) -> bool:
    """The same number, or the same kind of error."""
    if isinstance(should, str) or isinstance(actual, str):
        return should == actual
    if isinstance(should, list):
        return (
            isinstance(actual, list)
            and len(should) == len(actual)
            and all(
                same(x, y) for one, other in zip(should, actual, strict=True) for x, y in zip(one, other, strict=True)
            )
        )
    return isinstance(actual, int | float) and math.isclose(should, actual, rel_tol=RELATIVE, abs_tol=ABSOLUTE)


def disagreements(host: str, found: Entry, calls: Sequence[Arguments], answers: Sequence[object]) -> list[str]:
    """A sentence for each call that a host answers otherwise than Python."""
    sentences = []
    for arguments, answer in zip(calls, answers, strict=True):
        should = expected(host, found, arguments)
        if not same(should, answer):
            sentences.append(f"{found.name}{arguments}: {host} answers {answer!r}, Python {should!r}")
    more = len(sentences) - SHOWN
    return [*sentences[:SHOWN], *([f"and {more} more"] if more > 0 else [])]
