"""A producer's copy that comes back: edited in LibreOffice and with openpyxl, its daily rows merged into the log."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner

from demo.practice import practice
from tests.support.office import Office
from workbook_tools.caselog.checking import check_log
from workbook_tools.caselog.merging_files import merge_files
from workbook_tools.caselog.reading import read_log
from workbook_tools.cli.main import cli
from workbook_tools.layouts import case_log
from workbook_tools.layouts.compute import Computed
from workbook_tools.sharing.copy import producer_copy
from workbook_tools.sharing.taken_back import taken_back
from workbook_tools.workbook.log import build_log

MADE = datetime.datetime(2026, 11, 25, 9)


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The demo's log, and its copy for site S01."""
    folder = tmp_path_factory.mktemp("back")
    data = practice()
    made = {"log": folder / "log.xlsx", "copy": folder / "copy.xlsx"}
    made["log"].write_bytes(build_log(case_log(), data))
    computed = Computed(case_log(), {key: [dict(row) for row in rows] for key, rows in data.items()})
    made["copy"].write_bytes(producer_copy(computed, "S01", MADE).content)
    return made


def daily(path: Path) -> tuple[str, dict[str, str], int]:
    """Sheet, column letters by heading and first row of the first daily sheet."""
    book = openpyxl.load_workbook(path)
    for sheet in book.worksheets:
        for cells in sheet.iter_rows(min_row=1, max_row=12):
            headings = {str(cell.value): cell.column_letter for cell in cells if cell.value is not None}
            if {"Dead", "Day"} <= headings.keys():
                return sheet.title, headings, cells[0].row + 1
    raise AssertionError("no daily sheet")


def filled(path: Path) -> tuple[str, dict[str, str]]:
    """What the producer types: losses, feed and temperature of the first two rows."""
    sheet, headings, row = daily(path)
    cells = {}
    for number, (dead, feed, temperature) in enumerate(((3, 1.25, 8.5), (0, 1.5, 8.0)), start=row):
        cells |= {f"{headings['Dead']}{number}": str(dead), f"{headings['Feed given kg']}{number}": str(feed)}
        cells[f"{headings['Mean temperature C']}{number}"] = str(temperature)
    return sheet, cells


def edited(how: str, files: dict[str, Path], folder: Path, office: Office) -> Path:
    sheet, cells = filled(files["copy"])
    target = folder / "returned.xlsx"
    if how == "LibreOffice":
        return office.type_into(files["copy"], {sheet: cells}, target)
    book = openpyxl.load_workbook(files["copy"])
    for place, text in cells.items():
        book[sheet][place] = float(text)
    book.save(target)
    return target


@pytest.mark.parametrize("how", ["LibreOffice", "openpyxl"])
def test_daily_rows_are_merged_and_merging_again_changes_nothing(
    how: str, files: dict[str, Path], tmp_path: Path, office: Office
) -> None:
    back = edited(how, files, tmp_path, office)
    before = read_log(files["log"], case_log())
    taken = taken_back(back, case_log(), before)
    assert taken.notes == ()
    done = merge_files(files["log"], [], case_log(), MADE, None, {str(back): taken.log})
    assert done.merged.conflicts == []
    merged = tmp_path / "merged.xlsx"
    merged.write_bytes(done.content)
    after = read_log(merged, case_log())
    new = after.tables["losses"].rows[len(before.tables["losses"].rows) :]
    assert [(row["dead"], row["feed"], row["temperature"]) for row in new] == [(3, 1.25, 8.5), (0, 1.5, 8.0)]
    assert all(str(row["day"]).startswith("S01-") for row in new)
    for key, table in before.tables.items():
        kept: list[dict[str, Any]] = after.tables[key].rows[: len(table.rows)]
        assert kept == table.rows
    again = merge_files(merged, [], case_log(), MADE, None, {str(back): taken_back(back, case_log(), after).log})
    assert not again.differs


def test_a_temperature_out_of_range_comes_back_and_adds_nothing(
    files: dict[str, Path], tmp_path: Path, office: Office
) -> None:
    """54 typed for a mean of 12 C (54 F): the row is kept as it was typed, the check names it, no degree days."""
    back = edited("openpyxl", files, tmp_path, office)
    sheet, headings, row = daily(back)
    book = openpyxl.load_workbook(back)
    book[sheet][f"{headings['Mean temperature C']}{row}"] = 54
    book.save(back)
    taken = taken_back(back, case_log(), read_log(files["log"], case_log()))
    merged = tmp_path / "merged.xlsx"
    merged.write_bytes(merge_files(files["log"], [], case_log(), MADE, None, {str(back): taken.log}).content)
    checked = check_log(merged, case_log())
    new = [row for row in checked.computed.data["losses"] if str(row["day"]).startswith("S01-")]
    assert [(row["temperature"], row["degrees"]) for row in new] == [(54, None), (8, 8)]
    assert [f.value for f in checked.findings if (f.sheet, f.code) == ("Losses", "out-of-range")] == [54]


def test_edits_to_the_pages_are_listed_and_not_applied(files: dict[str, Path], tmp_path: Path) -> None:
    book = openpyxl.load_workbook(files["copy"])
    page = book.worksheets[0]
    cell = next(c for row in page.iter_rows(min_row=4) for c in row if isinstance(c.value, str) and len(c.value) > 8)
    cell.value = "something else altogether"
    book.save(tmp_path / "returned.xlsx")
    taken = taken_back(tmp_path / "returned.xlsx", case_log(), read_log(files["log"], case_log()))
    assert taken.log.tables["losses"].rows == []
    assert any("something else altogether" in note.say and "Not applied" in note.say for note in taken.notes)


def test_a_row_for_another_sites_group_is_not_merged(files: dict[str, Path], tmp_path: Path) -> None:
    sheet, headings, row = daily(files["copy"])
    book = openpyxl.load_workbook(files["copy"])
    book[sheet][f"{headings['Dead']}{row}"] = 4
    book[sheet][f"{headings['Group of fish']}{row}"] = "K09"
    book.save(tmp_path / "returned.xlsx")
    taken = taken_back(tmp_path / "returned.xlsx", case_log(), read_log(files["log"], case_log()))
    assert taken.log.tables["losses"].rows == []
    assert not taken.whole
    assert any("K09" in note.say and "not merged" in note.say for note in taken.notes)


def test_a_copy_of_a_site_that_the_log_does_not_have(files: dict[str, Path], tmp_path: Path) -> None:
    data = practice()
    data["sites"] = [row for row in data["sites"] if row["site"] != "S01"]
    path = tmp_path / "other.xlsx"
    path.write_bytes(build_log(case_log(), data))
    taken = taken_back(files["copy"], case_log(), read_log(path, case_log()))
    assert [note.say for note in taken.notes] == [
        "It is a copy for site S01, which the log does not have: no row was merged."
    ]


def test_the_command(files: dict[str, Path], tmp_path: Path, office: Office) -> None:
    back = edited("openpyxl", files, tmp_path, office)
    done = CliRunner().invoke(cli, ["merge", str(files["log"]), str(back), "--out", str(tmp_path / "merged.xlsx")])
    assert done.exit_code == 0, done.output
    assert "Added to Losses: 2 rows" in done.output


def test_a_copy_whose_daily_sheet_cannot_be_read_is_no_success(files: dict[str, Path], tmp_path: Path) -> None:
    book = openpyxl.load_workbook(files["copy"])
    for page in book.worksheets:
        for row in page.iter_rows(max_row=12):
            for cell in row:
                if cell.value in ("Dead", "Day", "Mean temperature C"):
                    cell.value = f"{cell.value}, by our own count"
    book.save(tmp_path / "returned.xlsx")
    words = ["merge", str(files["log"]), str(tmp_path / "returned.xlsx"), "--out", str(tmp_path / "merged.xlsx")]
    done = CliRunner().invoke(cli, words)
    assert done.exit_code == 1, done.output
    assert "has no daily sheet any more" in " ".join(done.output.split())
