"""Rows found in order by SMALL over whole columns: figures are right, and rows may be put in, cut out and sorted."""

from __future__ import annotations

import importlib
import statistics
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from demo.practice import practice
from tests.support.office import Office
from tests.test_built_files import Package
from tests.test_check import clean, day
from workbook_tools.errors import LayoutError, TranslationError
from workbook_tools.layout import case_log, load
from workbook_tools.layout.load import folder
from workbook_tools.layout.measures import measure
from workbook_tools.layout.row_order import STEPS, Group, order
from workbook_tools.log.building.log_workbook import build_log

LOG = case_log()
LAST_ROW = 1_048_576
SHORT = 1e-9


@pytest.mark.parametrize("position", [6, 45, 250])
@pytest.mark.parametrize("seconds", [0.0, 2.0, 47.123456789, 61.3, 179.9999, 3600.25, 86_399.0])
def test_seconds_keep_their_decimals(position: int, seconds: float) -> None:
    """By the step of lists; rows of lists lie below 250."""
    code = order(position, seconds, STEPS["list"])
    assert code is not None
    assert Group([code], position, STEPS["list"]).latest() == pytest.approx(seconds, rel=SHORT, abs=0)


@pytest.mark.parametrize("number", [0, 36_526, 73_050, LAST_ROW, 9_999_999])
def test_days_and_rows_are_exact_on_the_last_row_of_a_sheet(number: int) -> None:
    code = order(LAST_ROW, number, STEPS["reference"])
    assert code is not None
    assert code == LAST_ROW * 10_000_000 + number
    assert Group([code], LAST_ROW, STEPS["reference"]).nth(1) == number


@pytest.mark.parametrize("number", [-1, 1e7, 1e308, None, "x", True])
def test_what_does_not_sort(number: object) -> None:
    assert order(6, number, STEPS["reference"]) is None
    assert order(None, 5, STEPS["reference"]) is None


NUMBERS = st.lists(st.tuples(st.integers(6, 8), st.integers(0, 400)), max_size=30)


@settings(derandomize=True, max_examples=300, deadline=None)
@given(NUMBERS, st.integers(1, 6), st.integers(0, 400))
def test_figures_of_a_group(numbers: list[tuple[int, int]], which: int, limit: int) -> None:
    """Against Python's own sorting and statistics."""
    codes = sorted(float(place * 100_000 + number) for place, number in numbers)
    mine = sorted(number for place, number in numbers if place == 7)
    group = Group(codes, 7, STEPS["list"])
    assert group.nth(which) == (mine[which - 1] if which <= len(mine) else None)
    assert group.latest() == (mine[-1] if mine else None)
    assert group.before(limit) == max((number for number in mine if number < limit), default=None)
    assert group.percentile(0.5) == (statistics.median(mine) if mine else None)
    if len(mine) > 1:
        tenths = statistics.quantiles(mine, n=10, method="inclusive")
        assert group.percentile(0.9) == pytest.approx(tenths[8], rel=SHORT)


def test_only_columns_of_order_have_an_order() -> None:
    for expression in (
        "median(fish.seconds_to_working, row.key_row)",
        "latest(treatments.stock_release)",
        "nth(baths.visit_bath, row.visit_row)",
    ):
        with pytest.raises(TranslationError):
            measure(expression, LOG.tables, "test")


def test_nothing_is_an_array_or_rests_on_a_first_or_last_row() -> None:
    package = Package(build_log(LOG, practice(), rows=4))
    for sheet in package.sheets:
        for address, cell in package.cells(sheet).items():
            text = str(cell.formula or "")
            assert "[" not in text, (sheet, address)
            if sheet in ("Start", "Summary", "Plan", "Calendar", "Charts"):
                assert "1048576" not in text, (sheet, address)
    assert b't="array"' not in build_log(LOG, practice(), rows=4)


def test_what_counts_over_a_later_sheet_is_read_by_later_columns_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stocks look at release dates of Treatments; a release date that looked at Stocks would go round."""
    text = (folder() / "case-log.toml").read_text(encoding="utf-8")
    round_about = text.replace("hold.date(from_day, hold_days)", "lookup(stocks.latest, stock)")
    assert round_about != text
    name = "case-log-round"
    (tmp_path / f"{name}.toml").write_text(round_about, encoding="utf-8")
    (tmp_path / "reference").symlink_to(folder() / "reference")
    monkeypatch.setattr(importlib.import_module("workbook_tools.layout.load"), "folder", lambda: tmp_path)
    with pytest.raises(LayoutError, match="computed later"):
        load(name)


# --------------------------------------------------------------------------------------- rows that people move


def shown(office: Office, path: Path, sheet: str, column: str, rows: range) -> list[object]:
    cells = office.values(path)[sheet]
    return [cells.get(f"{column}{row}") for row in rows]


def test_rows_put_in_cut_out_and_sorted_leave_the_plan_right(tmp_path: Path, office: Office) -> None:
    data = practice()
    path = tmp_path / "log.xlsx"
    path.write_bytes(build_log(LOG, data, rows=40))
    wanted = [row["bath"] for row in data["baths"] if row["visit"] == "V007"]
    assert len(wanted) >= 2
    last = LOG.tables["baths"].letters[LOG.tables["baths"].columns[-1].key]
    filled = 5 + len(data["baths"])
    steps = [
        {"sheet": "Plan", "do": "enter", "cell": "C4", "text": "V007"},
        {"sheet": "Baths", "do": "add", "first": 7, "rows": 2},
        {"sheet": "Baths", "do": "remove", "first": 8, "rows": 1},
    ]
    moved = office.rearrange(path, steps, tmp_path / "moved.xlsx")
    assert [name for name in shown(office, moved, "Plan", "A", range(8, 20)) if name] == wanted
    order = {"sheet": "Baths", "do": "sort", "cells": f"A6:{last}{filled}", "column": 0, "descending": True}
    resorted = office.rearrange(path, [steps[0], order], tmp_path / "sorted.xlsx")
    assert [name for name in shown(office, resorted, "Plan", "A", range(8, 20)) if name] == wanted[::-1]


def test_a_site_put_in_the_middle_stands_in_the_summary(tmp_path: Path, office: Office) -> None:
    data = clean()
    names = [row["site"] for row in data["sites"]]
    assert len(names) == 2
    path = tmp_path / "log.xlsx"
    path.write_bytes(build_log(LOG, data, rows=12))
    steps = [
        {"sheet": "Sites", "do": "add", "first": 7, "rows": 1},
        {"sheet": "Sites", "do": "enter", "cell": "A7", "text": "S09"},
        {"sheet": "Sites", "do": "enter", "cell": "B7", "text": "A third farm"},
    ]
    table = next(table for table in LOG.sheets if table.name == "Summary").tables[2]
    assert table.key == "by_site"
    moved = office.rearrange(path, steps, tmp_path / "moved.xlsx")
    cells = office.values(moved)["Summary"]
    start = next(row for row in range(1, 200) if cells.get(f"A{row}") == "For site") + 1
    assert [cells.get(f"A{row}") for row in range(start, start + 4)] == [names[0], "S09", names[1], ""]


def test_releases_follow_their_stocks(tmp_path: Path, office: Office) -> None:
    """Rows put in above the first treatment and the first loss."""
    path = tmp_path / "log.xlsx"
    path.write_bytes(build_log(LOG, clean(), rows=12))
    steps = [
        {"sheet": "Calendar", "do": "enter", "cell": "C4", "text": "2026-03-02"},
        {"sheet": "Losses", "do": "add", "first": 6, "rows": 1},
        {"sheet": "Treatments", "do": "add", "first": 6, "rows": 3},
    ]
    cells = office.values(office.rearrange(path, steps, tmp_path / "moved.xlsx"))["Calendar"]
    assert [text for text in cells.values() if str(text).startswith("release")] == ["release K01"]
    assert (cells["C20"], cells["C19"]) == ("release K01", day(2026, 3, 25))
