"""What the commands say to somebody who has just begun: a sentence that tells what to do, never an empty table."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.commands import run
from workbook_tools.layout import case_log, load
from workbook_tools.log.building.bench import build_bench
from workbook_tools.log.building.log_workbook import build_log

EMPTY = "empty.xlsx"


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / EMPTY).write_bytes(build_log(case_log(), rows=5))
    return tmp_path


@pytest.mark.parametrize("command", ["card", "plan"])
def test_a_log_without_a_bath_says_where_to_plan_one(command: str) -> None:
    said = run(command, EMPTY, code=2).output
    assert said == (
        f"Error: {EMPTY}: has no bath yet: plan one on the Baths sheet (visit, vessel, agent, start dose), and save.\n"
    )


def test_a_log_without_a_site_says_where_to_type_one() -> None:
    said = run("share", EMPTY, "--site", "S01", "--out", "copy.xlsx", code=2).output
    assert said == f"Error: {EMPTY}: has no site yet: type its name on the Sites sheet, and save.\n"
    assert not Path("copy.xlsx").exists()


def test_a_summary_of_nothing_has_no_empty_tables() -> None:
    lines = run("summary", EMPTY).output.splitlines()
    assert lines[:4] == [f"{name}: nothing yet." for name in CAPTIONS]
    assert len(lines) == 5


CAPTIONS = ("By species", "By agent", "By site", "Release and losses by stock")


def test_a_bench_workbook_is_no_log(folder: Path) -> None:
    (folder / "bench.xlsx").write_bytes(build_bench(load("bench")))
    for command in ("check", "card", "summary"):
        said = run(command, "bench.xlsx", code=2).output
        assert said == "Error: bench.xlsx: is a workbook, but has none of the sheets of a case log.\n"


def test_a_refusal_names_the_function_as_it_was_typed() -> None:
    """The same name whether an argument is missing, unreadable or out of range."""
    assert run("calc", "BATH.MASS", "40", code=2).output.startswith("Error: BATH.MASS: dose is missing (allowed: ")
    assert run("calc", "BATH.MASS", "40", "-5", code=2).output.startswith("Error: BATH.MASS: dose = -5.0: is negative")
