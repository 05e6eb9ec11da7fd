"""The rows of `tests/published/cases.csv` for one topic."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from workbook_tools.errors import ArgumentError
from workbook_tools.functions.catalogue import call, entry

CASES = Path(__file__).parents[1] / "published" / "cases.csv"


@dataclass(frozen=True)
class Case:
    """One worked value from outside the project, with its source."""

    case: str
    function: str
    arguments: tuple[float | str, ...]
    expected: float
    tolerance: float
    source: str
    how_known: str

    def agrees(self, answer: float) -> bool:
        return abs(answer - self.expected) <= self.tolerance + 1e-12 * abs(self.expected)

    def explain(self, answer: float) -> str:
        return f"{self.function}{self.arguments} = {answer}, expected {self.expected}; {self.source} ({self.how_known})"


def published(topic: str) -> list[Case]:
    """The rows of a topic; raises LookupError where there are none."""
    with CASES.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["function"].startswith(f"{topic}.")]
    if not rows:
        raise LookupError(f"no published case for {topic}")
    return [
        Case(
            row["case"],
            row["function"],
            tuple(json.loads(row["args"])),
            float(row["expected"]),
            float(row["tolerance"]),
            row["source"],
            row["how_known"],
        )
        for row in rows
    ]


def check(case: Case) -> None:
    """Fail, with the source, where the function disagrees with the row."""
    answer = call(case.function, *case.arguments)
    assert case.agrees(answer), case.explain(answer)


def attempt(name: str, *arguments: Any) -> float | ArgumentError:
    """The function's answer in base units, or its refusal, for arguments of which some are refused by right."""
    try:
        return float(entry(name).call(*arguments))
    except ArgumentError as error:
        return error
