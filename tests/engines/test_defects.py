"""Each fault of an engine that a comparison makes room for, shown alone, so that no fault of ours hides behind it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.formula import ArrayFormula

from tests.engines.defects import MENDED
from tests.engines.readers import (
    Cell,
    Cells,
    Failure,
    by_formualizer,
    by_gnumeric,
    by_hyperformula,
    by_ironcalc,
    exceljs_rules,
    for_hyperformula,
)
from tests.prepare import EnginePrograms

PLACE = ("Sheet", "A1")


def hyperformula(engines: EnginePrograms, formula: str, mended: bool, **others: Any) -> Any:
    cells: Cells = {PLACE: Cell(formula, None)}
    cells |= {("Sheet", address): Cell(None, value) for address, value in others.items()}
    return by_hyperformula(cells, engines, mended=mended).get(PLACE)


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """Formulas that some engines compute wrongly, beside the numbers that they point to."""
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    sheet.title = "Sheet"
    for row, (kind, value) in enumerate([("a", 1), ("a", 3), ("b", 50)], start=1):
        sheet.cell(row, 1, kind)
        sheet.cell(row, 2, value)
    sheet["D1"] = "=1+1"
    sheet["E1"] = "=_xlfn.ISFORMULA(D1)"
    sheet["E2"] = "=_xlfn.ISFORMULA(B1)"
    sheet["F1"] = ArrayFormula("F1", '=MEDIAN(IF($A$1:$A$3="a",$B$1:$B$3))')
    sheet["G1"] = "=MEDIAN($B$1:$B$3)"
    workbook.save(tmp_path / "book.xlsx")
    return tmp_path / "book.xlsx"


PLACES: Cells = {("Sheet", address): Cell("", None) for address in ("D1", "E1", "E2", "F1", "G1")}


def test_hyperformula_cuts_towards_zero(engines: EnginePrograms) -> None:
    assert hyperformula(engines, "INT(-2.5)", mended=False) == -2
    assert hyperformula(engines, "INT(-2.5)", mended=True) == -3
    for whole in (True, False):
        assert hyperformula(engines, "INT(2.5)", mended=whole) == 2


def test_hyperformula_asks_for_a_fifth_argument(engines: EnginePrograms) -> None:
    """One hit in a sample of four, eight marked of twenty: 8 * C(12, 3) / C(20, 4) = 1760 / 4845."""
    assert isinstance(hyperformula(engines, "HYPGEOMDIST(1,4,8,20)", mended=False), Failure)
    assert hyperformula(engines, "HYPGEOMDIST(1,4,8,20)", mended=True) == pytest.approx(1760 / 4845, rel=1e-12)
    assert hyperformula(engines, "HYPGEOMDIST(5,4,8,20)", mended=True) == 0


def test_hyperformula_knows_a_small_e_only(engines: EnginePrograms) -> None:
    """The feed writes it so; a large one is what files hold."""
    assert for_hyperformula('1E-09+2.5E+3&"1E3 in a text"') == '1e-09+2.5e+3&"1E3 in a text"'
    assert for_hyperformula("_xlfn.ISFORMULA(E3)+AE10") == "ISFORMULA(E3)+AE10"
    assert hyperformula(engines, "2.5E+3", mended=True) == 2500


def test_hyperformula_gets_texts_as_texts(engines: EnginePrograms) -> None:
    assert hyperformula(engines, "B1", mended=True, B1="0012") == "0012"
    assert hyperformula(engines, "B1", mended=True, B1="=1+1") == "=1+1"
    assert hyperformula(engines, "B1", mended=True, B1="'quoted") == "'quoted"


def test_every_mended_function_is_shown() -> None:
    assert set(MENDED) == {"INT", "HYPGEOMDIST", "ISFORMULA"}


def test_formualizer_sees_no_formula(book: Path, engines: EnginePrograms) -> None:
    found, others = by_formualizer(book, mended=False), [by_ironcalc(book, PLACES), by_gnumeric(book, engines)]
    assert found["Sheet", "E1"] in (False, 0)
    assert all(one["Sheet", "E1"] in (True, 1) for one in others)
    assert all(one["Sheet", "E2"] in (False, 0) for one in (found, *others))


def test_exceljs_keeps_a_rule_for_each_cell(tmp_path: Path, engines: EnginePrograms) -> None:
    """A rule down to the end of a column is a million entries; so the files are read without their rules."""
    workbook = openpyxl.Workbook()
    rule = DataValidation(type="whole", operator="greaterThan", formula1="0")
    rule.add("A1:A5000")
    workbook.active.add_data_validation(rule)
    workbook.save(tmp_path / "rules.xlsx")
    assert exceljs_rules(tmp_path / "rules.xlsx", engines) == 5000
