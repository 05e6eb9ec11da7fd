"""Faults of the engines themselves that cells of ours meet, each with its reason; `test_defects.py` shows each alone.

Two ways to leave one out of a comparison, both as narrow as the fault:

MENDED     functions of HyperFormula that are replaced when it computes (`hyperformula_results.js`)
DEFECTS    formulas that an engine computes wrongly: a cell with one, and a cell that points to such a cell, may differ
"""

from __future__ import annotations

import re
from collections.abc import Collection
from typing import NamedTuple

from openpyxl.formula import Tokenizer
from openpyxl.utils import coordinate_to_tuple, range_boundaries

from tests.engines.readers import Cells, Place

MENDED = {
    "INT": "cuts towards zero, so that INT(-2.5) is -2; the formats' standards and the others say -3",
    "HYPGEOMDIST": "asks for a fifth argument, which only the newer HYPGEOM.DIST has",
}


class Defect(NamedTuple):
    """What an engine computes wrongly, as a pattern of the formula."""

    engine: str
    formula: str
    reason: str


DEFECTS = (
    Defect("formualizer", r"\bISFORMULA\(", "answers FALSE of a cell that holds a formula"),
    Defect(
        "ironcalc", r"\b(MEDIAN|PERCENTILE)\(IF\(", "takes IF of an array for IF of one cell, also in an array formula"
    ),
)


def unexcused(engine: str, cells: Cells, differing: Collection[Place]) -> list[Place]:
    """The cells among those that differ whose difference no defect of the engine explains."""
    patterns = [re.compile(defect.formula) for defect in DEFECTS if defect.engine == engine]
    formulas = {place: cells[place].formula or "" for place in differing}
    excused = {place for place, text in formulas.items() if any(pattern.search(text) for pattern in patterns)}
    while more := {p for p in differing if p not in excused and _points_to(p[0], formulas[p], excused)}:
        excused |= more
    return [place for place in differing if place not in excused]


def _points_to(sheet: str, formula: str, places: Collection[Place]) -> bool:
    """Whether a formula names a cell or a range that one of the cells lies in."""
    for token in Tokenizer(f"={formula}").items:
        if token.type != "OPERAND" or token.subtype != "RANGE":
            continue
        there, _, area = token.value.rpartition("!")
        named = there.strip("'").replace("''", "'") or sheet
        if not re.fullmatch(r"[$A-Z0-9:]+", area):
            continue  # a name; none that a cell uses stands for a formula
        left, top, right, bottom = (edge or 0 for edge in range_boundaries(area))
        for place, (row, column) in ((p, coordinate_to_tuple(p[1])) for p in places if p[0] == named):
            if left <= column <= (right or column) and top <= row <= (bottom or row) and place:
                return True
    return False
