"""The LibreOffice of other tests: it calculates, tells errors apart, trusts no stored result, survives a crash."""

from __future__ import annotations

import math
import os
import re
import signal
import subprocess
import sys
import zipfile
from datetime import date
from pathlib import Path

import pytest
from openpyxl import Workbook
from openpyxl.worksheet.table import Table
from PIL import Image
from python_calamine import load_workbook

from tests.prepare import ROOT
from tests.support.office import Office, OfficeError, OfficeFailedError, OfficeTimeoutError
from tests.support.plain_workbook import CellContent, Formula, write

NOT_AVAILABLE = OfficeError(32767, "#N/A")
VALUE = OfficeError(519, "#VALUE!")
NUMBER = OfficeError(503, "#NUM!")
DIVISION = OfficeError(532, "#DIV/0!")
NAME = OfficeError(525, "#NAME?")
ONE_OF_EACH_ERROR = {
    "NA()": NOT_AVAILABLE,
    '"a"+1': VALUE,
    "ASIN(2)": NUMBER,
    "1/0": DIVISION,
    "NOSUCHFUNCTION(1)": NAME,
}


@pytest.fixture(scope="module")
def own_office(office: Office):
    """A LibreOffice that a test may ill-treat; depends on `office` so that a missing one fails in the same words."""
    with Office(seconds=5) as own:
        yield own


def change_part(source: Path, target: Path, part: str, old: str, new: str) -> None:
    """Copy a package with one text in one part replaced; the text must be there exactly once."""
    with zipfile.ZipFile(source) as package, zipfile.ZipFile(target, "w") as changed:
        for info in package.infolist():
            content = package.read(info)
            if info.filename == part:
                text = content.decode("utf-8")
                assert text.count(old) == 1
                content = text.replace(old, new).encode("utf-8")
            changed.writestr(info, content)


@pytest.mark.parametrize(
    ("formula", "expected"),
    [
        ("1+2*3", 7.0),
        ("=A1*2", 25.0),
        ("ROUND(2.5,0)", 3.0),  # spreadsheets round halves away from zero
        ("ROUND(-2.5,0)", -3.0),
        ("COMBIN(52,5)", 2598960.0),
        ("EXP(1)", math.e),
        ('IF(B1="carp","yes","no")', "yes"),
        ('B1&" & <"&D1&">"', "carp & <=1+1>"),
        ("C1", 1.0),
        ("ISNUMBER(C1)", 1.0),  # a truth value is a number here; Excel says FALSE
        ("ISBLANK(E1)", 1.0),
        ("E1", 0.0),
        ('""', ""),
        ("F1-DATE(2026,2,28)", 1.0),
        ("SUMPRODUCT({1,2,3},{4,5,6})", 32.0),
    ],
)
def test_known_formulas(office: Office, formula: str, expected: float | str) -> None:
    cells: dict[str, CellContent] = {
        "A1": 12.5,
        "B1": "carp",
        "C1": True,
        "D1": "=1+1",
        "E1": None,
        "F1": date(2026, 3, 1),
    }
    assert office.evaluate([formula], cells) == [expected]


def test_numbers_keep_every_digit(office: Office) -> None:
    numbers = [0.1 + 0.2, 1 / 3, math.pi * 1e-9, 123456789.12345679, 5e-324, 1.7976931348623157e308]
    cells: dict[str, CellContent] = {f"A{row}": number for row, number in enumerate(numbers, 1)}
    assert office.evaluate([f"A{row}" for row in range(1, 5)], cells) == numbers[:4]
    for impossible in (math.nan, math.inf):
        with pytest.raises(ValueError, match="A1: a cell cannot hold"):
            office.evaluate(["A1"], {"A1": impossible})


def test_inputs_may_not_stand_where_the_formulas_go(office: Office) -> None:
    with pytest.raises(ValueError, match="left of column AAA"):
        office.evaluate(["1"], {"AAA1": 1})
    with pytest.raises(ValueError, match="no cell address"):
        office.evaluate(["1"], {"a1": 1})


def test_errors_are_told_apart(office: Office) -> None:
    assert office.evaluate(list(ONE_OF_EACH_ERROR)) == list(ONE_OF_EACH_ERROR.values())
    assert office.evaluate(["A1"], {"A1": "#N/A"}) == ["#N/A"], "a text that looks like an error is a text"


def test_many_errors_are_told_apart_like_few(office: Office, tmp_path: Path) -> None:
    formulas = list(ONE_OF_EACH_ERROR) * 100 + ["A1"]
    assert office.evaluate(formulas, {"A1": 7}) == list(ONE_OF_EACH_ERROR.values()) * 100 + [7.0]

    book = Workbook()
    sheet = book.active
    sheet.title = "Fish's & such"
    for row, formula in enumerate(formulas, 1):
        sheet.cell(row, 2, f"={formula}")
    sheet["A1"] = 7
    book.create_sheet("error numbers")["A1"] = "=NA()"
    book.save(tmp_path / "open.xlsx")
    book.security.lockStructure = True  # no sheet can be added: the errors have to be asked one by one
    book.save(tmp_path / "locked.xlsx")
    read = office.values(tmp_path / "open.xlsx")
    assert read == office.values(tmp_path / "locked.xlsx")
    assert read["error numbers"] == {"A1": NOT_AVAILABLE}
    assert [read["Fish's & such"][f"B{row}"] for row in range(1, 6)] == list(ONE_OF_EACH_ERROR.values())


def test_five_thousand_formulas_at_once(office: Office) -> None:
    count = 5000
    cells: dict[str, CellContent] = {f"A{row}": row / 7 for row in range(1, count + 1)}
    answers = office.evaluate([f"A{row}*2+$B$1" for row in range(1, count + 1)], {**cells, "B1": 1})
    assert answers == pytest.approx([row / 7 * 2 + 1 for row in range(1, count + 1)], rel=1e-15)


def test_table_results(office: Office) -> None:
    answer = office.evaluate_table("A1:B2*10", 2, 3, {"A1": 1, "B1": 2, "A2": 3, "B2": 4})
    assert answer == [[10.0, 20.0, NOT_AVAILABLE], [30.0, 40.0, NOT_AVAILABLE]]


def test_stored_wrong_results_are_recalculated(office: Office, tmp_path: Path) -> None:
    made, wrong = tmp_path / "made.xlsx", tmp_path / "wrong.xlsx"
    write(made, {"A1": 40, "A2": Formula("A1*80/1000")})
    change_part(made, wrong, "xl/worksheets/sheet1.xml", "</f>", "</f><v>32</v>")
    assert load_workbook(wrong).get_sheet_by_index(0).to_python() == [[40.0], [32.0]]
    assert office.values(wrong) == {"Sheet1": {"A1": 40.0, "A2": 3.2}}
    assert office.formula_cells(wrong) == {"Sheet1": {"A2": ("=A1*80/1000", 3.2)}}

    right = office.convert(wrong, tmp_path / "right.ods", "ods")
    assert load_workbook(right).get_sheet_by_index(0).to_python() == [[40.0], [3.2]]
    wrong = tmp_path / "wrong.ods"
    change_part(right, wrong, "content.xml", 'office:value="3.2"', 'office:value="32"')
    assert load_workbook(wrong).get_sheet_by_index(0).to_python() == [[40.0], [32.0]]
    assert office.values(wrong) == {"Sheet1": {"A1": 40.0, "A2": 3.2}}


def test_scattered_cells_and_sheets(office: Office, tmp_path: Path) -> None:
    book = Workbook()
    book.active.title = "Near"
    far = book.create_sheet("Far apart")
    expected = {}
    for step in range(60):
        cell = far.cell(1 + step * 2, 1 + step % 7 * 2, step)
        expected[cell.coordinate] = float(step)
    far["XFD1048576"] = "=A1+5"
    far["C9"] = '=IF(A1=0,"","x")'
    expected |= {"XFD1048576": 5.0, "C9": ""}
    book.save(tmp_path / "book.xlsx")
    read = office.values(tmp_path / "book.xlsx")
    assert list(read) == ["Near", "Far apart"]
    assert read["Near"] == {}
    assert read["Far apart"] == expected


def test_table_references_work_in_the_long_form_only(office: Office, tmp_path: Path) -> None:
    book = Workbook()
    sheet = book.active
    sheet.append(["Volume", "Mass", "Short form"])
    for row in (2, 3):
        sheet.append([row * 10, "=Log[[#This Row],[Volume]]*2", "=Log[@Volume]*2"])
    sheet.add_table(Table(displayName="Log", ref="A1:C3"))
    sheet["E1"] = "=SUM(Log[Mass])"
    book.save(tmp_path / "table.xlsx")
    read = office.values(tmp_path / "table.xlsx")["Sheet"]
    assert (read["B2"], read["B3"], read["E1"]) == (40.0, 60.0, 100.0)
    assert isinstance(read["C2"], OfficeError)


def test_converting_writes_files_that_read_the_same(office: Office, tmp_path: Path) -> None:
    source = tmp_path / "source.xlsx"
    write(source, {"A1": "carp", "B1": 2.5, "C1": Formula("B1*2"), "D1": Formula("NA()")})
    before, listing = source.read_bytes(), sorted(tmp_path.iterdir())
    expected = {"A1": "carp", "B1": 2.5, "C1": 5.0, "D1": NOT_AVAILABLE}
    assert office.values(source)["Sheet1"] == expected
    assert (source.read_bytes(), sorted(tmp_path.iterdir())) == (before, listing), "reading leaves no trace"
    for kind in ("xlsx", "ods"):
        assert office.values(office.convert(source, tmp_path / f"target.{kind}", kind))["Sheet1"] == expected
    assert office.convert(source, tmp_path / "target.pdf", "pdf").read_bytes().startswith(b"%PDF-")
    with pytest.raises(ValueError, match="cannot save as 'csv'"):
        office.convert(source, tmp_path / "target.csv", "csv")
    with pytest.raises(ValueError, match="save to another"):
        office.convert(source, source, "xlsx")


def test_rendering_gives_the_pages_in_order(office: Office, tmp_path: Path) -> None:
    book = Workbook()
    book.active.append(["first page"])
    for page in range(11):
        sheet = book.create_sheet(f"Page {page + 2}")
        for row in range(1, page + 3):
            sheet.append([f"line {row} with ink"])
    book.save(tmp_path / "pages.xlsx")
    folder = tmp_path / "pictures"
    folder.mkdir()
    (folder / "pages-99.png").write_bytes(b"left from before")
    pages = office.render(tmp_path / "pages.xlsx", folder, dpi=30)
    ink = []
    for page in pages:
        with Image.open(page) as picture:
            ink.append(sum(255 - value for value in picture.convert("L").tobytes()))
    assert len(pages) == 12
    assert ink[0] > 0
    assert ink[1:] == sorted(ink[1:]), "every page has one line more than the page before"


def test_typing_follows_the_habits_of_the_locale(office: Office, tmp_path: Path) -> None:
    source = tmp_path / "source.xlsx"
    write(source, {"A1": 1, "A9": "goes away"})
    before = source.read_bytes()
    typed = {
        "A2": "12.5",
        "A3": "1,5",
        "A4": "2026-03-01",
        "A5": "'0012",
        "A6": "=A2*2",
        "A7": "true",
        "A8": "6:00",
        "A9": "",
    }
    expected = {"A1": 1.0, "A2": 12.5, "A3": "1,5", "A5": "0012", "A6": 25.0, "A7": 1.0, "A8": 0.25}
    expected["A4"] = float((date(2026, 3, 1) - date(1899, 12, 30)).days)
    for target in (tmp_path / "typed.xlsx", tmp_path / "typed.ods"):
        assert office.values(office.type_into(source, {"Sheet1": typed}, target))["Sheet1"] == expected
    assert source.read_bytes() == before
    with Office(locale="de-DE") as german:
        target = german.type_into(source, {"Sheet1": {"A2": "1,5"}}, tmp_path / "german.xlsx")
        assert german.values(target)["Sheet1"]["A2"] == 1.5


def test_what_cannot_be_done_is_said_and_changes_nothing(office: Office, tmp_path: Path) -> None:
    good, damaged = tmp_path / "good.xlsx", tmp_path / "damaged.xlsx"
    write(good, {"A1": 1})
    damaged.write_bytes(good.read_bytes()[:300])
    with pytest.raises(FileNotFoundError):
        office.values(tmp_path / "missing.xlsx")
    with pytest.raises(OfficeFailedError, match=r"'values' with damaged\.xlsx"):
        office.values(damaged)
    with pytest.raises(OfficeFailedError, match="no sheet 'Baths'; it has Sheet1"):
        office.type_into(good, {"Baths": {"A1": "1"}}, tmp_path / "typed.xlsx")
    with pytest.raises(FileNotFoundError, match="no such folder"):
        office.convert(good, tmp_path / "no such folder" / "good.ods", "ods")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["damaged.xlsx", "good.xlsx"]
    assert office.values(good) == {"Sheet1": {"A1": 1.0}}


def test_a_given_profile_keeps_its_own_settings(office: Office, tmp_path: Path) -> None:
    settings = tmp_path / "profile" / "user" / "registrymodifications.xcu"
    settings.parent.mkdir(parents=True)
    load = '<item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" oor:op="fuse">'
    other = '<item oor:path="/org.openoffice.Office.Calc/Calculate/Other"><prop oor:name="CaseSensitive" oor:op="fuse">'
    settings.write_text(
        '<?xml version="1.0" encoding="UTF-8"?>\n<oor:items xmlns:oor="http://openoffice.org/2001/registry">'
        f"{load}<value>1</value></prop></item>\n{other}<value>true</value></prop></item></oor:items>",
        encoding="utf-8",
    )
    for _ in range(2):
        with Office(profile=settings.parent.parent, environment={"POND": "7"}) as own:
            assert own.evaluate(["1+1"]) == [2.0]
            assert own.process_id != office.process_id
            if sys.platform == "linux":
                assert b"POND=7" in Path(f"/proc/{own.process_id}/environ").read_bytes().split(b"\0")
        kept = settings.read_text(encoding="utf-8")
        assert re.findall(r'"OOXMLRecalcMode" oor:op="fuse"><value>(.)<', kept) == ["0"]
        assert re.findall(r'"CaseSensitive" oor:op="fuse"><value>(\w+)<', kept) == ["true"]


def test_use_outside_with_is_refused() -> None:
    with pytest.raises(OfficeFailedError, match="`with`"):
        Office().evaluate(["1"])


def test_a_hung_libreoffice_is_ended_and_replaced(own_office: Office) -> None:
    assert own_office.evaluate(["1+1"]) == [2.0]
    hung = own_office.process_id
    assert hung is not None
    os.killpg(hung, signal.SIGSTOP)
    with pytest.raises(OfficeTimeoutError, match="within 5 s"):
        own_office.evaluate(["1+1"])
    with pytest.raises(ProcessLookupError):
        os.killpg(hung, 0)
    assert own_office.evaluate(["1+1"]) == [2.0]


def test_a_killed_libreoffice_is_noticed_and_replaced(own_office: Office) -> None:
    assert own_office.evaluate(["1+1"]) == [2.0]
    killed = own_office.process_id
    assert killed is not None
    os.killpg(killed, signal.SIGKILL)
    with pytest.raises(OfficeFailedError):
        own_office.evaluate(["1+1"])
    assert own_office.evaluate(["1+1"]) == [2.0]
    assert own_office.process_id != killed


def run_pytest(folder: Path, choice: str, plugin: str = "") -> tuple[int, str]:
    """Run two tests of this file, one with and one without LibreOffice, in a pytest of their own."""
    (folder / "before_tests.py").write_text(plugin, encoding="utf-8")
    tests = [f"{Path(__file__)}::{test.__name__}" for test in (test_table_results, test_use_outside_with_is_refused)]
    variables = os.environ | {"WORKBOOK_TOOLS_LIBREOFFICE": choice, "PYTHONPATH": f"{folder}{os.pathsep}{ROOT}"}
    command = [sys.executable, "-m", "pytest", "-p", "before_tests", "-p", "no:cacheprovider", *tests]
    done = subprocess.run(command, cwd=ROOT, env=variables, capture_output=True, text=True, check=False, timeout=300)
    return done.returncode, done.stdout


def test_leaving_out_is_said(tmp_path: Path) -> None:
    code, printed = run_pytest(tmp_path, "no")
    assert code == 0
    assert "1 test that needs LibreOffice was left out on request" in printed
    assert re.search(r"1 passed, 1 deselected in .*\Z", printed.strip())


def test_a_missing_libreoffice_fails_with_what_to_install(tmp_path: Path) -> None:
    plugin = "import tests.prepare\ntests.prepare._find_office = lambda: (None, ['soffice'])\n"
    code, printed = run_pytest(tmp_path, "yes", plugin)
    assert code == 1
    assert "apt-get install --no-install-recommends libreoffice-calc" in printed
    assert re.search(r"1 passed, 1 error in .*\Z", printed.strip())


def test_an_unknown_choice_is_refused(tmp_path: Path) -> None:
    code, _ = run_pytest(tmp_path, "maybe")
    assert code == pytest.ExitCode.USAGE_ERROR
