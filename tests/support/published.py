"""Worked values from outside the project: the rows of `tests/published/cases.csv`."""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

CASES = Path(__file__).resolve().parent.parent / "published" / "cases.csv"


@dataclass(frozen=True)
class Case:
    """One worked value. Its source and how it is known stay beside it, for the message of a failing test."""

    case: str
    function: str  # worksheet name, such as BATH.MASS
    arguments: tuple[float | str, ...]  # in the catalogue's order and units
    expected: float
    tolerance: float  # absolute, in `unit`
    unit: str
    source: str
    how_known: str

    def __str__(self) -> str:
        arguments = ", ".join(repr(argument) for argument in self.arguments)
        return (
            f"{self.case}: {self.function}({arguments}) = {self.expected:g} {self.unit} within {self.tolerance:g}; "
            f"source: {self.source} ({self.how_known})"
        )

    def agrees(self, answer: float) -> bool:
        """Whether an answer lies within the case's tolerance; the last bits of a float are not held against it."""
        return abs(answer - self.expected) <= self.tolerance + 1e-12 * abs(self.expected)


@cache
def every_case() -> tuple[Case, ...]:
    """All rows of the file, in its order."""
    with CASES.open(encoding="utf-8", newline="") as file:
        return tuple(
            Case(
                case=row["case"],
                function=row["function"],
                arguments=tuple(json.loads(row["args"])),
                expected=float(row["expected"]),
                tolerance=float(row["tolerance"]),
                unit=row["unit"],
                source=row["source"],
                how_known=row["how_known"],
            )
            for row in csv.DictReader(file)
        )


def published(topic: str) -> list[Case]:
    """The cases of one topic ("WATER", "bath") or of one function ("WATER.OXYGEN").

    Raises LookupError when there are none, so that a misspelt topic does not make an empty test.

    >>> [case.function for case in published("clean")]
    ['CLEAN.THIOSULFATE']
    """
    wanted = topic.upper()
    chosen = [case for case in every_case() if wanted in (case.function, case.function.partition(".")[0])]
    if not chosen:
        topics = sorted({case.function.partition(".")[0] for case in every_case()})
        raise LookupError(f"no published case for {topic!r}; there are cases for {', '.join(topics)}")
    return chosen
