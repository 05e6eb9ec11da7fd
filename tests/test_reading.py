"""The reader of logs against a second one: openpyxl's values, row by row, by the rules as they are written in words.

A row is in use when anything but an id given ahead is typed in it. A blank cell and an empty text are nothing; dates
and times are days; an error, and a date where none belongs, are typed and refused. What a table holds is found by its
headings, wherever they stand in the first 60 rows.
"""

from __future__ import annotations

import datetime
import string
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import python_calamine
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl.cell import Cell
from openpyxl.worksheet.worksheet import Worksheet

from demo.practice import practice
from tests.benchmarks.logs import data
from tests.support import hostile
from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.layout import Table, case_log
from workbook_tools.layout.expressions import python_function
from workbook_tools.layout.load import column_rules
from workbook_tools.layout.model import Column
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.checking.reading import ReadLog, read_log, typed_part, typed_value
from workbook_tools.log.checking.silent_cells import BesideValues, Unread
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.reading import Archive, admitted, admitted_in_turn, native_reader
from workbook_tools.xlsx.reading.contents import cell_sheets

MILLISECOND = 1 / 86_400_000  # both readers make times of day numbers, the one rounds to milliseconds
REFUSED = object()
SHOWN = "what is shown of "
LAYOUT = case_log()


def value_of(cell: Cell, column: Column, log: bool) -> Any:
    """What a cell of a column holds; REFUSED for what cannot be taken for a value where a person types."""
    read = column.typed or not log
    if cell.data_type == "e":
        return REFUSED if read else None
    if cell.value in (None, ""):
        return None
    if isinstance(cell.value, datetime.date | datetime.time | datetime.timedelta):
        return REFUSED if log and column.typed and column.kind not in ("date", "time") else serial(cell.value)
    return cell.value


def headings(sheet: Worksheet, table: Table) -> tuple[int, dict[str, int]]:
    """The row with most of a table's headings, the first of several, and the column of each from 1."""
    wanted = {column.heading.casefold(): column.key for column in table.columns}
    best: tuple[int, dict[str, int]] = (0, {})
    for row in sheet.iter_rows(max_row=60 if table.log else sheet.max_row):
        found: dict[str, int] = {}
        for cell in row:
            if isinstance(cell.value, str) and cell.value.strip().casefold() in wanted:
                found.setdefault(wanted[cell.value.strip().casefold()], cell.column)
        if len(found) > len(best[1]):
            best = row[0].row, found
    return best


def by_hand(sheet: Worksheet | None, table: Table) -> dict[str, Any]:
    """What a reader finds of a table: rows, their numbers, stored results, ids ahead, letters."""
    found: dict[str, Any] = {"rows": [], "numbers": [], "stored": [], "ahead": {}, "letters": {}}
    heading_row, columns = headings(sheet, table) if sheet is not None else (0, {})
    if sheet is None or not heading_row:
        return found
    found["letters"] = {key: letter(column) for key, column in columns.items()}
    last = sheet.max_row if table.log or table.first_column > 1 else min(sheet.max_row, heading_row + table.rows)
    for number in range(heading_row + 1, last + 1):
        held = {
            key: value_of(sheet.cell(number, column), table.by_key[key], table.log) for key, column in columns.items()
        }
        row = {c.key: held.get(c.key) for c in table.columns if c.typed or not table.log}
        used = [row[c.key] for c in table.columns if c.key in row and not (table.log and c.give)]
        if any(value is not None for value in used):
            found["rows"].append(row)
            found["numbers"].append(number)
            computed = (c.key for c in table.columns if table.log and not c.typed and c.key in columns)
            found["stored"].append({key: held[key] for key in computed})
        elif table.log and row[table.key_column.key] is not None:
            name = row[table.key_column.key]
            if name is REFUSED:  # an id as well, by the text that the cell shows
                name = f"{SHOWN}{sheet.cell(number, columns[table.key_column.key]).value}"
            whole = isinstance(name, int) and not isinstance(name, bool)  # the other reader has no whole numbers
            found["ahead"].setdefault(str(float(name) if whole else name), number)
    return found


def same(one: Any, other: Any) -> bool:
    if isinstance(one, Unread) or other is REFUSED:
        return isinstance(one, Unread) and other is REFUSED
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(same(one[key], other[key]) for key in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, bool) or isinstance(other, bool):
        return one is other
    if isinstance(one, int | float) and isinstance(other, int | float):
        return abs(one - other) <= max(MILLISECOND, 1e-12 * abs(one))
    return type(one) is type(other) and bool(one == other)


def assert_read_alike(path: Path) -> None:
    """With stored results, and without: rows are then shortened on the way."""
    assert_alike(path, read_log(path, LAYOUT, results=True), results=True)
    assert_alike(path, read_log(path, LAYOUT), results=False)


def assert_alike(path: Path, log: ReadLog, results: bool) -> None:
    book = openpyxl.load_workbook(path, data_only=True)
    sheets = {sheet.title.casefold(): sheet for sheet in book.worksheets}
    wanted_tables = [table.key for sheet in LAYOUT.sheets for table in sheet.tables if not table.key_source]
    assert [key for key, read in log.tables.items() if not read.table.key_source] == wanted_tables
    for key, read in log.tables.items():
        wanted = by_hand(sheets.get(read.table.sheet.casefold()), read.table)
        ahead = wanted.pop("ahead")
        assert [*read.ahead.values()] == [*ahead.values()], f"{key}.ahead"
        assert all(name in read.ahead for name in ahead if not name.startswith(SHOWN)), f"{key}.ahead"
        for part, value in wanted.items():
            if part == "stored" and not results:
                continue
            assert same(getattr(read, part), value), f"{key}.{part}"


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("demo") / "demo.xlsx"
    path.write_bytes(build_log(LAYOUT, practice(), rows=20))
    return path


def test_the_demo_is_read_alike(demo: Path) -> None:
    assert_read_alike(demo)


def test_an_empty_log_is_read_alike(tmp_path: Path) -> None:
    path = tmp_path / "empty.xlsx"
    path.write_bytes(build_log(LAYOUT, rows=5))
    assert_read_alike(path)


def column_moved(book: openpyxl.Workbook) -> None:
    book["Fish"].insert_cols(2, 3)


def rows_above(book: openpyxl.Workbook) -> None:
    book["Baths"].insert_rows(1, 7)


def headings_gone_and_doubled(book: openpyxl.Workbook) -> None:
    book["Baths"]["C5"] = None
    book["Fish"]["E5"] = book["Fish"]["B5"].value
    book["Fish"]["D5"] = f"  {str(book['Fish']['D5'].value).upper()} "


def sheet_gone(book: openpyxl.Workbook) -> None:
    del book["Water"]


def odd_values(book: openpyxl.Workbook) -> None:
    fish = book["Fish"]
    odd = ("n/a", True, False, "#N/A", "", " ", 12, datetime.date(2026, 3, 2), datetime.time(9, 5), "0012", "1,5", -0.0)
    for row in range(6, 6 + len(odd)):
        for column in range(1, 12):
            fish.cell(row, column).value = odd[(row + column) % len(odd)]


def blank_and_far_rows(book: openpyxl.Workbook) -> None:
    baths = book["Baths"]
    for column in range(1, 100):
        baths.cell(8, column).value = None
    baths.cell(300, 3).value = "stands alone"
    baths.cell(301, 1).value = "B999"


@pytest.mark.parametrize(
    "change", [column_moved, rows_above, headings_gone_and_doubled, sheet_gone, odd_values, blank_and_far_rows]
)
@pytest.mark.parametrize("size", ["small", "large"])
def test_a_log_in_a_mess_is_read_alike(
    change: Callable[[openpyxl.Workbook], None], size: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if size == "large":  # read by several threads, each sheet from a workbook of its own
        monkeypatch.setattr(native_reader, "WORTH_A_THREAD", 0)
        monkeypatch.setattr(native_reader, "LARGE", 0)
    path = tmp_path / "mess.xlsx"
    path.write_bytes(build_log(LAYOUT, data(12), rows=20))
    book = openpyxl.load_workbook(path)
    change(book)
    book.save(path)
    assert_read_alike(path)


TEXTS = st.text(alphabet=string.ascii_letters + string.digits + " .,:-/%", max_size=6)
VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.floats(-1e6, 1e6, allow_subnormal=False),
    st.integers(-1000, 1000),
    st.sampled_from(["#N/A", "#DIV/0!"]),
    TEXTS,
    st.datetimes(datetime.datetime(2000, 1, 1), datetime.datetime(2099, 12, 31)).map(
        lambda d: d.replace(microsecond=0)
    ),
    st.times().map(lambda time: time.replace(microsecond=0)),
)


@st.composite
def sheets(draw: st.DrawFn) -> tuple[str, list[list[Any]]]:
    """A sheet of a log with its headings in some order, other columns among them and some missing."""
    table = LAYOUT.tables[draw(st.sampled_from(["visits", "watch", "losses", "follow_ups"]))]
    heads = draw(st.permutations([*(c.heading for c in table.columns), "My own", "Note 2"]))
    heads = heads[: draw(st.integers(3, len(heads)))]
    above = draw(st.integers(0, 6))
    row = st.lists(VALUES, min_size=len(heads), max_size=len(heads)) | st.just([None] * len(heads))
    return table.sheet, [[None]] * above + [heads] + draw(st.lists(row, max_size=8))


@given(sheets())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_table_is_read_alike(tmp_path: Path, sheet: tuple[str, list[list[Any]]]) -> None:
    name, rows = sheet
    book = openpyxl.Workbook()
    book.worksheets[0].title = name
    for row in rows:
        book.worksheets[0].append(row)
    path = tmp_path / "table.xlsx"
    book.save(path)
    assert_read_alike(path)


def test_columns_judged_by_their_different_values_are_judged_row_by_row_alike(tmp_path: Path) -> None:
    path = tmp_path / "mess.xlsx"
    path.write_bytes(build_log(LAYOUT, data(12), rows=20))
    book = openpyxl.load_workbook(path)
    odd_values(book)
    for row, value in enumerate((True, 1, "x", -5, None, 1e9, 75, "75", 0), start=6):
        book["Baths"].cell(row, 8).value = value
    book.save(path)
    typed = read_log(path, LAYOUT).typed()
    wanted = []
    for table in LAYOUT.log_tables():
        rules = [rule for column in table.typed for rule in column_rules(column)]
        tests = [python_function(rule.when, table, LAYOUT.tables, rule.code, test=True) for rule in rules]
        for position, row in enumerate(typed.data[table.key]):
            pairs = zip(rules, tests, strict=True)
            said = {rule for rule, test in pairs if table.in_use(row) and test([row], typed.find, None, typed)}
            wanted += [(table.key, position, rule) for rule in table.rules if rule in said]
    found = [(table.key, position, rule) for table, position, rule in typed.broken_alone()]
    assert len(wanted) > 30
    assert sorted(found, key=repr) == sorted(wanted, key=repr)


@pytest.mark.parametrize("days", [0.25, 1.0, 1.25, 2.5, 31.5, 59.75, 61.5, 45000.5])
@pytest.mark.parametrize("look", ["h:mm:ss", "[h]:mm:ss", "yyyy-mm-dd hh:mm"])
def test_lengths_of_time_over_a_day_keep_their_number(days: float, look: str, tmp_path: Path) -> None:
    """The number in the file is what is read, though the first days of 1900 are shown differently by programs."""
    book = openpyxl.Workbook()
    book.active["A1"] = days
    book.active["A1"].number_format = look
    book.save(tmp_path / "days.xlsx")
    cells = python_calamine.load_workbook(str(tmp_path / "days.xlsx")).get_sheet_by_index(0).to_python()
    assert typed_value(cells[0][0]) == pytest.approx(days, abs=1e-9)


def test_columns_of_tables_above_each_other_are_looked_for_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same place is text in one table and a number in the other: a percent sign matters to the second alone."""
    beside = BesideValues(Archive(hostile.good(), "good"))
    beside._percents = [b"7"]
    monkeypatch.setattr(beside, "sheet", lambda name: b'<row r="2"><c r="B2" s="7"><v>0.05</v></c></row>')
    fish = LAYOUT.tables["fish"].by_key
    assert beside.look_for("Fish", {1: fish["bath"]}) == []
    assert len(beside.look_for("Fish", {1: fish["weight"]})) == 1


def test_results_that_were_not_read_are_refused(demo: Path) -> None:
    """An empty answer would pass for a log without results."""
    read = read_log(demo, LAYOUT).tables["baths"]
    for asked in (lambda: read.stored, lambda: read.results("check")):
        with pytest.raises(ValueError, match="the stored results of baths were not read"):
            asked()
    with pytest.raises(ValueError, match="let in without its results"):
        read_log(demo, LAYOUT, admitted(demo, asked=typed_part(LAYOUT)), results=True)


def test_two_sheets_of_one_part_are_both_named() -> None:
    one, two = b'Target="worksheets/sheet3.xml"', b'Target="worksheets/sheet2.xml"'
    archive, names = admitted_in_turn("two.xlsx", hostile.replaced(hostile.RELATIONS, one, two))
    assert sorted(names) == sorted(cell_sheets(archive))
