"""A log lent to another device: rows typed on both at the same time come together again, none in the other's place."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from tests.support.office import Office
from tests.test_built_files import Package
from tests.test_check import Data, clean
from tests.test_editing import complaints
from workbook_tools.cli.main import cli
from workbook_tools.errors import DataError, ReadError
from workbook_tools.layout import case_log
from workbook_tools.layout.compute import Computed
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.checking.log_check import check_log
from workbook_tools.log.checking.reading import ReadTable, read_log
from workbook_tools.log.merging.given_ids import MARK
from workbook_tools.log.merging.lending import checked_mark, lent
from workbook_tools.log.merging.merging_files import merge_files
from workbook_tools.xlsx.addresses import column_number
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit

LAYOUT = case_log()
MOMENT = datetime.datetime(2026, 11, 25, 9, 30)


def made(path: Path, data: Data | None = None, rows: int = 12) -> Path:
    path.write_bytes(build_log(LAYOUT, data or clean(), rows=rows))
    return path


def copied(log: Path, mark: str) -> Path:
    path = log.with_name(f"{mark}.xlsx")
    path.write_bytes(lent(log, LAYOUT, mark).content)
    return path


def table(path: Path, key: str) -> ReadTable:
    return read_log(path, LAYOUT).tables[key]


def type_rows(path: Path, key: str, rows: Sequence[dict[str, Any]]) -> list[str]:
    """Fill the next empty rows as a person does, who leaves the ids that stand there; these ids."""
    read = table(path, key)
    edit = WorkbookEdit(path.read_bytes())
    ahead = sorted((row, name) for name, row in read.ahead.items())[: len(rows)]
    for (number, _), cells in zip(ahead, rows, strict=True):
        for column, value in cells.items():
            edit.put(read.table.sheet, number, column_number(read.letters[column]), value)
    path.write_bytes(edit.content())
    return [name for _, name in ahead]


def merged(log: Path, *copies: Path) -> tuple[Path, Any]:
    done = merge_files(log, copies, LAYOUT, MOMENT)
    path = log.with_name("merged.xlsx")
    path.write_bytes(done.content)
    return path, done.merged


def caught(*weights: float) -> list[dict[str, Any]]:
    return [{"bath": "B001", "weight": weight, "length": 30.0} for weight in weights]


def test_ids_given_ahead_end_in_the_mark_and_all_else_is_the_same(tmp_path: Path) -> None:
    log = made(tmp_path / "log.xlsx")
    before = log.read_bytes()
    copy = copied(log, "T")
    assert log.read_bytes() == before
    mine, theirs = read_log(log, LAYOUT), read_log(copy, LAYOUT)
    for key, read in theirs.tables.items():
        assert read.rows == mine.tables[key].rows
        assert read.ahead == {f"{name}T": row for name, row in mine.tables[key].ahead.items()}
    assert theirs.tables["baths"].ahead["B003T"] == 8
    assert check_log(copy, LAYOUT).findings == check_log(log, LAYOUT).findings == []
    assert complaints(copy.read_bytes(), tmp_path) == []
    assert WorkbookEdit(copy.read_bytes()).property(MARK) == "T"
    old, new = Package(before), Package(copy.read_bytes())
    for sheet in old.sheets:  # no formula and no result is another one
        others = new.cells(sheet)
        assert {place[0] for place, cell in old.cells(sheet).items() if cell != others[place]} <= {"A"}


def test_two_devices_add_rows_and_nothing_is_lost(tmp_path: Path) -> None:
    log = made(tmp_path / "log.xlsx")
    copies = [copied(log, "T"), copied(log, "AB")]
    typed = {
        path: type_rows(path, "fish", caught(*weights))
        for path, weights in ((log, (101.0, 102.0)), (copies[0], (201.0, 202.0, 203.0)), (copies[1], (301.0,)))
    }
    assert list(typed.values()) == [["F0003", "F0004"], ["F0003T", "F0004T", "F0005T"], ["F0003AB"]]
    path, done = merged(log, *copies)
    assert done.conflicts == []
    fish = table(path, "fish")
    weights = {row["fish"]: row["weight"] for row in fish.rows[2:]}
    assert weights == {
        "F0003": 101, "F0004": 102, "F0003T": 201, "F0004T": 202, "F0005T": 203, "F0003AB": 301,
    }  # fmt: skip
    assert fish.numbers == list(range(6, 14))
    # the ids whose rows were taken moved on, in their order
    assert list(fish.ahead.items()) == [("F0005", 14), ("F0006", 15), ("F0007", 16), ("F0008", 17)]
    assert {finding.code for finding in check_log(path, LAYOUT).findings}.isdisjoint(
        {"result-differs", "id-used-twice", "not-found"}
    )
    again = merge_files(path, copies, LAYOUT, MOMENT)
    assert not again.differs


def test_without_a_mark_two_devices_do_meet(tmp_path: Path) -> None:
    """What the mark is for: the same rows on two plain copies are conflicts."""
    log = made(tmp_path / "log.xlsx")
    copy = log.with_name("copy.xlsx")
    copy.write_bytes(log.read_bytes())
    type_rows(log, "fish", caught(101.0))
    type_rows(copy, "fish", caught(201.0) + caught(202.0))
    _, done = merged(log, copy)
    assert [(c.id, c.column) for c in done.conflicts] == [("F0003", "Weight g")]


def test_a_copy_lent_again_goes_on_after_its_own_ids(tmp_path: Path) -> None:
    log = made(tmp_path / "log.xlsx")
    copy = copied(log, "T")
    type_rows(copy, "fish", caught(201.0, 202.0))
    path, _ = merged(log, copy)
    assert list(table(path, "fish").ahead)[:2] == ["F0003", "F0004"]  # of the log's own, still free
    assert list(table(copied(path, "T"), "fish").ahead)[:2] == ["F0005T", "F0006T"]
    assert list(table(copied(path, "U"), "fish").ahead)[:2] == ["F0005U", "F0006U"]


def test_a_lent_copy_that_grows_goes_on_with_its_mark(tmp_path: Path) -> None:
    log = made(tmp_path / "log.xlsx", rows=3)
    copy = copied(log, "T")
    other = log.with_name("other.xlsx")
    other.write_bytes(log.read_bytes())
    type_rows(other, "fish", caught(401.0))
    type_rows(copy, "fish", caught(201.0))
    path, done = merged(copy, other)
    assert done.conflicts == []
    fish = table(path, "fish")
    assert [row["fish"] for row in fish.rows] == ["F0001", "F0002", "F0003T", "F0003"]
    assert list(fish.ahead)[:2] == ["F0004T", "F0005T"]


def test_a_full_sheet_is_longer_in_the_copy(tmp_path: Path, office: Office) -> None:
    """On a tablet nobody should have to stretch a table first."""
    log = made(tmp_path / "log.xlsx", rows=1)
    assert table(log, "fish").ahead == {}
    copy = copied(log, "T")
    assert table(copy, "fish").ahead == {f"F{n:04d}T": n + 5 for n in range(3, 23)}
    assert type_rows(copy, "fish", caught(201.0)) == ["F0003T"]
    species = office.values(copy)["Fish"][f"{LAYOUT.tables['fish'].letters['species']}8"]
    assert species == "rainbow trout"  # computed: the species of its bath
    _, done = merged(log, copy)
    assert (done.conflicts, [added.id for added in done.added]) == ([], ["F0003T"])


def test_an_id_ahead_that_other_rows_name_keeps_its_name(tmp_path: Path) -> None:
    data = clean()
    data["watch"].append({"look": "L003", "bath": "B004", "time": 0.4})
    log = made(tmp_path / "log.xlsx", data)
    ahead = table(copied(log, "T"), "baths").ahead
    assert ahead["B004"] == table(log, "baths").ahead["B004"]
    assert [name for name in ahead if not name.endswith("T")] == ["B004"]


@pytest.mark.parametrize("mark", ["", " ", "ABCD", "1", "T1", "T-", "é", "*"])
def test_what_is_no_mark_is_refused(mark: str, tmp_path: Path) -> None:
    with pytest.raises(DataError, match="a mark is one to 3 letters from A to Z"):
        checked_mark(mark)
    log = made(tmp_path / "log.xlsx")
    done = run(log, "--out", tmp_path / "t.xlsx", "--mark", mark)
    assert done.exit_code == 2
    assert "a mark is one to 3 letters" in done.output
    assert list(tmp_path.iterdir()) == [log]


def test_a_log_of_another_layout_is_refused(tmp_path: Path) -> None:
    log = made(tmp_path / "log.xlsx")
    edit = WorkbookEdit(log.read_bytes())
    edit.set_property("Layout version", "1")
    log.write_bytes(edit.content())
    with pytest.raises(ReadError, match="is of layout version 1"):
        lent(log, LAYOUT, "T")


def run(*words: object) -> Result:
    return CliRunner().invoke(cli, ["lend", *map(str, words)])


def test_the_command(tmp_path: Path) -> None:
    log = made(tmp_path / "log.xlsx")
    before = log.read_bytes()
    done = run(log, "--out", tmp_path / "tablet", "--mark", "t")
    assert done.exit_code == 0, done.output
    assert f"Made {tmp_path / 'tablet.xlsx'}" in done.output
    assert "Fish F0003T" in done.output
    assert log.read_bytes() == before
    assert (tmp_path / "tablet.xlsx").read_bytes() == lent(log, LAYOUT, "T").content
    assert "is there already" in run(log, "--out", tmp_path / "tablet.xlsx", "--mark", "T").output
    refused = run(log, "--out", log, "--mark", "T", "--replace")
    assert (refused.exit_code, log.read_bytes()) == (2, before)
    assert "a file that this command reads" in refused.output
    assert run(log, "--out", tmp_path / "tablet.xlsx", "--mark", "T", "--replace", "--quiet").output == ""


def test_an_id_given_ahead_in_a_row_above_answers_for_its_name() -> None:
    """As MATCH has it: the first of two equal ids on the sheet, here a row not filled in, so that nothing is dosed."""
    data = clean()
    data["vessels"] = [{**data["vessels"][2], "vessel": "T009", "site": "S01"}]
    data["baths"] = [{**data["baths"][0], "vessel": "T009", "reading": None}]
    for ahead, litres in ((5, None), (7, 40)):  # the typed row is row 6
        bath = Computed(case_log(), data, ahead={"vessels": {"t009": ahead}}).data["baths"][0]
        assert (bath["full"], bath["drug"]) == (litres, None if litres is None else 3.2)
        said = "Bath vessel points to a row of the Vessels sheet that is not filled in."
        assert (said in bath["check"]) == (litres is None)


def test_an_id_given_ahead_alone_is_a_row_not_filled_in() -> None:
    data = clean()
    data["baths"] = [{**data["baths"][0], "vessel": "T010"}]
    for ahead, said in (({"vessels": {"T010": 12}}, "points to a row of the Vessels"), ({}, "is not on the Vessels")):
        bath = Computed(case_log(), data, ahead=ahead).data["baths"][0]
        assert f"Bath vessel {said} sheet" in bath["check"]
