"""The PivotTables: what they show, stored and refreshed by a real LibreOffice, against pandas over the typed rows.

pandas computes from what was typed alone: month, site, agent and seconds are looked up and computed anew here, by other
means than the workbook's.
"""

from __future__ import annotations

import functools
import itertools
import math
import posixpath
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl.utils import get_column_letter, range_boundaries
from openxml_audit import OpenXmlValidator

from demo.practice import practice
from tests.support.office import Office
from tests.test_built_files import MAIN, Package
from tests.test_check import Data, clean, day
from workbook_tools.errors import LayoutError
from workbook_tools.layout import case_log, load
from workbook_tools.layout.model import Pivot, PivotValue
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.building.pivots import PAGE_ROW, Filled, last_row, pivot_figure

SHEET = "Pivots"
PIVOTS = {pivot.key: pivot for sheet in case_log().sheets for pivot in sheet.pivots}
NAMES = {pivot.name: key for key, pivot in PIVOTS.items()}
Shown = dict[tuple[Any, ...], tuple[float | None, ...]]
Table = tuple[Shown, tuple[float | None, ...]]
LOGS = ("demo", "one row", "empty")
ROWS = {"demo": 200, "one row": 20, "empty": 20}  # blank rows below the filled ones on each sheet


def one_row() -> Data:
    """The first row of every sheet."""
    return {key: rows[:1] for key, rows in clean().items()}


def typed(which: str) -> Data:
    return {"demo": practice, "one row": one_row, "empty": dict}[which]()


@functools.cache
def built(which: str) -> bytes:
    return build_log(case_log(), typed(which), rows=ROWS[which])


@functools.cache
def package(which: str) -> Package:
    return Package(built(which))


# ------------------------------------------------------------------------------------------------ pandas' answers


def frame(data: Data, key: str) -> pd.DataFrame:
    """The typed rows of a sheet, a column for each that may be typed."""
    columns = [column.key for column in case_log().tables[key].typed]
    return pd.DataFrame(data.get(key, []), columns=columns, dtype=object)


def with_visit(rows: pd.DataFrame, data: Data) -> pd.DataFrame:
    """Day and site of each row's visit beside it, and the month of the day."""
    visits = frame(data, "visits")[["visit", "date", "site"]].rename(columns={"site": "visit_site"})
    joined = rows.drop(columns=["date"], errors="ignore").merge(visits, on="visit", how="left")
    days = pd.to_datetime(joined["date"].astype(float), unit="D", origin="1899-12-30")
    return joined.assign(month=days.dt.strftime("%Y-%m"))


def summed(rows: pd.DataFrame, by: list[str], figures: dict[str, tuple[str, str]]) -> Table:
    """Figures of each group and of all rows; None where there is no number to count, to add or to average."""

    def of(part: pd.DataFrame) -> tuple[float | None, ...]:
        found: list[float | None] = []
        for column, how in figures.values():
            if how == "size":
                found.append(float(len(part)))
                continue
            numbers = pd.to_numeric(part[column], errors="coerce").dropna()
            found.append(None if numbers.empty else float(getattr(numbers, how)()))
        return tuple(found)

    groups = rows.groupby(by, dropna=False, sort=False) if len(rows) else []
    return {tuple(key): of(part) for key, part in groups}, of(rows) if len(rows) else (None,) * len(figures)


def baths_made(data: Data) -> pd.DataFrame:
    rows = with_visit(frame(data, "baths"), data)
    return rows[pd.to_numeric(rows["drug_weighed"], errors="coerce").notna()]


def baths_by_site(data: Data) -> Table:
    return summed(
        baths_made(data), ["visit_site", "month"], {"baths": ("bath", "size"), "drug": ("drug_weighed", "sum")}
    )


def drug_by_lot(data: Data) -> Table:
    rows = baths_made(data)
    rows = rows.assign(lot=rows["lot"].where(rows["lot"].notna(), "not noted"))
    return summed(rows, ["agent", "lot"], {"drug": ("drug_weighed", "sum")})


def with_bath(rows: pd.DataFrame, data: Data) -> pd.DataFrame:
    """What each row takes from its bath, and the seconds that a day of its times stands for: m:ss is stored as h:mm."""
    baths = frame(data, "baths")[["bath", "agent", "start_dose", "started", "times", "species"]]
    joined = rows.merge(baths, on="bath", how="left")
    stopwatch = joined["times"] == "stopwatch"
    return joined.assign(stopwatch=stopwatch, day=stopwatch.map({True: 1440, False: 86400}))


def with_seconds(rows: pd.DataFrame) -> pd.DataFrame:
    """Seconds to the working stage before anything is said of their order; a stopwatch starts with the bath."""
    into = pd.to_numeric(rows["into"])
    into = into.where(into.notna() | ~rows["stopwatch"], 0)
    return rows.assign(seconds=(pd.to_numeric(rows["working"]) - into) * rows["day"])


def fish_by_dose(data: Data) -> Table:
    rows = with_seconds(with_bath(frame(data, "fish"), data))
    rows = rows.assign(species=rows["other_species"].where(rows["other_species"].notna(), rows["species"]))
    passed = rows["seconds"]
    rows = rows.assign(seconds=passed.where(passed >= 0, passed + 86400))
    rows = rows.assign(seconds=rows["seconds"].where(rows["seconds"] <= 4 * 3600))
    figures = {"all": ("fish", "size"), "timed": ("seconds", "count"), "average": ("seconds", "mean")}
    return summed(rows, ["species", "agent", "start_dose"], figures)


def findings_by_site(data: Data) -> Table:
    rows = with_visit(frame(data, "samples").drop(columns="site"), data)
    rows = rows.assign(found=rows["found"].where(rows["found"].notna(), "not noted"))
    figures = {"samples": ("sample", "size"), "count": ("count", "sum")}
    return summed(rows, ["found", "visit_site", "month"], figures)


def losses_by_cause(data: Data) -> Table:
    stocks = frame(data, "stocks")[["stock", "site"]]
    rows = frame(data, "losses").merge(stocks, on="stock", how="left")
    rows = rows[pd.to_numeric(rows["dead"], errors="coerce").notna()]
    rows = rows.assign(cause=rows["cause"].where(rows["cause"].notna(), "not noted"))
    return summed(rows, ["cause", "site"], {"dead": ("dead", "sum")})


PANDAS: dict[str, Callable[[Data], Table]] = {
    function.__name__: function
    for function in (baths_by_site, fish_by_dose, findings_by_site, losses_by_cause, drug_by_lot)
}


# ----------------------------------------------------------------------------------------------- what is shown


def read(rows: list[list[Any]], pivot: Pivot) -> Table:
    """Figures of each group and of the last row, from the block of cells below the headings."""
    outer = len(pivot.rows)
    found: Shown = {}
    above: list[Any] = [None] * outer
    for row in rows[:-1]:
        first = next(number for number, item in enumerate(row[:outer]) if item not in ("", None))
        above = [*above[:first], *row[first:outer]]
        assert tuple(above) not in found
        found[tuple(above)] = numbers(row[outer:])
    return found, numbers(rows[-1][outer:])


def numbers(cells: list[Any]) -> tuple[float | None, ...]:
    assert all(cell in ("", None) or isinstance(cell, float) for cell in cells), cells
    return tuple(None if cell in ("", None) else cell for cell in cells)


def stored(content: bytes, pivot: Pivot) -> list[list[Any]]:
    """The cells within the place that the part of a PivotTable names."""
    held = Package(content)
    left, top, right, bottom = range_boundaries(place_of(held, pivot))
    cells = held.cells(SHEET)
    found = []
    for row in range(top, bottom + 1):
        addresses = [f"{get_column_letter(column)}{row}" for column in range(left, right + 1)]
        found.append([cells[address].result if address in cells else None for address in addresses])
    return found


def parts(held: Package) -> dict[str, Any]:
    """The parts of the PivotTables, by key."""
    found = [held.xml(name) for name in held.parts if name.startswith("xl/pivotTables/pivotTable")]
    return {NAMES[str(part.get("name"))]: part for part in found}


def place_of(held: Package, pivot: Pivot) -> str:
    location = parts(held)[pivot.key].find(f"{MAIN}location")
    assert location is not None
    return str(location.get("ref"))


def body(block: list[list[Any]], pivot: Pivot) -> list[list[Any]]:
    """The rows below the headings."""
    heads = [row for row, cells in enumerate(block) if cells[len(pivot.rows)] == pivot.values[0].name]
    assert len(heads) == 1
    return block[heads[0] + 1 :]


def check_same(mine: Table, other: Table) -> None:
    assert mine[0].keys() == other[0].keys()
    for group in mine[0]:
        assert alike(mine[0][group], other[0][group]), (group, mine[0][group], other[0][group])
    assert alike(mine[1], other[1]), (mine[1], other[1])


def alike(one: tuple[float | None, ...], other: tuple[float | None, ...]) -> bool:
    return all(
        mine == its if None in (mine, its) else math.isclose(mine or 0, its or 0, rel_tol=1e-9)
        for mine, its in zip(one, other, strict=True)
    )


@pytest.mark.parametrize("key", PIVOTS)
@pytest.mark.parametrize("which", LOGS)
def test_stored_cells_are_what_pandas_computes(which: str, key: str) -> None:
    shown = read(body(stored(built(which), PIVOTS[key]), PIVOTS[key]), PIVOTS[key])
    check_same(shown, PANDAS[key](typed(which)))
    assert len(shown[0]) == {"empty": 0, "one row": 1}.get(which, len(shown[0]))


def test_the_demo_has_what_the_pivots_must_stand() -> None:
    """A planned bath, baths without a lot, fish that never settled, samples without a count, days without a cause."""
    data = typed("demo")
    assert len(baths_made(data)) < len(data["baths"])
    assert any(row.get("lot") is None for row in data["baths"])
    assert any(row["settled"] == "no" for row in data["fish"])
    assert any(row.get("count") is None for row in data["samples"])
    assert any(row["cause"] is None for row in data["losses"])
    assert all(len(PANDAS[key](data)[0]) >= 5 for key in PIVOTS)


@pytest.mark.parametrize("which", LOGS)
def test_libreoffice_refreshes_them_to_the_same(which: str, tmp_path: Path, office: Office) -> None:
    """No empty row of the log shows, neither as a group nor in a figure."""
    path = tmp_path / "log.xlsx"
    path.write_bytes(built(which))
    shown = office.pivots(path)[SHEET]
    assert set(shown) == set(NAMES)
    for name, (corner, block) in shown.items():
        check_refreshed(PIVOTS[NAMES[name]], corner, block, PANDAS[NAMES[name]](typed(which)))


def check_refreshed(pivot: Pivot, corner: str, block: list[list[Any]], expected: Table) -> None:
    words = {cell for row in block for cell in row if isinstance(cell, str)}
    assert not words & {"(empty)", "(blank)"}
    assert corner == f"{get_column_letter(pivot.first_column)}{PAGE_ROW}"
    assert block[0][0] == case_log().tables[pivot.table].by_key[pivot.only].heading
    if not expected[0]:
        assert not [cell for row in block for cell in row if isinstance(cell, float)]
        return
    assert block[0][1] == "yes"
    rows = body(block, pivot)
    assert rows[-1][0] == "Total Result"
    check_same(read(rows, pivot), expected)


MORE: Data = {
    "sites": [{"site": "S77", "name": "Mill race", "kind": "farm", "food_fish": "no"}],
    "visits": [{"visit": "V777", "date": day(2026, 12, 9), "site": "S77"}],
    "stocks": [{"stock": "K77", "site": "S77", "species": "perch", "food_fish": "no"}],
    "baths": [
        {"bath": "B777", "visit": "V777", "species": "perch", "agent": "tricaine methanesulfonate", "start_dose": 90,
         "drug_weighed": 7.5},
        {"bath": "B778", "visit": "V777", "species": "perch", "agent": "tricaine methanesulfonate", "start_dose": 70},
    ],
    "fish": [{"fish": "F7777", "bath": "B777", "into": 0.5, "working": 0.5 + 150 / 86400}],
    "samples": [{"sample": "P777", "visit": "V777", "kind": "skin scrape", "found": "Trichodina", "count": 17}],
    "losses": [{"day": "D7777", "date": day(2026, 12, 10), "stock": "K77", "dead": 4, "cause": "predator"}],
}  # fmt: skip


def texts(data: Data, more: Data) -> dict[str, dict[str, str]]:
    """What is typed into which cell to add rows below those of a log."""
    found: dict[str, dict[str, str]] = {}
    for key, rows in more.items():
        table = case_log().tables[key]
        for number, row in enumerate(rows, start=table.first_row + len(data.get(key, []))):
            cells = {f"{table.letters[column]}{number}": str(value) for column, value in row.items()}
            found.setdefault(table.sheet, {}).update(cells)
    return found


@pytest.mark.parametrize("which", LOGS)
def test_rows_typed_in_libreoffice_are_counted_after_refreshing(which: str, tmp_path: Path, office: Office) -> None:
    path = tmp_path / "log.xlsx"
    path.write_bytes(built(which))
    data = typed(which)
    grown = {key: [*data.get(key, []), *MORE.get(key, [])] for key in {*data, *MORE}}
    shown = office.pivots(path, texts(data, MORE))[SHEET]
    for name, (corner, block) in shown.items():
        expected = PANDAS[NAMES[name]](grown)
        assert expected != PANDAS[NAMES[name]](data)
        check_refreshed(PIVOTS[NAMES[name]], corner, block, expected)


WORDS = ("=1+1", "@SUM(1)", "a < b & \"c\" > 'd'", "x" * 300, "(blank)", "0012", "12", "é 🐟")


def test_groups_are_named_as_typed(tmp_path: Path, office: Office) -> None:
    """No text becomes a formula or a number, none breaks a part; the case of letters makes no other group."""
    data = one_row()
    bath, loss = data["baths"][0], data["losses"][0]
    data["baths"] = [bath | {"bath": f"B{n}", "lot": word, "drug_weighed": n} for n, word in enumerate(WORDS, start=1)]
    data["losses"] = [loss | {"dead": 3, "cause": "disease"}, loss | {"day": "D2", "dead": 4, "cause": "Disease"}]
    content = build_log(case_log(), data, rows=ROWS["one row"])
    path = tmp_path / "log.xlsx"
    path.write_bytes(content)
    assert [str(error) for error in OpenXmlValidator().validate(path).errors] == []
    lots: Table = (
        {(bath["agent"], word): (float(n),) for n, word in enumerate(WORDS, start=1)},
        (36.0,),
    )  # 1 + ... + 8
    causes: Table = ({("disease", "S01"): (7.0,)}, (7.0,))  # by hand
    refreshed = office.pivots(path)[SHEET]
    for key, expected in (("drug_by_lot", lots), ("losses_by_cause", causes)):
        pivot = PIVOTS[key]
        check_same(read(body(stored(content, pivot), pivot), pivot), expected)
        check_same(read(body(refreshed[pivot.name][1], pivot), pivot), expected)


def test_characters_that_xml_cannot_hold_are_written_out(tmp_path: Path) -> None:
    data = one_row()
    data["baths"][0]["lot"] = "bell \a"
    path = tmp_path / "log.xlsx"
    path.write_bytes(build_log(case_log(), data, rows=1))
    assert [str(error) for error in OpenXmlValidator().validate(path).errors] == []
    held = Package(path.read_bytes())
    caches = [content for name, content in held.parts.items() if "pivotCacheDefinition" in name]
    assert sum(b'"bell _x0007_"' in content for content in caches) == 1


# ---------------------------------------------------------------------------------------------------- the parts


def test_parts_pass_the_schema(tmp_path: Path) -> None:
    """Of a log with one row; tests/test_built_files.py asks it of an empty one and of the demo."""
    path = tmp_path / "log.xlsx"
    path.write_bytes(built("one row"))
    assert [str(error) for error in OpenXmlValidator().validate(path).errors] == []


@pytest.mark.parametrize("which", LOGS)
def test_parts_fit_the_cells_and_the_tables(which: str) -> None:
    """A source that grows, a field for each of its columns, no record, numbers of items that are there."""
    held = package(which)
    caches = {name: held.xml(name) for name in held.parts if "pivotCacheDefinition" in name}
    sources = {}
    for name, cache in caches.items():
        source = cache.find(f"{MAIN}cacheSource/{MAIN}worksheetSource")
        assert source is not None
        assert (source.get("ref"), source.get("sheet")) == (None, None)
        (table,) = [table for table in case_log().log_tables() if table.name == source.get("name")]
        assert [field.get("name") for field in cache.iter(f"{MAIN}cacheField")] == [c.heading for c in table.columns]
        assert (cache.get("refreshOnLoad"), cache.get("saveData")) == ("1", "0")
        sources[name] = table
    assert len(caches) == len({table.key for table in sources.values()}) == 4
    for key, part in parts(held).items():
        rels = next(n for n in held.parts if n.endswith(".rels") and "pivotTable" in n and held.parts[n] and
                    f"pivotTable{list(PIVOTS).index(key) + 1}.xml" in n)  # fmt: skip
        (cache_name,) = [posixpath.normpath(f"xl/pivotTables/{link.get('Target')}") for link in held.xml(rels)]
        assert sources[cache_name].key == PIVOTS[key].table
        check_items(part, caches[cache_name], PIVOTS[key])
        block = stored(built(which), PIVOTS[key])
        assert block[-1][0] == "All"


def check_items(part: Any, cache: Any, pivot: Pivot) -> None:
    """Items of fields point to items of the cache; rows to items of fields; the last row to the total."""
    shared = [len(field.find(f"{MAIN}sharedItems")) for field in cache.iter(f"{MAIN}cacheField")]
    fields = list(part.find(f"{MAIN}pivotFields"))
    assert len(fields) == len(shared)
    for field, count in zip(fields, shared, strict=True):
        items = [int(item.get("x")) for item in field.iter(f"{MAIN}item")]
        assert items == (list(range(count)) if field.get("axis") else [])
        assert items or not field.get("axis")
    rows = [int(field.get("x")) for field in part.find(f"{MAIN}rowFields")]
    assert [case_log().tables[pivot.table].columns[place].key for place in rows] == list(pivot.rows)
    groups = list(part.find(f"{MAIN}rowItems"))
    assert groups[-1].get("t") == "grand"
    for group in groups[:-1]:
        before = int(group.get("r", "0"))
        numbers_ = [int(x.get("v")) for x in group]
        assert before + len(numbers_) == len(rows)
        assert all(number < shared[place] for number, place in zip(numbers_, rows[before:], strict=True))
    (page,) = part.find(f"{MAIN}pageFields")
    chosen = list(list(cache.iter(f"{MAIN}cacheField"))[int(page.get("fld"))].find(f"{MAIN}sharedItems"))
    assert [item.get("v") for item in chosen] == ["", "yes"]
    assert chosen[int(page.get("item"))].get("v") == "yes"


def test_tables_stand_apart_and_may_grow_downwards() -> None:
    spans = sorted((p.first_column, p.first_column + p.width - 1) for p in PIVOTS.values())
    assert all(end + 1 < start for (_, end), (start, _) in itertools.pairwise(spans))


def test_private_columns_are_in_no_pivot() -> None:
    for pivot in PIVOTS.values():
        columns = case_log().tables[pivot.table].by_key
        used = [*pivot.rows, pivot.only, *(value.column for value in pivot.values)]
        assert not [key for key in used if columns[key].private]


def test_names_of_figures_are_no_headings() -> None:
    """A spreadsheet refuses a figure that is named as a column of its source."""
    for pivot in PIVOTS.values():
        headings = {column.heading.casefold() for column in case_log().tables[pivot.table].columns}
        assert not headings & {value.name.casefold() for value in pivot.values}


def test_only_columns_say_nothing_but_yes() -> None:
    """LibreOffice lets pass what was not in the column when it opened the file, as a "no" may not have been."""
    for pivot in PIVOTS.values():
        expression = case_log().tables[pivot.table].by_key[pivot.only].expression
        words = {part for number, part in enumerate(expression.split("'")) if number % 2}
        assert words == {"yes"}


# ------------------------------------------------------------------------------------------- the figures themselves

TOY = Pivot("toy", "Toy", "Toy", "baths", "made", ("a", "b"), tuple(
    PivotValue(by, "n", by) for by in ("count", "numbers", "sum", "average")
))  # fmt: skip
TOY_ROWS = st.lists(
    st.fixed_dictionaries(
        {
            "made": st.sampled_from(["yes", "no", None]),
            "a": st.sampled_from(["x", "X", "y", None, 3, 4.5]),
            "b": st.sampled_from(["p", "q"]),
            "n": st.one_of(st.none(), st.integers(-5, 5), st.just("word")),
        }
    ),
    max_size=25,
)


@given(TOY_ROWS)
def test_groups_share_out_the_rows(rows: list[dict[str, Any]]) -> None:
    """Each row that counts is in one group; sums and counts of groups add up to those of all rows."""
    filled = Filled(TOY, rows)
    yes = [row for row in rows if row["made"] == "yes"]
    assert sorted(id(row) for _, group in filled.groups for row in group) == sorted(id(row) for row in yes)
    assert len({tuple(str(item).casefold() for item in items) for items, _ in filled.groups}) == len(filled.groups)
    assert last_row(filled) == 9 + len(filled.groups)
    for value in TOY.values[:3]:
        parts_ = [pivot_figure(value, group) or 0 for _, group in filled.groups]
        assert sum(parts_) == (pivot_figure(value, yes) or 0)
    held = [row["n"] for row in yes if isinstance(row["n"], int)]
    assert pivot_figure(TOY.values[3], yes) == (pytest.approx(sum(held) / len(held)) if held else None)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('table = "baths"\n  only', 'table = "bats"\n  only', "bats"),
        ('only = "made"', 'only = "mad"', "mad"),
        ('rows = ["site", "in_month"]', 'rows = ["site", "inmonth"]', "inmonth"),
        ('by = "sum"', 'by = "some"', "some"),
        ('name = "Number of baths"', 'name = "Bath"', "Bath"),
        ('  y = "rate"', '  y = "rat"', "rat"),
        ('of = "baths"', 'of = "bats"', "bats"),
    ],
)
def test_a_layout_that_contradicts_itself_is_refused(
    old: str, new: str, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every fault has its sentence, and the file is not taken."""
    text = (Path(__file__).parent.parent / "templates" / "case-log.toml").read_text(encoding="utf-8")
    assert old in text
    (tmp_path / "spoilt.toml").write_text(text.replace(old, new), encoding="utf-8")
    (tmp_path / "reference").symlink_to(Path(__file__).parent.parent / "templates" / "reference")
    monkeypatch.setattr(sys.modules["workbook_tools.layout.load"], "folder", lambda: tmp_path)
    with pytest.raises(LayoutError, match=said):
        load("spoilt")
