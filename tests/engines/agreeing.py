"""When what a reader or an engine found is what the file says; faults are named by their cells."""

from __future__ import annotations

import math
from typing import Any

from tests.engines.readers import Cell, Cells, Results

CLOSE = 1e-9
MILLISECOND = 1 / 86_400_000  # what a moment in JavaScript is whole in, in days
SHOWN = 12


def same(one: Any, other: Any, close: float = CLOSE) -> bool:
    """Whether two values are the same; some engines give a truth value as 1 or 0, and nothing for an empty text."""
    one, other = (float(v) if isinstance(v, bool) else "" if v is None else v for v in (one, other))
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=close, abs_tol=close)
    return bool(one == other)


def _shown(formula: str) -> str:
    """A formula as a spreadsheet shows it: a file marks functions that are newer than the format."""
    return formula.replace("_xlfn.", "")


def check_read(cells: Cells, found: Cells, close: float = CLOSE) -> None:
    """A reader found what the parts say: values, stored results, and formulas where the part spells them out."""
    nothing = Cell(None, None)
    wrong = [
        f"{sheet}!{address}: {cell} is read as {found.get((sheet, address), nothing)}"
        for (sheet, address), cell in cells.items()
        if not same(cell.value, found.get((sheet, address), nothing).value, close)
        or (cell.formula and found.get((sheet, address), nothing).formula not in (cell.formula, _shown(cell.formula)))
        or (cell.formula is None) != (found.get((sheet, address), nothing).formula is None)
    ]
    more = [place for place in found.keys() - cells.keys() if found[place] not in (nothing, Cell(None, ""))]
    faults = [*wrong, *(f"{sheet}!{address} is not in the file" for sheet, address in more)]
    assert not faults, "\n".join([f"{len(faults)} cells differ", *faults[:SHOWN]])


def check_computed(engine: str, cells: Cells, results: Results) -> None:
    """An engine computed what is stored."""
    formulas = {place: cell for place, cell in cells.items() if cell.formula is not None}
    wrong = [place for place, cell in formulas.items() if not same(cell.value, results.get(place))]
    shown = [f"{s}!{a}: stored {cells[s, a].value!r}, computed {results.get((s, a))!r}" for s, a in wrong[:SHOWN]]
    assert not wrong, "\n".join([f"{engine}: {len(wrong)} of {len(formulas)} results differ", *shown])
