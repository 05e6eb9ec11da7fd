"""The Calendar and Plan sheets, with something typed in their boxed cell in real LibreOffice."""

from __future__ import annotations

import calendar
import datetime
from pathlib import Path

import pytest

from demo.practice import practice
from tests.support.office import Office
from tests.test_check import clean, day
from workbook_tools.layout import case_log
from workbook_tools.layout.shown_values import EPOCH
from workbook_tools.log.building.log_workbook import build_log

WEEK = "ABCDEFG"


def typed(
    folder: Path, office: Office, data: dict[str, list[dict[str, object]]], sheet: str, value: str
) -> dict[str, object]:
    """Cells of a board after its boxed cell was typed."""
    path = folder / "log.xlsx"
    path.write_bytes(build_log(case_log(), data, rows=12))
    return office.values(office.type_into(path, {sheet: {"C4": value}}, folder / "typed.xlsx"))[sheet]


@pytest.mark.parametrize("month", [(2026, 3), (2026, 2), (2027, 11), (2028, 2)], ids=str)
def test_the_days_of_a_month(month: tuple[int, int], tmp_path: Path, office: Office) -> None:
    """Against the calendar of Python's standard library."""
    cells = typed(tmp_path, office, clean(), "Calendar", f"{month[0]}-{month[1]:02d}-17")
    weeks = calendar.Calendar().monthdatescalendar(*month)
    for number, week in enumerate(weeks):
        shown = [(EPOCH + datetime.timedelta(days=float(str(cells[f"{c}{7 + 3 * number}"])))).date() for c in WEEK]
        assert shown == week


def test_releases_and_follow_ups(tmp_path: Path, office: Office) -> None:
    """The group may go when both its treatments allow it: 21 days after 4 March is the 25th."""
    cells = typed(tmp_path, office, clean(), "Calendar", "2026-03-02")
    said = {place: text for place, text in cells.items() if isinstance(text, str) and text.startswith("release")}
    assert said == {"C20": "release K01"}
    assert cells["C19"] == day(2026, 3, 25)
    cells = typed(tmp_path, office, clean(), "Calendar", "2026-05-02")
    assert [text for text in cells.values() if isinstance(text, str) and "follow-up" in text and text[0] == "1"] == [
        "1 follow-up"
    ]


def test_the_baths_of_a_visit(tmp_path: Path, office: Office) -> None:
    """Every bath of the visit, wherever its rows stand."""
    data = practice()
    data["baths"].sort(key=lambda row: str(row["agent"]))
    wanted = [row["bath"] for row in data["baths"] if row["visit"] == "V007"]
    assert len(wanted) >= 2
    cells = typed(tmp_path, office, data, "Plan", "V007")
    shown = [cells.get(f"A{row}") for row in range(8, 20)]
    assert [name for name in shown if name] == wanted


def test_more_baths_than_lines_are_said(tmp_path: Path, office: Office) -> None:
    data = clean()
    data["baths"] += [{**data["baths"][1], "bath": f"B{number:03d}"} for number in range(10, 23)]
    cells = typed(tmp_path, office, data, "Plan", "V002")
    assert cells["E5"] == "2 more baths than lines here: see the Baths sheet"
    assert cells["A19"] == "B020"


def test_a_bath_stands_beside_its_check(tmp_path: Path, office: Office) -> None:
    data = clean()
    data["baths"][1]["start_dose"] = 500
    cells = typed(tmp_path, office, data, "Plan", "V002")
    assert cells["M7"] == "Check"
    assert "the start dose lies outside the reference range" in str(cells["M8"])
