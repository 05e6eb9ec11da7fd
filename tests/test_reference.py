"""Reference rows carry their source, edition, the day they were read and how they are known; none goes without."""

from __future__ import annotations

import csv
import datetime
from pathlib import Path

import pytest

from workbook_tools.layout import case_log
from workbook_tools.layout.load import folder

FILES = sorted((folder() / "reference").glob("*.csv"))
WANTED = ("source", "edition", "read", "how_known")
KNOWN = ("seen", "from memory", "common practice", "range from memory", "waiting time seen")


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def lacking(row: dict[str, str]) -> list[str]:
    """What a reference row lacks, in words."""
    faults = [f"{name} is blank" for name in WANTED if not (row.get(name) or "").strip()]
    read = row.get("read", "")
    if read != "not read":
        try:
            datetime.date.fromisoformat(read)
        except ValueError:
            faults.append(f"read is {read!r}, not a date and not 'not read'")
    if not row.get("how_known", "").startswith(KNOWN):
        faults.append(f"how_known is {row.get('how_known')!r}")
    if read == "not read" and row.get("how_known", "").startswith("seen"):
        faults.append("seen, but not read")
    return faults


def test_every_reference_file_is_found() -> None:
    assert [path.name for path in FILES] == ["agents.csv", "limits.csv", "stages.csv", "treatment_agents.csv"]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_every_row_names_its_source(path: Path) -> None:
    found = rows(path)
    assert found
    assert {next(iter(row.values())): lacking(row) for row in found if lacking(row)} == {}


def test_a_row_without_source_is_refused() -> None:
    row = rows(FILES[0])[0] | {"source": " ", "read": "lately"}
    assert lacking(row) == ["source is blank", "read is 'lately', not a date and not 'not read'"]


def test_every_file_stands_on_the_reference_sheet() -> None:
    """Each row of each file is a row of the sheet, and there is room for a person's own."""
    sheet = next(sheet for sheet in case_log().sheets if sheet.name == "Reference")
    shown = {row[0] for table in sheet.tables for row in table.data}
    assert shown == {next(iter(row.values())) for path in FILES for row in rows(path)}
    assert all(table.rows > len(table.data) for table in sheet.tables if table.key != "stages")


def test_ranges_run_upwards() -> None:
    for name in ("agents.csv", "treatment_agents.csv"):
        for row in rows(folder() / "reference" / name):
            assert 0 < float(row["low"]) <= float(row["high"]), row


def test_euthanasia_waits_the_longer_time_and_names_the_edition() -> None:
    """Two editions differ (AVMA 2013: 10 min, 2020: 30 min); the longer one is the default."""
    [row] = [row for row in rows(folder() / "reference" / "agents.csv") if row["use"] == "euthanasia"]
    assert row["edition"] == "2020"
    assert "at least 30 min" in row["caution"]
