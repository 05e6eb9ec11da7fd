"""Every built file computed by other people's engines: every result as it is stored, to a billionth."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.engines.agreeing import check_computed
from tests.engines.files import FILES, LOGS, WITH_FORMULAS
from tests.engines.readers import (
    Cells,
    Failure,
    by_formualizer,
    by_gnumeric,
    by_hyperformula,
    by_ironcalc,
    by_office,
)
from tests.prepare import EnginePrograms
from tests.support.office import Office

FileOf = Callable[[str], Path]
CellsOf = Callable[[str], Cells]


def test_the_files_have_formulas_and_results(cells_of: CellsOf) -> None:
    for name in FILES:
        formulas = [cell for cell in cells_of(name).values() if cell.formula is not None]
        assert (len(formulas) > 100) == (name in WITH_FORMULAS), name
        assert not [cell for cell in formulas if cell.value is None or isinstance(cell.value, Failure)], name
    assert len(LOGS) == 3


QUICK = [name for name in FILES if name != "log of a troubled practice"]  # which takes these engines a minute each


@pytest.mark.parametrize("name", QUICK)
def test_gnumeric_computes(name: str, file_of: FileOf, cells_of: CellsOf, engines: EnginePrograms) -> None:
    check_computed("Gnumeric", cells_of(name), by_gnumeric(file_of(name), engines))


@pytest.mark.parametrize("name", QUICK)
def test_hyperformula_computes(name: str, cells_of: CellsOf, read_of: CellsOf, engines: EnginePrograms) -> None:
    check_computed("HyperFormula", cells_of(name), by_hyperformula(read_of(name), engines))


@pytest.mark.parametrize("name", [name for name in QUICK if name != "empty log"])  # the filled one has its formulas
def test_ironcalc_computes(name: str, file_of: FileOf, cells_of: CellsOf) -> None:
    check_computed("ironcalc", cells_of(name), by_ironcalc(file_of(name), cells_of(name)))


@pytest.mark.parametrize("name", FILES)
def test_formualizer_computes(name: str, file_of: FileOf, cells_of: CellsOf) -> None:
    check_computed("formualizer", cells_of(name), by_formualizer(file_of(name)))


@pytest.mark.parametrize("name", FILES)
def test_libreoffice_computes(name: str, file_of: FileOf, cells_of: CellsOf, office: Office) -> None:
    check_computed("LibreOffice", cells_of(name), by_office(file_of(name), office))
