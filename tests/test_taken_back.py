"""A producer's copy that comes back: edited in LibreOffice and with openpyxl, its daily rows merged into the log."""

from __future__ import annotations

import datetime
import re
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner

from demo.practice import practice
from tests.support.leaks import in_bytes, raw_parts
from tests.support.office import Office
from workbook_tools.cli.main import cli
from workbook_tools.layout import case_log
from workbook_tools.layout.compute import Computed
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.building.seal_key import key_of, with_key
from workbook_tools.log.checking.log_check import check_log
from workbook_tools.log.checking.reading import read_log
from workbook_tools.log.merging.merging_files import merge_files
from workbook_tools.producer.copy import producer_copy
from workbook_tools.producer.returned_copy import UNVERIFIED, taken_back

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
    assert [note.say for note in taken.notes] == [UNVERIFIED]
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
        UNVERIFIED,
        "It is a copy for site S01, which the log does not have: no row was merged.",
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


# ------------------------------------------------------------------------------------------- the site that it is for


def sent_by(log: Path, copy: Path, site: str = "S01") -> Path:
    """A copy that the command has made, with two filled rows."""
    done = CliRunner().invoke(cli, ["share", str(log), "--site", site, "--out", str(copy)])
    assert done.exit_code == 0, done.output
    sheet, cells = filled(copy)
    book = openpyxl.load_workbook(copy)
    for place, text in cells.items():
        book[sheet][place] = float(text)
    book.save(copy)
    return copy


def claiming(copy: Path, site: str, group: str, without_seal: bool = False, rows_too: bool = True) -> None:
    """Edit a copy as somebody would who wants its rows under another site: in all places that say whose it is."""
    book = openpyxl.load_workbook(copy)
    for one in book.custom_doc_props.props:
        one.value = site if one.name == "Copy site" else one.value
    if without_seal and "Copy seal" in book.custom_doc_props.names:
        del book.custom_doc_props["Copy seal"]
    for page in book.worksheets:
        for row in page.iter_rows():
            for cell in row:
                text = str(cell.value)
                if text.startswith("producer-copy "):
                    text = text.replace("site=S01", f"site={site}")
                    cell.value = re.sub(r" seal=\w+", "", text) if without_seal else text
                elif rows_too and re.match(r"S01-\d{10}-", text):
                    cell.value = text.replace("S01", site, 1)
    sheet, headings, first = daily(copy)
    for number in (first, first + 1):
        book[sheet][f"{headings['Group of fish']}{number}"] = group
    book.save(copy)


@pytest.fixture(scope="module")
def with_keys(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The demo's log with a key, and the same without."""
    folder = tmp_path_factory.mktemp("keys")
    content = build_log(case_log(), practice())
    made = {"key": folder / "log.xlsx", "none": folder / "old log.xlsx"}
    made["key"].write_bytes(with_key(content))
    made["none"].write_bytes(content)
    return made


def merged(log: Path, copy: Path, out: Path, *more: str) -> tuple[int, str]:
    done = CliRunner().invoke(cli, ["merge", str(log), str(copy), "--out", str(out), *more])
    return done.exit_code, " ".join(done.output.split())


OTHER_GROUP = next(row["stock"] for row in practice()["stocks"] if row["site"] == "S02")


@pytest.mark.parametrize("without_seal", [False, True])
def test_a_copy_edited_to_claim_another_site_is_refused_until_the_site_is_confirmed(
    without_seal: bool, with_keys: dict[str, Path], tmp_path: Path
) -> None:
    """Site, rows' ids and groups were changed everywhere; 22 rows went into the other site by that."""
    log, copy, out = with_keys["key"], tmp_path / "copy.xlsx", tmp_path / "merged.xlsx"
    sent_by(log, copy)
    code, said = merged(log, copy, tmp_path / "honest.xlsx")
    assert (code, "Added to Losses: 2 rows" in said, "verified" in said) == (0, True, False), said
    claiming(copy, "S02", OTHER_GROUP, without_seal)
    code, said = merged(log, copy, out)
    assert code == 2
    assert "says that it is the copy for site S02, but" in said
    assert "--confirm-site S02" in said
    assert not out.exists()
    assert merged(log, copy, out, "--confirm-site", "S01")[0] == 2
    code, said = merged(log, copy, out, "--confirm-site", "s02")
    assert code == 0, said
    assert "It was taken because you confirmed site S02." in said
    assert "Added to Losses: 2 rows" in said


def test_a_log_without_a_key_says_so_and_asks_where_the_rows_say_another_site(
    with_keys: dict[str, Path], tmp_path: Path
) -> None:
    log, copy = with_keys["none"], tmp_path / "copy.xlsx"
    sent_by(log, copy)
    code, said = merged(log, copy, tmp_path / "honest.xlsx")
    assert code == 0
    assert UNVERIFIED in said
    claiming(copy, "S02", OTHER_GROUP, rows_too=False)
    code, said = merged(log, copy, tmp_path / "merged.xlsx")
    assert code == 2
    assert "its rows have the ids of S01." in said
    code, said = merged(log, copy, tmp_path / "merged.xlsx", "--confirm-site", "S02")
    assert code == 1  # the names of the rows are a fault even so
    assert "Added to Losses: 2 rows" in said


def test_a_copy_of_another_log_is_in_doubt_and_one_of_a_lent_log_is_not(
    with_keys: dict[str, Path], tmp_path: Path
) -> None:
    other, lent = tmp_path / "other.xlsx", tmp_path / "lent.xlsx"
    other.write_bytes(with_key(with_keys["none"].read_bytes()))
    assert CliRunner().invoke(cli, ["lend", str(with_keys["key"]), "--out", str(lent), "--mark", "T"]).exit_code == 0
    copy = sent_by(with_keys["key"], tmp_path / "copy.xlsx")
    assert merged(other, copy, tmp_path / "m.xlsx")[0] == 2
    assert merged(lent, copy, tmp_path / "m2.xlsx")[0] == 0
    keys = [key_of(path.read_bytes()) for path in (with_keys["key"], lent, other, tmp_path / "m2.xlsx")]
    assert keys[0] == keys[1] == keys[3] != keys[2]


def test_a_new_log_has_a_key_and_its_copies_have_it_not(tmp_path: Path) -> None:
    made = [tmp_path / "a.xlsx", tmp_path / "b.xlsx"]
    for path in made:
        assert CliRunner().invoke(cli, ["new", "log", str(path), "--rows", "3"]).exit_code == 0
    keys = [key_of(path.read_bytes()) for path in made]
    assert all(len(key) == 32 for key in keys)
    assert keys[0] != keys[1]
    site = {"site": "S01", "name": "Alder springs", "kind": "farm", "food_fish": "yes"}
    computed = Computed(case_log(), {"sites": [site]})
    copy = producer_copy(computed, "S01", MADE, key=keys[0]).content
    assert not in_bytes(keys[0], raw_parts(copy))
    assert in_bytes("seal=", raw_parts(copy))
    assert key_of(copy) == ""
