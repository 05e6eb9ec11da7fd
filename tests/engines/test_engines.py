"""Every built file in other people's readers and engines: nothing refused, values as typed, results as stored."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.engines.defects import unexcused
from tests.engines.files import FILES, LOGS, WITH_FORMULAS, troubled
from tests.engines.readers import (
    Cell,
    Cells,
    Failure,
    Place,
    Results,
    by_formualizer,
    by_gnumeric,
    by_hyperformula,
    by_ironcalc,
    by_office,
    read_by_calamine,
    read_by_exceljs,
)
from tests.prepare import EnginePrograms
from tests.support.office import Office
from workbook_tools.layouts import case_log

CLOSE = 1e-9
MILLISECOND = 1 / 86_400_000  # what a moment in JavaScript is whole in, in days
SHOWN = 12
FileOf = Callable[[str], Path]
CellsOf = Callable[[str], Cells]


def same(one: Any, other: Any, close: float = CLOSE) -> bool:
    """Whether two values are the same; some engines give a truth value as 1 or 0, and nothing for an empty text."""
    one, other = (float(v) if isinstance(v, bool) else "" if v is None else v for v in (one, other))
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=close, abs_tol=close)
    return bool(one == other)


def check_read(cells: Cells, found: Cells, close: float = CLOSE) -> None:
    """A reader found what the parts say: values, stored results, and formulas where the part spells them out."""
    nothing = Cell(None, None)
    wrong = [
        f"{sheet}!{address}: {cell} is read as {found.get((sheet, address), nothing)}"
        for (sheet, address), cell in cells.items()
        if not same(cell.value, found.get((sheet, address), nothing).value, close)
        or (cell.formula and found.get((sheet, address), nothing).formula != cell.formula)
        or (cell.formula is None) != (found.get((sheet, address), nothing).formula is None)
    ]
    more = [place for place in found.keys() - cells.keys() if found[place] not in (nothing, Cell(None, ""))]
    faults = [*wrong, *(f"{sheet}!{address} is not in the file" for sheet, address in more)]
    assert not faults, "\n".join([f"{len(faults)} cells differ", *faults[:SHOWN]])


def check_computed(engine: str, cells: Cells, results: Results) -> None:
    """An engine computed what is stored, but for what its own defects explain."""
    formulas = {place: cell for place, cell in cells.items() if cell.formula is not None}
    differing = [place for place, cell in formulas.items() if not same(cell.value, results.get(place))]
    wrong = unexcused(engine, cells, differing)
    shown = [f"{s}!{a}: stored {cells[s, a].value!r}, computed {results.get((s, a))!r}" for s, a in wrong[:SHOWN]]
    assert not wrong, "\n".join([f"{engine}: {len(wrong)} of {len(formulas)} results differ", *shown])


# ---------------------------------------------------------------------------------------------------- readers


@pytest.mark.parametrize("name", FILES)
def test_exceljs_reads(name: str, file_of: FileOf, cells_of: CellsOf, engines: EnginePrograms) -> None:
    check_read(cells_of(name), _without_merged(read_by_exceljs(file_of(name), engines), cells_of(name)), MILLISECOND)


def _without_merged(found: Cells, cells: Cells) -> Cells:
    """exceljs repeats a merged cell's value in all that it covers; those are not in the file."""
    return {place: cell for place, cell in found.items() if place in cells or cell.formula is not None}


@pytest.mark.parametrize("name", FILES)
def test_xlsx_reads(name: str, cells_of: CellsOf, read_of: CellsOf) -> None:
    check_read(cells_of(name), read_of(name))


@pytest.mark.parametrize("name", FILES)
def test_calamine_reads(name: str, file_of: FileOf, cells_of: CellsOf) -> None:
    found = {place: Cell(None, value) for place, value in read_by_calamine(file_of(name)).items()}
    check_read({place: Cell(None, cell.value) for place, cell in cells_of(name).items()}, found)


def typed(name: str) -> dict[Place, Any]:
    """What was typed into a log, from the rows themselves and the places of the layout."""
    assert name == "log of a troubled practice"
    rows = troubled().rows
    return {
        (table.sheet, f"{table.letters[key]}{table.first_row + number}"): value
        for table in case_log().log_tables()
        for number, row in enumerate(rows[table.key])
        for key, value in row.items()
        if value is not None
    }


@pytest.mark.parametrize("reader", ["exceljs", "xlsx", "calamine"])
def test_what_was_typed(reader: str, file_of: FileOf, read_of: CellsOf, engines: EnginePrograms) -> None:
    name = "log of a troubled practice"
    if reader == "calamine":
        found = read_by_calamine(file_of(name))
    else:
        cells = read_of(name) if reader == "xlsx" else read_by_exceljs(file_of(name), engines)
        found = {place: cell.value for place, cell in cells.items()}
    wanted = typed(name)
    wrong = [
        f"{sheet}!{address}: {value!r} is read as {found.get((sheet, address))!r}"
        for (sheet, address), value in wanted.items()
        if not same(float(value) if isinstance(value, int) else value, found.get((sheet, address)), MILLISECOND)
    ]
    assert len(wanted) > 300
    assert not wrong, "\n".join([f"{len(wrong)} of {len(wanted)} values differ", *wrong[:SHOWN]])


# ---------------------------------------------------------------------------------------------------- engines


def test_the_files_have_formulas_and_results(cells_of: CellsOf) -> None:
    for name in FILES:
        formulas = [cell for cell in cells_of(name).values() if cell.formula is not None]
        assert (len(formulas) > 100) == (name in WITH_FORMULAS), name
        assert not [cell for cell in formulas if cell.value is None or isinstance(cell.value, Failure)], name
    assert len(LOGS) == 3


@pytest.mark.parametrize("name", FILES)
def test_gnumeric_computes(name: str, file_of: FileOf, cells_of: CellsOf, engines: EnginePrograms) -> None:
    check_computed("Gnumeric", cells_of(name), by_gnumeric(file_of(name), engines))


@pytest.mark.parametrize("name", FILES)
def test_hyperformula_computes(name: str, cells_of: CellsOf, read_of: CellsOf, engines: EnginePrograms) -> None:
    check_computed("HyperFormula", cells_of(name), by_hyperformula(read_of(name), engines))


@pytest.mark.parametrize("name", FILES)
def test_ironcalc_computes(name: str, file_of: FileOf, cells_of: CellsOf) -> None:
    check_computed("ironcalc", cells_of(name), by_ironcalc(file_of(name), cells_of(name)))


@pytest.mark.parametrize("name", FILES)
def test_formualizer_computes(name: str, file_of: FileOf, cells_of: CellsOf) -> None:
    check_computed("formualizer", cells_of(name), by_formualizer(file_of(name)))


@pytest.mark.parametrize("name", FILES)
def test_libreoffice_computes(name: str, file_of: FileOf, cells_of: CellsOf, office: Office) -> None:
    check_computed("LibreOffice", cells_of(name), by_office(file_of(name), office))
