"""Every formula cell of a built workbook: its stored result, formualizer's and LibreOffice's, to a billionth."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from random import Random
from typing import Any

import formualizer
import pytest

from demo.practice import practice
from tests.support.office import Office, OfficeError
from tests.support.packages import replaced_in_sheets
from tests.test_built_files import BENCH, Package
from tests.test_check import Data, clean
from workbook_tools.functions.quantities import Quantity
from workbook_tools.layout import Column, case_log, load
from workbook_tools.log.building.bench import build_bench
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.xlsx.addresses import letter

PROVIDED = 6  # blank rows below the filled ones
Results = dict[tuple[str, str], Any]

# What people type, past every rule; TRUE, and words that look like numbers, are left to tests of their own
JUNK: tuple[Any, ...] = (
    *(None, " ", "x", "12 gal", "310,5", "=1+1", "-", "é", "S01 ", "v001", "n/a", "x" * 250),
    *(0, -1, 0.5, 12, 1e308, -1e9, 46_083, 46_083.5),
)


def messy(key: str) -> Data:
    """A log in which each typed column of one table holds each kind of bad and missing input, a row at a time."""
    data = clean()
    table = case_log().tables[key]
    good = data[key][0]
    for column in table.typed:
        for value in (*JUNK, *limits(column)):
            name = f"M{len(data[key]):04d}"
            data[key].append({**good, table.key_column.key: name, column.key: value})
    return data


def limits(column: Column) -> Iterator[float]:
    """The ends of a column's range, and what lies clearly past them."""
    if isinstance(column.quantity, Quantity):
        step = max(1, abs(column.quantity.high)) * 1e-9
        low, high = column.quantity.low, column.quantity.high
        yield from (low, low - step, high, high + step)


def stored(content: bytes) -> Results:
    """Results of the formula cells as the file has them; every one is there and none is an error."""
    package = Package(content)
    found: Results = {}
    for sheet in package.sheets:
        for address, cell in package.cells(sheet).items():
            if cell.formula is not None:
                assert cell.value is not None, f"{sheet}!{address} has no stored result"
                assert cell.kind != "e", f"{sheet}!{address} holds an error"
                found[sheet, address] = cell.result
    return found


def recalculated(content: bytes, folder: Path) -> Results:
    """Formualizer's results."""
    path = folder / "log.xlsx"
    path.write_bytes(replaced_in_sheets(content, b"_xlfn.ISFORMULA(", b"ISREF("))  # formualizer 0.13 says FALSE
    formualizer.recalculate_file(str(path), str(folder / "recalculated.xlsx"))
    package = Package((folder / "recalculated.xlsx").read_bytes())
    return {
        (sheet, address): f"error {cell.value}" if cell.kind == "e" else cell.result
        for sheet in package.sheets
        for address, cell in package.cells(sheet).items()
        if cell.formula is not None
    }


def opened(content: bytes, folder: Path, office: Office) -> Results:
    """LibreOffice's results."""
    path = folder / "log.xlsx"
    path.write_bytes(content)
    return {
        (sheet, address): f"error {value}" if isinstance(value, OfficeError) else value
        for sheet, cells in office.formula_cells(path).items()
        for address, (_, value) in cells.items()
    }


def differences(mine: Results, other: Results) -> list[str]:
    """Cells whose results differ by more than a billionth, with the words for it."""
    assert mine.keys() == other.keys()
    return [
        f"{sheet}!{address}: stored {mine[sheet, address]!r}, computed {other[sheet, address]!r}"
        for sheet, address in mine
        if not close(mine[sheet, address], other[sheet, address])
    ]


def close(one: Any, other: Any) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-12)
    return bool(one == other)


def check_agrees(content: bytes, folder: Path, office: Office) -> Results:
    """The results, the same by all three."""
    mine = stored(content)
    found = [f"formualizer: {difference}" for difference in differences(mine, recalculated(content, folder))]
    found += [f"LibreOffice: {difference}" for difference in differences(mine, opened(content, folder, office))]
    assert not found, "\n".join([f"{len(found)} cells differ", *found[:20]])
    return mine


def check_log(data: Data, folder: Path, office: Office) -> Results:
    """The results of a log with some blank rows below the filled ones of each sheet; the blank ones show nothing."""
    tables = list(case_log().log_tables())
    padded = {table.key: [*data.get(table.key, ()), *({} for _ in range(PROVIDED))] for table in tables}
    results = check_agrees(build_log(case_log(), padded, rows=1), folder, office)
    blank = {
        (table.sheet, f"{letter(table.first_column + number)}{table.first_row + row}")
        for table in tables
        for row in range(len(padded[table.key]) - PROVIDED, len(padded[table.key]))
        for number in range(len(table.columns))
    } & results.keys()
    assert len(blank) > 100
    assert {results[place] for place in blank} == {""}
    return results


@pytest.mark.parametrize("which", ["empty", "clean", "demo"])
def test_log(which: str, tmp_path: Path, office: Office) -> None:
    data: Data = {"empty": dict, "clean": clean, "demo": practice}[which]()
    results = check_log(data, tmp_path, office)
    # on the Charts sheet a row without a point is a number, too; a line of the Summary says which row it is of
    counting = {table.letters["key_row"] for table in case_log().tables.values() if table.key_source}
    shown = [
        value
        for (sheet, place), value in results.items()
        if sheet != "Charts" and not (sheet == "Summary" and place.rstrip("0123456789") in counting)
    ]
    assert any(isinstance(value, float) and value != 0 for value in shown) == bool(data)


TABLES = [table.key for table in case_log().log_tables()]


@pytest.mark.parametrize("key", TABLES)
def test_messy_log(key: str, tmp_path: Path, office: Office) -> None:
    check_log(messy(key), tmp_path, office)


@pytest.mark.parametrize("key", TABLES)
def test_a_messy_log_is_messy(key: str) -> None:
    rows = messy(key)[key]
    assert len(rows) > 100
    for column in case_log().tables[key].typed:
        assert {None, "x", "12 gal", 0, 1e308} <= {row.get(column.key) for row in rows}, column.key


def changed(table: str, row: int, **values: Any) -> Data:
    """The clean log with some cells of a row changed."""
    data = clean()
    data[table][row] |= values
    return data


@pytest.mark.parametrize(
    "word", ["Site", "Sites", "site", "One row for each farm, hatchery, pond or display that is visited."]
)
def test_a_heading_or_title_is_no_reference(word: str, tmp_path: Path, office: Office) -> None:
    """What stands above the rows of a sheet is none of its rows, though it stands in the same column."""
    check_log(changed("vessels", 0, site=word), tmp_path, office)


@pytest.mark.parametrize("word", ["T*", "T0?", "*", "~T01", "T0~1", "<T02", ">0", "=T01"])
def test_signs_in_a_reference_stand_for_themselves(word: str, tmp_path: Path, office: Office) -> None:
    """A spreadsheet's own look-ups take * and ? for any letters; a vessel "T0?" must not be dosed as T01."""
    results = check_log(changed("baths", 0, vessel=word), tmp_path, office)
    place = case_log().tables["baths"].letters
    assert results["Baths", f"{place['drug']}6"] == ""
    assert "Bath vessel is not on the Vessels sheet." in str(results["Baths", f"{place['check']}6"])


@pytest.mark.parametrize("names", [("1-2", "2-1"), ("3/4", "3 / 4"), ("5 %", "5"), ("S 1", "S  1")])
def test_sites_of_like_names_are_counted_apart(names: tuple[str, str], tmp_path: Path, office: Office) -> None:
    """In the Summary and in sums over the losses. (What the check refuses as an id is left out here.)"""
    data = clean()
    for name in names:
        data["sites"].append({**data["sites"][0], "site": name})
        data["stocks"].append({**data["stocks"][0], "stock": name, "site": name})
    chosen = [names[number % 3 > 0] for number in range(5)]
    data["visits"] += [{**data["visits"][0], "visit": f"N{n}", "site": name} for n, name in enumerate(chosen)]
    data["losses"] += [{**data["losses"][0], "day": f"N{n}", "stock": name} for n, name in enumerate(chosen)]
    check_log(data, tmp_path, office)


def test_losses_in_any_order(tmp_path: Path, office: Office) -> None:
    """Sums up to a day do not hang on the order of the rows."""
    data = clean()
    data["losses"].reverse()
    results = check_log(data, tmp_path, office)
    running = case_log().tables["losses"].letters["running"]
    # by hand: degree days of 9.5, 10.5, 11.5 and 12.5 C, the last day first
    assert [results["Losses", f"{running}{row}"] for row in (6, 7, 8, 9)] == [44.0, 31.5, 20.0, 9.5]


@pytest.mark.parametrize(
    ("table", "row", "values"),
    [
        ("treatments", 0, {"active": 0}),
        ("treatments", 0, {"days": 1e308}),
        ("fish", 1, {"count": 12, "over": 1e-300}),
        ("stocks", 0, {"number": 1e308}),
        ("vessels", 0, {"length": 1e308, "breadth": 1e308}),
        ("samples", 0, {"fields": 1e-300}),
    ],
    ids=str,
)
def test_no_number_makes_an_error_cell(
    table: str, row: int, values: dict[str, float], tmp_path: Path, office: Office
) -> None:
    check_log(changed(table, row, **values), tmp_path, office)


def test_true_for_a_number_counts_in_libreoffice_alone(tmp_path: Path, office: Office) -> None:
    """The named gap: ISNUMBER(TRUE) is TRUE in LibreOffice."""
    content = build_log(case_log(), changed("fish", 1, count=True), rows=PROVIDED + 5)
    mine = stored(content)
    assert differences(mine, recalculated(content, tmp_path)) == []
    rate = ("Fish", f"{case_log().tables['fish'].letters['rate']}7")
    assert mine[rate] == ""
    assert opened(content, tmp_path, office)[rate] == 4.0  # one movement in 15 s


@pytest.mark.parametrize("which", ["empty", "filled"])
def test_bench(which: str, tmp_path: Path, office: Office) -> None:
    results = check_agrees(build_bench(load("bench"), {} if which == "empty" else BENCH), tmp_path, office)
    shown = [value for value in results.values() if value != ""]
    assert (len(shown) > 40) == (which == "filled")


@pytest.mark.parametrize("seed", range(8))
def test_messy_bench(seed: int, tmp_path: Path, office: Office) -> None:
    """All forms at once, some fields of each as they should be, some blank, some with bad input."""
    random = Random(seed)
    values = {
        key: {
            column.key: random.choice((*JUNK, *limits(column)))
            if random.random() < 0.15
            else BENCH[key].get(column.key)
            for column in form.table.typed
        }
        for key, (_, form) in load("bench").forms.items()
    }
    check_agrees(build_bench(load("bench"), values), tmp_path, office)
