"""The charts: what they draw in a real LibreOffice and what is stored beside them, against the typed rows."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from tests.support.office import Office, OfficeError
from tests.test_built_files import MAIN, Package
from tests.test_check import Data, day
from tests.test_pivots import LOGS, MORE, built, frame, package, texts, typed, with_bath, with_seconds, with_visit
from workbook_tools.functions.formulas.water import ammonia, oxygen_percent, pressure
from workbook_tools.layout import case_log
from workbook_tools.layout.model import Chart
from workbook_tools.log.building.log_workbook import build_log

SHEET = "Charts"
CHARTS = {chart.key: chart for sheet in case_log().sheets for chart in sheet.charts}
TITLES = {chart.title: key for key, chart in CHARTS.items()}
DRAWING = "{http://schemas.openxmlformats.org/drawingml/2006/chart}"
TEXT = "{http://schemas.openxmlformats.org/drawingml/2006/main}"
SCATTER = [key for key, chart in CHARTS.items() if chart.kind == "points"]
Points = list[tuple[float, float]]


# ------------------------------------------------------------------------------------- what should be drawn


def expected(key: str, data: Data) -> Points:
    """Points of a chart, in order of the rows, from what was typed."""
    return {
        "time_by_dose": time_by_dose,
        "rate_through_bath": rate_through_bath,
        "oxygen_by_date": lambda data: by_date(data, "percent"),
        "temperature_by_date": lambda data: by_date(data, "temperature"),
        "ammonia_by_date": lambda data: by_date(data, "ammonia"),
        "losses_by_week": losses_by_week,
    }[key](data)


def time_by_dose(data: Data) -> Points:
    rows = with_seconds(with_bath(frame(data, "fish"), data))
    return points(rows["start_dose"], rows["seconds"])


def rate_through_bath(data: Data) -> Points:
    rows = with_bath(frame(data, "watch"), data)
    since = (pd.to_numeric(rows["time"]) - pd.to_numeric(rows["started"]).where(~rows["stopwatch"], 0)) * rows["day"]
    return points(since, pd.to_numeric(rows["count"]) / pd.to_numeric(rows["over"]) * 60)


def by_date(data: Data, what: str) -> Points:
    """The functions of the workbook, tested elsewhere, over the typed readings."""
    rows = with_visit(frame(data, "water"), data)
    heights = frame(data, "sites").set_index("site")["altitude"].to_dict()
    found: list[float | None] = []
    for row in rows.to_dict("records"):
        has = {key: None if pd.isna(value) else value for key, value in row.items()}
        salinity = has["salinity"] or 0
        height = heights.get(row["visit_site"])
        if what == "temperature":
            found.append(has["temperature"])
        elif what == "percent" and None not in (has["oxygen"], has["temperature"]):
            air = 101.325 if height is None or pd.isna(height) else pressure(height)
            found.append(oxygen_percent(has["oxygen"], has["temperature"], salinity, air))
        elif what == "ammonia" and None not in (has["ammonia"], has["ph"], has["temperature"]):
            found.append(ammonia(has["ammonia"], has["ph"], has["temperature"], salinity))
        else:
            found.append(None)
    return points(rows["date"], pd.Series(found, dtype=object))


def losses_by_week(data: Data) -> Points:
    """The 52 weeks that end with the week of the last day."""
    rows = frame(data, "losses")
    if rows.empty:
        return []
    days = pd.to_datetime(rows["date"].astype(float), unit="D", origin="1899-12-30")
    sums = pd.to_numeric(rows["dead"]).groupby(days.dt.to_period("W-SUN")).sum()
    weeks = pd.period_range(end=days.max().to_period("W-SUN"), periods=52, freq="W-SUN")
    mondays = (weeks.start_time - pd.Timestamp("1899-12-30")).days
    return list(zip(mondays.astype(float), sums.reindex(weeks, fill_value=0).astype(float), strict=True))


def points(x: Any, y: Any) -> Points:
    pairs = zip(pd.to_numeric(x), pd.to_numeric(y), strict=True)
    return [(float(one), float(other)) for one, other in pairs if not (pd.isna(one) or pd.isna(other))]


def check_same(mine: Points, other: Points) -> None:
    assert len(mine) == len(other)
    for one, its in zip(mine, other, strict=True):
        assert all(math.isclose(a, b, rel_tol=1e-9, abs_tol=1e-9) for a, b in zip(one, its, strict=True)), (one, its)


def drawn(
    office: Office, path: Path, more: dict[str, dict[str, str]] | None = None
) -> dict[str, list[tuple[Any, Any]]]:
    """x and y of every chart as LibreOffice has them; x of the weeks from their cells."""
    found = {}
    for chart in office.charts(path, more)[SHEET]:
        (series,) = chart["series"]
        y = series["values-y"]
        found[TITLES[chart["title"]]] = list(zip(series.get("values-x", y), y, strict=True))
    return found


def shown(pairs: list[tuple[Any, Any]]) -> Points:
    """Points that are not below the axis."""
    return [(x, y) for x, y in pairs if isinstance(y, float) and y >= 0]


@pytest.mark.parametrize("which", LOGS)
def test_libreoffice_draws_the_typed_rows(which: str, tmp_path: Path, office: Office) -> None:
    path = tmp_path / "log.xlsx"
    path.write_bytes(built(which))
    found = drawn(office, path)
    assert set(found) == set(CHARTS)
    for key in SCATTER:
        check_same(shown(found[key]), expected(key, typed(which)))
        assert len(found[key]) == rows_drawn(which, key)
        check_no_axis_stretches(found[key], CHARTS[key])
    weeks = [pair[1] for pair in shown(found["losses_by_week"])]
    assert weeks == [dead for _, dead in expected("losses_by_week", typed(which))]


def rows_drawn(which: str, key: str) -> int:
    """All rows that the sheet provides."""
    (cells,) = {int(count.get("val")) for count in chart_part(which, key).iter(f"{DRAWING}ptCount")}
    return cells


def check_no_axis_stretches(pairs: list[tuple[Any, Any]], chart: Chart) -> None:
    """A row without a point lies below the axis, at an x that is there anyway or at the end of the axis."""
    there = [x for x, _ in shown(pairs)]
    assert all(isinstance(x, float) and isinstance(y, float) for x, y in pairs)
    assert all(y == -1 for _, y in pairs if y < 0)
    spare = {x for x, y in pairs if y < 0}
    dated = case_log().tables[chart.table].by_key[chart.x].format == "yyyy-mm-dd"
    if dated and there:
        assert max(spare) >= max(there)
        assert max(spare) in {row["date"] for row in typed("demo")["visits"]} | {day(2026, 3, 2)}
        assert spare == {max(spare), max(spare) - 28}  # four weeks back, so that one date makes an axis
    elif not dated:
        assert spare <= {0.0}


def test_the_demo_has_points_for_every_chart() -> None:
    data = typed("demo")
    assert all(len(expected(key, data)) > 20 for key in CHARTS)
    assert len(expected("time_by_dose", data)) < len(data["fish"])
    assert sum(dead for _, dead in expected("losses_by_week", data)) == sum(row["dead"] for row in data["losses"])


def test_charts_follow_what_is_typed(tmp_path: Path, office: Office) -> None:
    """Also where nothing was there before."""
    path = tmp_path / "log.xlsx"
    path.write_bytes(built("empty"))
    more = MORE | {
        "baths": [row | {"started": 0.5} for row in MORE["baths"]],
        "watch": [{"look": "L777", "bath": "B777", "time": 0.5 + 90 / 86400, "count": 12, "over": 15}],
        "water": [{"reading": "W777", "visit": "V777", "temperature": 12.5, "ph": 7.5, "oxygen": 9.5, "ammonia": 0.5}],
    }
    found = drawn(office, path, texts({}, more))
    for key in SCATTER:
        check_same(shown(found[key]), expected(key, more))
        assert len(shown(found[key])) == 1
    assert [dead for _, dead in shown(found["losses_by_week"])] == [0] * 51 + [4]


CHOSEN = {"time_by_dose": "goldfish", "rate_through_bath": "B001", "oxygen_by_date": "S02", "losses_by_week": "S02"}


def test_a_chart_shows_what_is_chosen(tmp_path: Path, office: Office) -> None:
    """Those rows alone; charts in whose cell nothing stands show all."""
    path = tmp_path / "log.xlsx"
    path.write_bytes(built("demo"))
    found = drawn(office, path, {SHEET: {CELLS[key]: word for key, word in CHOSEN.items()}})
    data = typed("demo")
    for key in SCATTER:
        part = data | ({CHARTS[key].table: chosen_rows(key, data)} if key in CHOSEN else {})
        check_same(shown(found[key]), expected(key, part))
    weeks = sum(dead for _, dead in shown(found["losses_by_week"]))
    assert weeks == sum(row["dead"] for row in chosen_rows("losses_by_week", data)) > 0


def chosen_rows(key: str, data: Data) -> list[dict[str, Any]]:
    visits = {row["visit"]: row["site"] for row in data["visits"]}
    stocks = {row["stock"]: row["site"] for row in data["stocks"]}
    own: dict[str, Callable[[dict[str, Any]], Any]] = {
        "fish": lambda row: next(bath["species"] for bath in data["baths"] if bath["bath"] == row["bath"]),
        "watch": lambda row: row["bath"],
        "water": lambda row: visits[row["visit"]],
        "losses": lambda row: stocks[row["stock"]],
    }
    table = CHARTS[key].table
    kept = [row for row in data[table] if own[table](row) == CHOSEN[key]]
    assert 0 < len(kept) < len(data[table])
    return kept


CELLS = dict(zip(CHARTS, ("B4", "J4", "B32", "J32", "B60", "J60"), strict=True))  # above each chart, by its place


def test_the_cell_above_a_chart_offers_its_list() -> None:
    rules = {str(rule.get("sqref")): rule for rule in package("demo").rules(SHEET)}
    assert set(rules) == set(CELLS.values())
    for key, cell in CELLS.items():
        assert rules[cell].findtext(f"{MAIN}formula1") == f"choices_{CHARTS[key].of}"
        assert rules[cell].get("prompt")


# ------------------------------------------------------------------------------------------------------ the parts


def chart_part(which: str, key: str) -> Any:
    return package(which).xml(f"xl/charts/chart{list(CHARTS).index(key) + 1}.xml")


def words(node: Any) -> str:
    return "".join(text.text or "" for text in node.iter(f"{TEXT}t"))


def cached(part: Any) -> list[dict[int, float]]:
    """Stored values of each sequence, by the number of their row."""
    return [
        {int(point.get("idx")): float(point.findtext(f"{DRAWING}v")) for point in cache.iter(f"{DRAWING}pt")}
        for cache in part.iter(f"{DRAWING}numCache")
    ]


@pytest.mark.parametrize("key", CHARTS)
@pytest.mark.parametrize("which", LOGS)
def test_stored_values_are_the_points(which: str, key: str) -> None:
    """For viewers that do not compute; rows without a point have none."""
    x, y = cached(chart_part(which, key))
    assert x.keys() == y.keys()
    check_same([(x[row], y[row]) for row in sorted(x)], expected(key, typed(which)))


@pytest.mark.parametrize("key", CHARTS)
@pytest.mark.parametrize("which", LOGS)
def test_every_cell_that_is_drawn_is_a_number(which: str, key: str) -> None:
    """For one text among its x a spreadsheet counts 1, 2, 3; a text for y it draws as 0."""
    held = package(which)
    cells = held.cells(SHEET)
    ranges = [node.text for node in chart_part(which, key).iter(f"{DRAWING}f")]
    assert len(ranges) == 2
    for text in ranges:
        first, last = text.removeprefix(f"{SHEET}!").replace("$", "").split(":")
        letters = first.rstrip("0123456789")
        rows = range(int(first.removeprefix(letters)), int(last.removeprefix(letters)) + 1)
        kinds = {cells[f"{letters}{row}"].kind for row in rows}
        assert kinds == ({"str"} if (which, key) == ("empty", "losses_by_week") else {"n"})
        assert all(cells[f"{letters}{row}"].formula is not None for row in rows)


@pytest.mark.parametrize("key", CHARTS)
def test_titles_units_and_looks(key: str) -> None:
    """Axes named with their units and beginning at 0; nothing that a palette decides; no legend."""
    part = chart_part("demo", key)
    titles = [words(title) for title in part.iter(f"{DRAWING}title")]
    assert titles == [CHARTS[key].title, CHARTS[key].x_title, CHARTS[key].y_title]
    assert not list(part.iter(f"{DRAWING}legend"))
    assert {node.get("val") for node in part.iter(f"{DRAWING}overlay")} == {"0"}
    assert {node.get("val") for node in part.iter(f"{DRAWING}delete")} == {"0"}
    y_axis = list(part.iter(f"{DRAWING}valAx"))[-1]
    assert y_axis.find(f"{DRAWING}scaling/{DRAWING}min").get("val") in ("0", "0.0")
    colours = {node.get("val") for node in part.iter(f"{TEXT}srgbClr")}
    assert colours <= {"1B2A33", "7A8B93", "D5DEE1", "FFFFFF"}
    assert not list(part.iter(f"{TEXT}schemeClr"))


def test_charts_are_told_apart_by_their_points() -> None:
    marks = [chart_part("demo", key).find(f".//{DRAWING}marker/{DRAWING}symbol").get("val") for key in SCATTER]
    assert len(set(marks)) == len(SCATTER) == 5


def test_a_log_that_outgrew_its_charts_says_so(tmp_path: Path, office: Office) -> None:
    table = case_log().tables["fish"]
    path = tmp_path / "log.xlsx"
    path.write_bytes(build_log(case_log(), typed("one row"), rows=1))
    below = {"Fish": {f"{table.letters['own_row']}{table.first_row + 1}": "=ROW()"}}
    grown = office.type_into(path, below, tmp_path / "grown.xlsx")
    assert not [cell for cell in Package(path.read_bytes()).cells(SHEET).values() if "not drawn" in str(cell.value)]
    said = {value for value in office.values(grown)[SHEET].values() if "not drawn" in str(value)}
    assert said == {"Rows of Fish below row 6 are not drawn."}


def test_deleted_rows_of_the_log_leave_no_hole(tmp_path: Path, office: Office) -> None:
    """One fish deleted, then four at once: no error, and the points of all others are still drawn."""
    path = tmp_path / "log.xlsx"
    path.write_bytes(built("demo"))
    steps = [{"sheet": "Fish", "do": "remove", "first": first, "rows": rows} for first, rows in ((9, 1), (20, 4))]
    changed = office.rearrange(path, steps, tmp_path / "changed.xlsx")
    assert not [value for value in office.values(changed)[SHEET].values() if isinstance(value, OfficeError)]
    data = typed("demo")
    kept = [row for number, row in enumerate(data["fish"], start=6) if number not in (9, 21, 22, 23, 24)]
    wanted = set(expected("time_by_dose", data | {"fish": kept}))
    points_drawn = shown(drawn(office, changed)["time_by_dose"])
    close = {(round(x, 6), round(y, 6)) for x, y in points_drawn}
    assert {(round(x, 6), round(y, 6)) for x, y in wanted} <= close


def test_print_area_leaves_out_what_the_charts_draw_from() -> None:
    areas = [
        name.text
        for name in package("demo").workbook.iter(f"{MAIN}definedName")
        if name.get("name") == "_xlnm.Print_Area"
    ]
    assert areas == ["'Charts'!$A$1:$O$88"]
    first = min(node.text for node in chart_part("demo", "time_by_dose").iter(f"{DRAWING}f"))
    assert first.startswith("Charts!$R$6")


def test_parts_are_in_the_package_once() -> None:
    held = package("demo")
    assert sum(name.startswith("xl/charts/") for name in held.parts) == len(CHARTS)
    assert [name for name in held.parts if name.startswith("xl/drawings/drawing")] == ["xl/drawings/drawing1.xml"]
