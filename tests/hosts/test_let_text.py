"""Bodies translated with LET: steps, functions that call functions, branches; computed by an engine that knows LET."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.hosts.engines import with_ironcalc
from tests.hosts.sheet import same
from workbook_tools.errors import TranslationError
from workbook_tools.functions.texts.cell_text import Piece, body_piece
from workbook_tools.functions.texts.let_text import let_piece

FACTOR = 3


def inner(x: float, y: float) -> float:
    z = x * y + 1
    if z < 0:
        w = -z
        return math.sqrt(w)
    return z / (z + 1)


def steps(x: float, y: float) -> float:
    """A step that hides an argument, and one name for two values."""
    x = x + FACTOR
    z = inner(x - y, inner(y, x))
    z = z * z - x
    return -(z**2) if z > y else z


def grows(x: float, y: float) -> float:
    a = x + y + x * y
    a = a + a * a
    a = a + a * a
    a = a + a * a
    a = a + a * a
    a = a + a * a
    a = a + a * a
    a = a + a * a
    a = a + a * a
    a = a + a * a
    return a - math.floor(a)


def loops(x: float, y: float) -> float:
    while x < y:
        x += 1
    return x


def endless(x: float, y: float) -> None:
    """Nothing comes out of it."""


VALUES = [(1.0, 2.0), (-3.0, 0.5), (0.25, -4.0), (7.5, 7.5), (0.0, 0.0), (-0.125, 12.0)]


@pytest.mark.parametrize("function", [inner, steps])
def test_the_same_as_python_and_as_plain_cell_text(function: Callable[[float, float], float], tmp_path: Path) -> None:
    cells = {
        f"{letter}{row}": value for row, pair in enumerate(VALUES, 1) for letter, value in zip("AB", pair, strict=True)
    }
    operands = [[Piece(f"A{row}"), Piece(f"B{row}")] for row in range(1, len(VALUES) + 1)]
    texts = [let_piece(function, pair).text for pair in operands] + [
        body_piece(function, pair).text for pair in operands
    ]
    answers = with_ironcalc(texts, cells, tmp_path)
    expected = [function(*pair) for pair in VALUES] * 2
    assert [(e, a) for e, a in zip(expected, answers, strict=True) if not same(e, a)] == []


def test_steps_stay_short() -> None:
    text = let_piece(grows, [Piece("A1"), Piece("B1")]).text
    assert text.startswith("_xlfn.LET(_xlpm.a_1,A1+B1+A1*B1,_xlpm.a_2,_xlpm.a_1+_xlpm.a_1*_xlpm.a_1,")
    assert len(text) < 600


@pytest.mark.parametrize(
    ("function", "reason"), [(loops, "'while x < y:' has no equal"), (endless, "ends without a return")]
)
def test_what_has_no_equal_is_refused(function: Callable[[float, float], object], reason: str) -> None:
    with pytest.raises(TranslationError, match=reason):
        let_piece(function, [Piece("A1"), Piece("B1")])


def test_number_of_arguments() -> None:
    with pytest.raises(TranslationError, match="takes 2 arguments, 1 were given"):
        let_piece(inner, [Piece("A1")])
