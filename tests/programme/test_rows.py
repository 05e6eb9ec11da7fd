"""The gathered tables hold what the logs hold: against another reader, and cell by cell where readers go wrong."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import pandas
import pytest

from tests.programme.conftest import LOGS
from tests.programme.support import day, tables
from workbook_tools.across.many_logs.columns import FROM, kinds
from workbook_tools.across.many_logs.dataset import Dataset
from workbook_tools.across.many_logs.gathering import Gathered
from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.layout import case_log, load
from workbook_tools.layout.model import Table

NUMBERS = (int, float)
TIMES = (datetime.datetime, datetime.date, datetime.time, datetime.timedelta)


def other_reading(path: Path, table: Table) -> list[tuple[int, dict[str, Any]]]:
    """Rows of a sheet by pandas and openpyxl: sheet rows, and values by heading; rows with an id alone left out."""
    grid = pandas.read_excel(
        path, sheet_name=table.sheet, header=None, keep_default_na=False, na_values=[], dtype=object
    )
    rows = [
        [None if value == "" or value is pandas.NaT else value for value in row] for row in grid.to_numpy().tolist()
    ]
    wanted = {column.heading for column in table.columns}
    head = max(range(len(rows)), key=lambda number: len(wanted & set(rows[number])))
    ids = {column.heading for column in table.columns if column.kind == "id" and column.give}
    typed = {column.heading for column in table.typed} - ids
    found = []
    for number, row in enumerate(rows[head + 1 :], start=head + 2):
        values = dict(zip(rows[head], row, strict=True))
        if any(values.get(heading) is not None for heading in typed):
            found.append((number, values))
    return found


def expected(value: Any, kind: str) -> Any:
    """A cell's value as a table should hold it; None for one that does not fit."""
    if isinstance(value, bool) or value is None:
        return None
    number = serial(value) if isinstance(value, TIMES) else value if isinstance(value, NUMBERS) else None
    if kind == "text":
        return value if isinstance(value, str) else None
    if number is None:
        return None
    if kind == "date":
        return day(int(number)) if number == int(number) else None
    if kind == "time":
        moment = datetime.datetime(2000, 1, 1) + datetime.timedelta(microseconds=round(number * 86_400_000_000))
        return moment.time() if 0 <= number < 1 else None
    return float(number)


@pytest.mark.parametrize("log", LOGS)
def test_rows_equal_an_independent_reading(log: str, logs: Path, gathered: tuple[Path, Gathered]) -> None:
    """Every typed cell, and every computed one against the result that the builder stored."""
    found = tables(gathered[0])
    older = "first" in log
    layout = load("older/case-log-1") if older else case_log()
    seen = 0
    for table in case_log().log_tables():
        mine = [row for row in found[table.key] if row["log_file"] == log]
        if table.key not in layout.tables:
            assert mine == []
            continue
        theirs = other_reading(logs / log, table)
        assert [row["log_row"] for row in mine] == [number for number, _ in theirs]
        for row, (number, values) in zip(mine, theirs, strict=True):
            for one in kinds()[table.key].fields:
                if one.column is None or (older and not one.column.typed):
                    continue
                wanted = expected(values.get(one.column.heading), one.kind)
                if isinstance(wanted, float) and row[one.name] is not None:
                    assert row[one.name] == pytest.approx(wanted, rel=1e-9), (table.key, number, one.name)
                elif isinstance(wanted, datetime.time):
                    assert row[one.name] == wanted or abs_seconds(row[one.name], wanted) < 1e-3
                else:
                    assert row[one.name] == wanted, (table.key, number, one.name)
                seen += wanted is not None
    assert seen > (50 if log == "typed.xlsx" else 500)


def abs_seconds(one: datetime.time, other: datetime.time) -> float:
    """Seconds between two times of day; openpyxl rounds to the millisecond."""
    base = datetime.date(2000, 1, 1)
    return abs((datetime.datetime.combine(base, one) - datetime.datetime.combine(base, other)).total_seconds())


@pytest.mark.parametrize("log", LOGS)
def test_what_does_not_fit_is_listed_once_with_its_place(log: str, logs: Path, gathered: tuple[Path, Gathered]) -> None:
    """The problems are just the typed cells that the other reader finds filled and that have no value in their kind."""
    found = tables(gathered[0])
    wanted = set()
    layout = load("older/case-log-1") if "first" in log else case_log()
    for table in case_log().log_tables():
        if table.key in layout.tables:
            for number, values in other_reading(logs / log, table):
                wanted |= {
                    (table.sheet, number, one.column.heading)
                    for one in kinds()[table.key].fields
                    if one.column is not None
                    and one.column.typed
                    and values.get(one.column.heading) is not None
                    and expected(values[one.column.heading], one.kind) is None
                }
    problems = [row for row in found["problems"] if row["log_file"] == log]
    assert sorted((row["sheet"], row["row"], row["column"]) for row in problems) == sorted(wanted)
    assert bool(problems) == (log in ("typed.xlsx", "north/alder.xlsx", "south/deep/first.xlsx"))


def test_values_that_readers_guess_at(gathered: tuple[Path, Gathered]) -> None:
    found = {
        name: [row for row in rows if row.get("log_file") == "typed.xlsx"] for name, rows in tables(gathered[0]).items()
    }
    assert [(row["name"], row["telephone"], row["contact"]) for row in found["sites"]] == [
        ("NA", "0012", None),
        ("None", None, "TRUE"),
    ]
    assert [row["lot"] for row in found["stores"]] == ["0012", None]
    assert [row["date"] for row in found["visits"]] == [day(46000), None]
    assert [row["log_site"] for row in found["visits"]] == ["S01", "S02"]
    assert [row["time"] for row in found["water"]] == [datetime.time(12), None]
    assert (found["baths"][0]["started"], found["baths"][0]["first_topup"]) == (datetime.time(6), 1.25)
    listed = {(row["cell"].split("!")[0], row["column"]): (row["value"], row["reason"]) for row in found["problems"]}
    assert listed == {
        ("Sites", "Telephone"): ("12", "is a number in a column of text: leading zeros may be lost"),
        ("Stocks", "Number of fish"): ("many", "is text, no number"),
        ("Visits", "Visit date"): ("46000.5", "is a date with a time of day in it"),
        ("Water", "Time of reading"): ("45000.5", "is no time of day"),
        ("Water", "Temperature C"): ("8,5", "is text, no number"),
        ("Water", "pH"): ("TRUE", "is TRUE or FALSE, no number"),
        ("Stores", "Lot number"): ("12", "is a number in a column of text: leading zeros may be lost"),
        ("Stores", "Expires on"): ("soon", "is no date"),
    }


def test_rows_stand_in_the_order_of_files_and_sheets(gathered: tuple[Path, Gathered]) -> None:
    for name, rows in tables(gathered[0]).items():
        places = [(row["log_file"], row.get("log_row", 0)) for row in rows]
        assert places == sorted(places), name


def test_an_older_layout_is_read_and_named(gathered: tuple[Path, Gathered]) -> None:
    fish = [row for row in tables(gathered[0])["fish"] if "first" in row["log_file"]]
    assert fish
    assert {row["log_layout"] for row in fish} == {"1"}
    assert all(row["picture"] is None for row in fish)  # a column that layout 1 did not have
    assert {"rainbow trout"} < {row["species"] for row in fish}


def test_private_columns_and_steps_of_a_computation_are_left_out() -> None:
    for table in case_log().log_tables():
        names = [one.name for one in kinds()[table.key].fields]
        assert len(set(names)) == len(names)  # the four of gathering itself stand in no layout's way
        assert names[: len(FROM)] == [one.name for one in FROM]
        left = {column.key for column in table.columns} - set(names)
        assert left == {column.key for column in table.columns if column.private or column.hidden}
    assert "notes" not in [one.name for one in kinds()["sites"].fields]


def test_parquet_readers_take_a_table_as_one(gathered: tuple[Path, Gathered]) -> None:
    fish = pandas.read_parquet(gathered[0] / "fish")
    assert len(fish) == len(tables(gathered[0])["fish"])
    shape = Dataset(gathered[0]).rows("baths", Dataset(gathered[0]).keys()[0]).schema
    assert shape.field("start_dose").metadata == {b"heading": b"Start dose mg/L", b"unit": b"mg/L"}
