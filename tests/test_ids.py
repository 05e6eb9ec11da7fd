"""One way to compare ids: a paste that made the number 7 of an id is the same row for every command."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from tests.test_check import clean
from workbook_tools.across.suggested_doses import planned_baths
from workbook_tools.cli.main import cli
from workbook_tools.layout import case_log
from workbook_tools.layout.compute import Computed
from workbook_tools.layout.ids import cell_key, id_key, id_text
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.merging.matching import alike_id

NAMES = {"V001": 7, "B001": 8, "S01": 9}


def numbered() -> dict[str, list[dict[str, Any]]]:
    """The rows of a small practice, three of its ids numbers."""
    rows: dict[str, list[dict[str, Any]]] = copy.deepcopy(clean())
    for table in rows.values():
        for row in table:
            row.update({key: NAMES[value] for key, value in row.items() if isinstance(value, str) and value in NAMES})
    for row in rows["baths"]:
        row |= {"drug_weighed": None, "started": None}
    return rows


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("ids") / "log.xlsx"
    path.write_bytes(build_log(case_log(), numbered(), rows=12))
    return path


@pytest.mark.parametrize(
    "words",
    [
        ("card", "--bath", "8"),
        ("card", "--bath", " 8 "),
        ("plan", "--visit", "7"),
        ("plan", "--visit", "7 "),
        ("share", "--site", "9", "--out", "copy.xlsx"),
    ],
)
def test_a_number_is_found_by_its_digits(log: Path, words: tuple[str, ...], tmp_path: Path) -> None:
    rest = [str(tmp_path / word) if word.endswith(".xlsx") else word for word in words[1:]]
    done = CliRunner().invoke(cli, [words[0], str(log), *rest])
    assert done.exit_code == 0, done.output


@pytest.mark.parametrize("visit", ["7", "7 ", " 7"])
def test_the_baths_of_a_visit_are_offered_a_learned_dose(visit: str) -> None:
    computed = Computed(case_log(), numbered())
    planned = planned_baths(computed, visit)
    assert planned
    assert {row["visit"] for row in planned} == {7}
    assert len(planned) == sum(row["visit"] == 7 for row in planned_baths(computed, None))
    assert planned_baths(computed, "70") == []


@pytest.mark.parametrize(
    ("one", "other", "same", "in_cells"),
    [
        ("B01", "b01", True, True),
        ("B01", "B01 ", True, False),
        (7, "7", True, False),
        (7.0, 7, True, True),
        ("7.0", 7, False, False),
        ("Straße", "STRASSE", True, True),
        ("B01", "B1", False, False),
        (None, "", True, False),
    ],
)
def test_what_is_the_same_for_people_and_for_cells(one: object, other: object, same: bool, in_cells: bool) -> None:
    assert (id_key(one) == id_key(other)) is same
    assert (cell_key(one) == cell_key(other)) is in_cells


def test_a_blank_is_no_row_of_a_merge() -> None:
    assert alike_id(None) is None
    assert alike_id(7) == alike_id("7 ")
    assert alike_id(True) != alike_id("True")
    assert id_text(7.0) == "7"
