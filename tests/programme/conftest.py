"""A folder of invented logs among hostile neighbours, made once for all tests of gathering."""

from __future__ import annotations

import datetime
import shutil
import zipfile
from pathlib import Path
from typing import Any

import pytest

from demo.practice import practice as year
from tests.programme.support import gathered_in_turn
from tests.support.first_version import first_log
from tests.support.practices import practice
from workbook_tools.across.many_logs.gathering import Gathered
from workbook_tools.layout import case_log, load
from workbook_tools.log.building.bench import build_bench
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.checking.annotating import annotate
from workbook_tools.log.checking.log_check import check_log
from workbook_tools.log.merging.lending import lent
from workbook_tools.producer.copy import producer_copy
from workbook_tools.producer.locked import locked
from workbook_tools.xlsx.opened import Opened

LOGS = ["north/alder.xlsx", "north/beech.xlsx", "south/cedar.xlsx", "south/deep/first.xlsx", "typed.xlsx"]


def typed() -> dict[str, list[dict[str, Any]]]:
    """Cells that guessing readers turn into something else, and cells that do not fit their columns."""
    return {
        "sites": [
            {"site": "S01", "name": "NA", "kind": "farm", "food_fish": "yes", "telephone": "0012", "notes": "private"},
            {"site": "S02", "name": "None", "kind": "farm", "food_fish": "yes", "contact": "TRUE", "telephone": 12.0},
        ],
        "stocks": [{"stock": "K01", "site": "S02", "species": "tilapia", "food_fish": "yes", "number": "many"}],
        "visits": [{"visit": "V001", "date": 46000, "site": "s01"}, {"visit": "V002", "date": 46000.5, "site": "S02"}],
        "water": [
            {"reading": "W001", "visit": "V001", "time": 0.5, "temperature": "8,5", "ph": True},
            {"reading": "W002", "visit": "V001", "time": 45000.5, "temperature": 8.5, "ph": 7},
        ],
        "baths": [{"bath": "B001", "visit": "V001", "use": "anaesthesia", "started": 0.25, "first_topup": 1.25}],
        "stores": [
            {"lot": "0012", "item": "chloramine-T", "unit": "g", "received": 5, "expiry": 46100},
            {"lot": 12, "item": "chloramine-T", "unit": "g", "received": 5, "expiry": "soon"},
        ],
    }


@pytest.fixture(scope="session")
def logs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five logs, one of layout 1, in folders; beside them what is no log, cannot be read or must not count."""
    folder = tmp_path_factory.mktemp("programme") / "logs"
    for name in LOGS:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
    alder = folder / "north" / "alder.xlsx"
    alder.write_bytes(build_log(case_log(), year(), rows=12))
    (folder / "north" / "beech.xlsx").write_bytes(build_log(case_log(), practice(1).rows, rows=12))
    (folder / "south" / "cedar.xlsx").write_bytes(build_log(case_log(), practice(2).rows, rows=12))
    (folder / "south" / "deep" / "first.xlsx").write_bytes(first_log(year()))
    (folder / "typed.xlsx").write_bytes(build_log(case_log(), typed(), rows=12))
    neighbours(folder, alder)
    return folder


def neighbours(folder: Path, alder: Path) -> None:
    content, checked = alder.read_bytes(), check_log(alder, case_log())
    near = folder / "near"
    near.mkdir()
    (near / "broken.xlsx").write_bytes(content[: len(content) // 2])
    (near / "empty.xlsx").write_bytes(b"")
    (near / "list.xlsx").write_text("site,fish\nS01,3\n")
    (near / "locked.xlsx").write_bytes(locked(content, "a password of some length"))
    with zipfile.ZipFile(near / "zip.xlsx", "w") as archive:
        archive.writestr("readme.txt", "no workbook")
    site = checked.computed.data["sites"][0]["site"]
    copy = producer_copy(checked.computed, site, datetime.datetime(2026, 7, 1, 12), path=alder)
    (near / "producer.xlsx").write_bytes(copy.content)
    (near / "bench.xlsx").write_bytes(build_bench(load("bench")))
    (near / "lent.xlsx").write_bytes(lent(alder, case_log(), "T").content)
    annotate(Opened(alder), checked, near / "marked.xlsx")
    for name in ("~$alder.xlsx", ".~lock.alder.xlsx#", "alder.backup-20260701-120000.xlsx", "notes.txt", ".alder.xlsx"):
        shutil.copy(alder, near / name)
    (near / ".hidden").mkdir()
    shutil.copy(alder, near / ".hidden" / "alder.xlsx")


@pytest.fixture(scope="session")
def gathered(logs: Path) -> tuple[Path, Gathered]:
    """These logs gathered by this process alone: what all other ways are compared with."""
    out = logs.with_name("clean.parquet")
    return out, gathered_in_turn(logs, out)


@pytest.fixture(autouse=True)
def _no_waiting_for_the_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """A power cut is nothing that a test can make; waiting for the disk at each of thousands of files is long."""
    monkeypatch.setattr("os.fsync", lambda number: None)
