"""The marked copy: each finding once on its cell and once on the sheet Findings, the log itself as it was."""

from __future__ import annotations

import io
import re
import warnings
from pathlib import Path

import openpyxl
import pytest
import python_calamine

from tests.support.kitchen_sink import with_everything
from tests.support.office import Office
from tests.test_check import ROWS, Data, clean
from tests.test_commands import run
from tests.test_editing import changed, complaints, parts
from workbook_tools.errors import SaveError
from workbook_tools.layout import case_log
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.checking.annotating import HEADING_ROW, annotate, annotated
from workbook_tools.log.checking.log_check import CheckedLog, check_log
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit
from workbook_tools.xlsx.opened import Opened


def slips() -> Data:
    """Five slips: two of one fish, an id that stands twice, a text that looks like a formula, a number for a text."""
    data = clean()
    data["fish"][0] |= {"weight": "310,5", "other_species": "=1+1"}
    data["fish"][1]["fish"] = "F0001"
    data["baths"][1]["lot"] = 12
    data["baths"][0]["visit"] = "V009"
    return data


def checked(folder: Path, everything: bool = True) -> tuple[Path, CheckedLog]:
    path = folder / "log.xlsx"
    content = build_log(case_log(), slips(), rows=ROWS)
    path.write_bytes(with_everything(content) if everything else content)
    return path, check_log(path, case_log())


def notes(content: bytes) -> dict[str, str]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(io.BytesIO(content))
    return {
        f"{sheet.title}!{cell.coordinate}": cell.comment.text
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if cell.comment is not None
    }


def test_every_finding_is_on_its_cell_and_on_the_sheet(tmp_path: Path) -> None:
    path, found = checked(tmp_path)
    before = path.read_bytes()
    out = tmp_path / "marked.xlsx"
    assert annotate(Opened(path), found, out) is None
    assert path.read_bytes() == before
    new = out.read_bytes()
    marked = notes(new)
    assert len(found.findings) > 4
    for finding in found.findings:
        if finding.cell == "Baths!B6":  # where a thread of comments stands
            assert finding.reason not in marked["Baths!B6"]
        else:
            assert f"{finding.code}: {finding.reason}" in marked[finding.cell]
    assert marked["Baths!A6"] == "Lid was cracked."
    assert set(marked) == {finding.cell for finding in found.findings} | {"Baths!A6"}
    sheet = python_calamine.load_workbook(io.BytesIO(new)).get_sheet_by_name("Findings").to_python()
    listed = sheet[HEADING_ROW:]
    assert [row[0] for row in listed] == [finding.code for finding in found.findings]
    assert [row[2] for row in listed] == [finding.cell for finding in found.findings]
    for row, finding in zip(listed, found.findings, strict=True):
        assert row[1] == ("mend" if finding.severity == "fault" else "look at")
        assert str(row[4]).startswith(finding.reason)
        assert row[5] == ("" if finding.value is None else finding.shown)
    thread = next(row for row in listed if row[2] == "Baths!B6")
    assert thread[4].endswith("(No note: a thread of comments stands there.)")
    assert complaints(new, tmp_path) == []


def test_what_is_not_marked_keeps_its_bytes(tmp_path: Path) -> None:
    path, found = checked(tmp_path)
    new = annotated(Opened(path).edit(), found)
    touched = changed(path.read_bytes(), new)
    kept = {name for name in parts(path.read_bytes()) if "drawing1" in name or "slicer" in name or "custom" in name}
    assert kept
    assert not kept - {"xl/drawings/vmlDrawing1.vml"} & touched
    assert {"xl/worksheets/sheet2.xml", "xl/worksheets/sheet5.xml", "xl/worksheets/sheet99.xml"}.isdisjoint(touched)


def test_a_marked_copy_in_a_spreadsheet_program(tmp_path: Path, office: Office) -> None:
    path, found = checked(tmp_path, everything=False)
    out = tmp_path / "marked.xlsx"
    annotate(Opened(path), found, out)
    shown = office.values(out)["Findings"]
    assert "=1+1" in shown.values()
    saved = notes(office.convert(out, tmp_path / "saved.xlsx", "xlsx").read_bytes())
    assert {place: text for place, text in saved.items() if place.startswith("Fish")} == {
        place: text for place, text in notes(out.read_bytes()).items() if place.startswith("Fish")
    }
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(io.BytesIO(out.read_bytes()))
    links = [cell.hyperlink.location for (cell,) in book["Findings"].iter_rows(HEADING_ROW + 1, min_col=3, max_col=3)]
    assert links == [finding.cell for finding in found.findings]


def test_the_marked_copy_checks_as_the_log(tmp_path: Path) -> None:
    path, found = checked(tmp_path)
    out = tmp_path / "marked.xlsx"
    annotate(Opened(path), found, out)
    again = check_log(out, case_log())
    assert again.findings == found.findings
    third = annotated(Opened(out).edit(), again)
    assert "Findings 2" in python_calamine.load_workbook(io.BytesIO(third)).sheet_names


def test_many_findings(tmp_path: Path) -> None:
    data = clean()
    data["fish"] = [{"fish": f"F{n:04d}", "bath": "B001", "other_species": "unicorn"} for n in range(1500)]
    path = tmp_path / "log.xlsx"
    path.write_bytes(build_log(case_log(), data, rows=1))
    found = check_log(path, case_log())
    new = annotated(Opened(path).edit(), found)
    species = case_log().tables["fish"].letters["other_species"]
    assert sum(re.fullmatch(rf"Fish!{species}\d+", place) is not None for place in notes(new)) == 1500


def test_nothing_to_find(tmp_path: Path) -> None:
    path = tmp_path / "log.xlsx"
    path.write_bytes(build_log(case_log(), clean(), rows=ROWS))
    new = annotated(Opened(path).edit(), check_log(path, case_log()))
    sheet = python_calamine.load_workbook(io.BytesIO(new)).get_sheet_by_name("Findings").to_python()
    assert "Nothing to mend." in sheet[1][0]
    assert len(sheet) == HEADING_ROW
    assert notes(new) == {}


def test_the_log_itself_is_never_the_marked_copy(tmp_path: Path) -> None:
    path, found = checked(tmp_path)
    before = path.read_bytes()
    with pytest.raises(SaveError, match="a file that this command reads"):
        annotate(Opened(path), found, path, replace=True)
    assert path.read_bytes() == before


def test_the_command(tmp_path: Path) -> None:
    path, found = checked(tmp_path)
    before = path.read_bytes()
    done = run("check", "log.xlsx", "--annotate", "marked", folder=tmp_path)
    assert done.returncode == 1
    assert done.stdout.startswith("Made marked.xlsx\n")
    assert (tmp_path / "marked.xlsx").read_bytes() == annotated(WorkbookEdit(before, path), found)
    again = run("check", "log.xlsx", "--annotate", "marked.xlsx", folder=tmp_path)
    assert again.returncode == 2
    assert "is there already" in again.stderr
    assert run("check", "log.xlsx", "--annotate", "marked", "--replace", "--quiet", folder=tmp_path).stdout == ""
    assert run("check", "log.xlsx", "--annotate", "log.xlsx", "--replace", folder=tmp_path).returncode == 2
    assert run("check", "log.xlsx", "--replace", folder=tmp_path).returncode == 2
    assert path.read_bytes() == before
