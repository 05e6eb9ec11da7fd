"""A year of the demo practice, typed cell by cell in real LibreOffice on two devices, merged, checked and summed up.

The figures are compared with pandas over the rows as they were meant: nothing of the workbook's arithmetic is in them.
"""

from __future__ import annotations

import datetime
import shutil
from collections import Counter
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

from demo.practice import practice
from tests.support.office import Office
from tests.test_check import Data
from tests.test_pivots import frame, with_bath, with_seconds
from workbook_tools.across.summary import summary
from workbook_tools.layout import Column, case_log
from workbook_tools.layout.compute import Computed
from workbook_tools.layout.shown_values import EPOCH
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.checking.log_check import CheckedLog, check_log
from workbook_tools.log.merging.merging_files import merge_files

PROVIDED = 170


def diary() -> Data:
    """The demo's year without the id that is used twice: a merge lists such rows and leaves them to the person."""
    data = practice()
    for number, row in enumerate(data["fish"], start=1):
        row["fish"] = f"F{number:04d}"
    return data


ONCE = ("sites", "vessels", "stocks", "stores")
BY_VISIT = ("visits", "water", "baths", "samples", "treatments", "follow_ups")
BY_BATH = ("watch", "fish")
MIDDLE = [f"V{number:03d}" for number in range(8, 15)]  # visits that are typed on the other device


def as_typed(column: Column, value: Any, stopwatch: bool) -> str:
    """What a person types for a value."""
    if isinstance(value, str):
        return value
    if column.kind == "date":
        return f"{EPOCH + datetime.timedelta(days=value):%Y-%m-%d}"
    if column.kind == "time" and stopwatch and column.elapsed:
        minutes, seconds = divmod(round(value * 1440), 60)
        return f"{minutes}:{seconds:02d}"
    if column.kind == "time":
        return f"{EPOCH + datetime.timedelta(seconds=round(value * 86400)):%H:%M:%S}"
    return repr(value)


def texts(data: Data, first: dict[str, int]) -> dict[str, dict[str, str]]:
    """Cells and what is typed into them, below the rows that are filled already."""
    timed = {row["bath"] for row in diary()["baths"] if row.get("times") == "stopwatch"}
    found: dict[str, dict[str, str]] = {}
    for key, rows in data.items():
        table = case_log().tables[key]
        for number, row in enumerate(rows, start=table.first_row + first.get(key, 0)):
            for name, value in row.items():
                if value is not None:
                    text = as_typed(table.by_key[name], value, row.get("bath") in timed)
                    found.setdefault(table.sheet, {})[f"{table.letters[name]}{number}"] = text
    return found


def part(data: Data, visits: list[str]) -> Data:
    """The rows of some visits."""
    baths = {row["bath"] for row in data["baths"] if row["visit"] in visits}
    chosen: Data = {key: [row for row in data[key] if row["visit"] in visits] for key in BY_VISIT}
    return chosen | {key: [row for row in data[key] if row["bath"] in baths] for key in BY_BATH}


@pytest.fixture(scope="module")
def year(tmp_path_factory: pytest.TempPathFactory, office: Office) -> Path:
    """The log after the year: typed in three sittings on two devices, merged, and saved once more by LibreOffice."""
    folder = tmp_path_factory.mktemp("year")
    data = diary()
    visits = [row["visit"] for row in data["visits"]]
    early, late = visits[:7], visits[14:]
    assert [*early, *MIDDLE, *late] == visits
    new = folder / "new.xlsx"
    new.write_bytes(build_log(case_log(), {}, rows=PROVIDED))
    first = part(data, early) | {key: data[key] for key in ONCE}
    log = office.type_into(new, texts(first, {}), folder / "log.xlsx")
    counts = {key: len(rows) for key, rows in first.items()}
    tablet = folder / "tablet.xlsx"
    shutil.copy(log, folder / "lent.xlsx")
    office.type_into(folder / "lent.xlsx", texts(part(data, MIDDLE), counts), tablet)
    office_copy = folder / "office.xlsx"
    office.type_into(log, texts(part(data, late) | {"losses": data["losses"]}, counts), office_copy)
    merged = merge_files(office_copy, [tablet], case_log(), datetime.datetime(2026, 11, 25, 12))
    assert merged.merged.conflicts == []
    path = folder / "merged.xlsx"
    path.write_bytes(merged.content)
    again = merge_files(path, [tablet, office_copy], case_log(), datetime.datetime(2026, 11, 26, 12))
    assert again.content == merged.content
    return office.convert(path, folder / "year.xlsx", "xlsx")


@pytest.fixture(scope="module")
def checked(year: Path) -> CheckedLog:
    return check_log(year, case_log())


def held(row: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in row.items() if value is not None}


def test_nothing_is_lost_on_the_way(checked: CheckedLog) -> None:
    """Every cell that was typed is read back."""
    for key, rows in diary().items():
        name = case_log().tables[key].key_column.key
        found = {row[name]: held(row) for row in checked.log.tables[key].rows}
        assert len(checked.log.tables[key].rows) == len(rows)
        for row in rows:
            wanted = held(row)
            assert found[row[name]].keys() == wanted.keys(), (key, row[name])
            for column, value in wanted.items():
                close = value if isinstance(value, str) else pytest.approx(value, rel=1e-12, abs=1e-9)
                assert found[row[name]][column] == close, (key, row[name], column)


def test_the_check_says_what_it_says_of_the_rows_as_meant(checked: CheckedLog) -> None:
    meant = Computed(case_log(), diary())
    wanted = Counter((table.sheet, rule.code) for table, _, rule in meant.findings)
    elsewhere = ("column-formula-lost", "name-broken")  # of the file, as LibreOffice saves it
    found = Counter((finding.sheet, finding.code) for finding in checked.findings if finding.code not in elsewhere)
    assert found == wanted


def block(checked: CheckedLog, number: int) -> dict[str, dict[str, Any]]:
    found = summary(checked.computed)[number]
    return {row["key"]: row for row in found.rows}


def test_figures_by_species(checked: CheckedLog) -> None:
    data = diary()
    rows = with_seconds(with_bath(frame(data, "fish"), data))
    recovery = (pd.to_numeric(rows["recovered"]) - pd.to_numeric(rows["out"])) * rows["day"]
    rows = rows.assign(recovery=recovery, seconds=rows["seconds"].where(rows["seconds"] >= 0))
    ours = block(checked, 0)
    assert set(ours) == set(rows["species"])
    for species, part_ in rows.groupby("species"):
        seconds, found = part_["seconds"].dropna(), ours[str(species)]
        assert found["fish"] == len(part_)
        assert found["timed"] == len(seconds)
        assert found["median"] == pytest.approx(seconds.median(), abs=1e-3)
        assert found["ninety"] == pytest.approx(seconds.quantile(0.9), abs=1e-3)
        assert found["quick"] == (seconds <= 180 + 1e-3).sum()
        assert found["soon"] == (part_["recovery"].dropna() <= 300 + 1e-3).sum()
        assert found["died"] == (part_["outcome"] == "died").sum()
        assert found["unsettled"] == (part_["settled"] == "no").sum()


def test_figures_by_agent_site_and_stock(checked: CheckedLog) -> None:
    data = diary()
    baths = frame(data, "baths").merge(frame(data, "visits")[["visit", "site"]], on="visit")
    made = baths[pd.to_numeric(baths["drug_weighed"]).notna()]
    agents, sites, stocks = block(checked, 1), block(checked, 2), block(checked, 3)
    for agent, rows in made.groupby("agent"):
        assert agents[str(agent)]["baths"] == len(rows)
        assert agents[str(agent)]["weighed"] == pytest.approx(pd.to_numeric(rows["drug_weighed"]).sum())
    for site, rows in made.groupby("site"):
        assert sites[str(site)]["baths"] == len(rows)
    lost = frame(data, "losses").groupby("stock")["dead"].sum()
    assert {stock: stocks[str(stock)]["dead"] for stock in lost.index} == lost.to_dict()


def test_the_store_is_what_was_received_less_what_was_used(checked: CheckedLog) -> None:
    """Start masses and top-ups by lot, by hand: (final - start dose) x litres / 1000."""
    data = diary()
    litres = {row["bath"]: row["water"] for row in checked.computed.data["baths"]}
    for lot in checked.computed.data["stores"]:
        if lot["item"] == "tricaine methanesulfonate":
            used = 0.0
            for row in data["baths"]:
                if row.get("lot") == lot["lot"] and row.get("drug_weighed") is not None:
                    rise = min((row.get("topups") or 0) * row.get("step", 0), row.get("limit", 0) - row["start_dose"])
                    used += row["drug_weighed"] + (rise * litres[row["bath"]] / 1000 if row.get("topups") else 0)
            assert lot["balance"] == pytest.approx(lot["received"] - used)


def test_libreoffice_stored_the_same_summary(year: Path, checked: CheckedLog) -> None:
    """What LibreOffice computed and saved, cell by cell."""
    sheet = openpyxl.load_workbook(year, data_only=True)["Summary"]
    layout = case_log()
    for key in ("by_species", "by_agent", "by_site"):
        table = layout.tables[key]
        headings = {sheet.cell(row, 1).value: row for row in range(1, sheet.max_row + 1)}
        top = headings[table.columns[0].heading]
        shown = {sheet.cell(row, 1).value: row for row in range(top + 1, top + 1 + len(checked.computed.data[key]))}
        for row in checked.computed.data[key]:
            if row["key"] is not None:
                for number, column in enumerate(table.columns[1:], start=2):
                    value = sheet.cell(shown[row["key"]], number).value
                    wanted = row[column.key]
                    assert (value or None) == (pytest.approx(wanted, rel=1e-9) if wanted else None), (
                        key,
                        row["key"],
                        column.key,
                    )
