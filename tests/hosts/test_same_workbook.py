"""One workbook with names and calls, in LibreOffice with and without the extension, saved there and back."""

from __future__ import annotations

import zipfile
from pathlib import Path

import ironcalc
import openpyxl
import pytest
from openpyxl.worksheet.formula import ArrayFormula

from tests.support.office import Office, OfficeError
from workbook_tools.functions.formulas.bath import steps
from workbook_tools.hosts.workbook_names import put_names

CALLS = {"D1": "BATH.MASS(A1,B1)", "E1": "BATH.TOPUP(A1,B1,100,)", "F1": 'STAGE.LEVEL("lost","none","fast")'}
ANSWERS = {"D1": 3.2, "E1": 0.8, "F1": 4.0}
TABLE = {
    f"{letter}{row + 3}": value
    for row, line in enumerate(steps(40, 80, 20, 120))
    for letter, value in zip("ABCDE", line, strict=True)
}
PLAIN = {"A1": 40.0, "B1": 80.0, "C1": 3.2}


@pytest.fixture
def workbook(tmp_path: Path) -> Path:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet["A1"], sheet["B1"], sheet["C1"] = 40, 80, "=A1*B1/1000"
    for place, text in CALLS.items():
        sheet[place] = f"={text}"
    sheet["A3"] = ArrayFormula("A3:E5", "=BATH.STEPS(A1,B1,20,120)")
    book.save(tmp_path / "plain.xlsx")
    (tmp_path / "named.xlsx").write_bytes(put_names(tmp_path / "plain.xlsx")[1])
    return tmp_path / "named.xlsx"


def by_names(path: Path) -> dict[str, object]:
    """What the calls answer where only the names in the workbook are known."""
    model = ironcalc.load_from_xlsx(str(path), "en", "UTC", "en")
    model.evaluate()
    return {place: model.get_cell_value(0, 1, "ABCDEF".index(place[0]) + 1) for place in CALLS}


def names_part(path: Path) -> str:
    with zipfile.ZipFile(path) as package:
        return package.read("xl/workbook.xml").decode("utf-8")


def values(office: Office, path: Path) -> dict[str, object]:
    (sheet,) = office.values(path).values()
    return dict(sheet)


def test_names_alone_compute(workbook: Path) -> None:
    assert by_names(workbook) == pytest.approx(ANSWERS, rel=1e-9)


def test_with_the_extension(workbook: Path, calc: Office) -> None:
    assert values(calc, workbook) == pytest.approx(PLAIN | ANSWERS | TABLE, rel=1e-9)


def test_without_the_extension_only_the_calls_fail(workbook: Path, office: Office) -> None:
    found = values(office, workbook)
    failed = {place for place, value in found.items() if isinstance(value, OfficeError)}
    assert failed == set(CALLS) | set(TABLE)
    # a call of a name it knows but cannot compute is 509, "missing operator"; a call of nothing it knows is #NAME?
    assert {str(found[place]) for place in failed} == {"#NAME?", "Err:509"}
    assert {place: found[place] for place in PLAIN} == pytest.approx(PLAIN)


@pytest.mark.parametrize("kinds", [["xlsx"], ["ods"], ["ods", "xlsx"], ["xlsx", "ods", "xlsx"]])
def test_saved_by_libreoffice_with_the_extension(workbook: Path, calc: Office, kinds: list[str]) -> None:
    path = saved(workbook, calc, kinds)
    assert values(calc, path) == pytest.approx(PLAIN | ANSWERS | TABLE, rel=1e-9)
    if path.suffix == ".xlsx":
        assert "_xlfn.lambda(" in names_part(path)  # which Excel does not read
        (path.with_name("again.xlsx")).write_bytes(put_names(path)[1])
        assert by_names(path.with_name("again.xlsx")) == pytest.approx(ANSWERS, rel=1e-9)
        assert "_xlfn.lambda(" not in names_part(path.with_name("again.xlsx"))


@pytest.mark.parametrize("kind", ["xlsx", "ods"])
def test_saved_by_libreoffice_without_the_extension(workbook: Path, calc: Office, office: Office, kind: str) -> None:
    """Someone without the extension may save the workbook in between; the calls are still there afterwards."""
    path = saved(workbook, office, [kind])
    assert values(calc, path) == pytest.approx(PLAIN | ANSWERS | TABLE, rel=1e-9)
    if path.suffix == ".xlsx":
        (path.with_name("again.xlsx")).write_bytes(put_names(path)[1])
        assert by_names(path.with_name("again.xlsx")) == pytest.approx(ANSWERS, rel=1e-9)


def saved(path: Path, office: Office, kinds: list[str]) -> Path:
    for number, kind in enumerate(kinds):
        target = path.with_name(f"saved-{number}.{kind}")
        office.convert(path, target, kind)  # type: ignore[arg-type]
        path = target
    return path
