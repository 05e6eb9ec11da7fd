"""What a log has learned, written into its own Summary sheet: these rows and no older ones, all else as it was."""

from __future__ import annotations

import datetime
import functools
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from demo.practice import practice
from tests.support.first_version import first_log
from tests.support.office import Office
from tests.test_built_files import Package
from tests.test_check import clean
from tests.test_editing import cells, changed, complaints
from workbook_tools.across.keeping import with_learned
from workbook_tools.across.responses import learned_rows
from workbook_tools.cli.main import cli
from workbook_tools.errors import EditError, ReadError
from workbook_tools.layout import case_log
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.checking.log_check import check_log
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.editing.workbook_edit import TablePlace, WorkbookEdit

LAYOUT = case_log()
TODAY = datetime.date(2026, 11, 25)
KEYS = [column.key for column in LAYOUT.tables["learned"].columns]


@functools.cache
def demo() -> bytes:
    return build_log(LAYOUT, practice(), rows=40)


def learned(path: Path) -> list[dict[str, Any]]:
    return learned_rows(check_log(path, LAYOUT).computed, TODAY)


def place_of(content: bytes) -> TablePlace:
    return WorkbookEdit(content).tables()["Learned"]


def kept(content: bytes) -> list[dict[str, Any]]:
    """Rows of the table as another reader finds them; a blank is None."""
    place = place_of(content)
    rows = cells(content)[place.sheet]
    found = []
    for number in range(place.first_row, place.last_row + 1):
        row = rows[number - 1] if number <= len(rows) else []
        values = [row[n - 1] if n <= len(row) else "" for n in range(place.first_column, place.last_column + 1)]
        if any(value != "" for value in values):
            texts = [None if value == "" else value for value in values]
            found.append(dict(zip(KEYS, texts, strict=True)))
    return found


def same(mine: list[dict[str, Any]], wanted: list[dict[str, Any]]) -> None:
    assert len(mine) == len(wanted)
    for row, right in zip(mine, wanted, strict=True):
        moment = row["on"]  # another reader makes a date of it
        assert (moment.year, moment.month, moment.day) == (TODAY.year, TODAY.month, TODAY.day)
        for key in KEYS[:-1]:
            expected = right[key]
            assert row[key] == (pytest.approx(expected, rel=1e-12) if isinstance(expected, float) else expected), key


def test_the_rows_stand_in_the_table_and_nothing_else_changed(tmp_path: Path, office: Office) -> None:
    path = tmp_path / "log.xlsx"
    path.write_bytes(demo())
    rows = learned(path)
    assert len(rows) > 5
    new = with_learned(demo(), rows, LAYOUT)
    same(kept(new), rows)
    assert changed(demo(), new) <= {Package(demo()).sheets["Summary"], "xl/sharedStrings.xml"}
    place = place_of(new)
    old_cells, new_cells = cells(demo())["Summary"], cells(new)["Summary"]
    assert new_cells[: place.heading_row] == old_cells[: place.heading_row]
    assert complaints(new, tmp_path) == []
    out = tmp_path / "new.xlsx"
    out.write_bytes(new)
    shown = office.values(out)["Summary"]
    column = letter(place.column("Why, and how sure"))
    assert shown[f"{column}{place.first_row}"] == rows[0]["words"]
    assert shown[f"{letter(place.column('Fish'))}{place.first_row}"] == rows[0]["fish"]
    assert check_log(out, LAYOUT).findings == check_log(path, LAYOUT).findings


def test_old_rows_are_cleared_and_once_is_enough(tmp_path: Path) -> None:
    path = tmp_path / "log.xlsx"
    path.write_bytes(demo())
    rows = learned(path)
    once = with_learned(demo(), rows, LAYOUT)
    assert with_learned(once, rows, LAYOUT) == once
    fewer = with_learned(once, rows[:2], LAYOUT)
    same(kept(fewer), rows[:2])
    assert kept(with_learned(once, [], LAYOUT)) == []


def test_the_table_grows_where_it_must(tmp_path: Path) -> None:
    path = tmp_path / "log.xlsx"
    path.write_bytes(demo())
    rows = learned(path)
    before = place_of(demo())
    many = (rows * 40)[: before.last_row - before.heading_row + 7]
    new = with_learned(demo(), many, LAYOUT)
    assert place_of(new).last_row == before.last_row + 7
    same(kept(new), many)
    assert complaints(new, tmp_path) == []
    edit = WorkbookEdit(demo())
    edit.put("Summary", before.last_row + 3, 2, "my own figures")
    with pytest.raises(EditError, match="something stands in"):
        with_learned(edit.content(), many, LAYOUT)
    assert cells(with_learned(edit.content(), rows, LAYOUT))["Summary"][before.last_row + 2][1] == "my own figures"


def test_a_log_without_the_table_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="has no table with 'Species learned' on its sheet Summary"):
        with_learned(first_log(clean()), [], LAYOUT)


def run(*words: object) -> Result:
    return CliRunner().invoke(cli, ["responses", *map(str, words)])


def test_a_log_of_layout_1_is_refused_before_anything_is_printed(tmp_path: Path) -> None:
    path = tmp_path / "log.xlsx"
    path.write_bytes(first_log(clean()))
    before = path.read_bytes()
    done = run(path, "--into-log", "--replace")
    assert done.exit_code != 0
    assert done.stdout == ""
    assert "bring it up to date first" in str(done.exception or "") + done.stderr
    assert path.read_bytes() == before


def test_the_command(tmp_path: Path) -> None:
    path, out = tmp_path / "log.xlsx", tmp_path / "new.xlsx"
    path.write_bytes(demo())
    wanted = len(learned(path))
    done = run(path, "--into-log", "--out", out)
    assert done.exit_code == 0, done.output
    assert done.output.endswith(f"Made {out}; {wanted} rows of what the log has learned on its Summary sheet\n")
    assert path.read_bytes() == demo()
    assert len(kept(out.read_bytes())) == wanted
    done = run(path, "--into-log", "--replace", "--species", "tilapia")
    assert done.exit_code == 0, done.output
    assert len(kept(path.read_bytes())) == wanted
    (backup,) = tmp_path.glob("log.backup-*.xlsx")
    assert backup.read_bytes() == demo()
    for words in ((path, "--into-log"), (path, "--out", tmp_path / "other.xlsx"), (path, "--into-log", "--out", out)):
        assert run(*words).exit_code == 2
    assert not (tmp_path / "other.xlsx").exists()
