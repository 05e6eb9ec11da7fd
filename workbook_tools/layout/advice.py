"""What each finding means and what to do about it: the words stand in templates/findings.csv, once for each code."""

from __future__ import annotations

import csv
import functools
from dataclasses import dataclass, fields

from workbook_tools.errors import DataError
from workbook_tools.layout.load import folder, load
from workbook_tools.layout.model import Rule

WORDS = {"fault": "to mend", "notice": "to look at", "conflict": "to decide"}
LAYOUTS = ("case-log", "bench")


@dataclass(frozen=True)
class Advice:
    """What a code means. `severity` and `example` are blank where the layouts say them."""

    code: str
    about: str
    severity: str
    example: str
    meaning: str
    to_do: str


@functools.cache
def advices() -> dict[str, Advice]:
    """Every code, in the order of the guide.

    Raises DataError, naming every fault, where a code stands twice or a text is missing.
    """
    with (folder() / "findings.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    faults = []
    found: dict[str, Advice] = {}
    ruled = rules()
    for row in rows:
        one = Advice(**{field.name: row[field.name] or "" for field in fields(Advice)})
        if one.code in found:
            faults.append(f"findings.csv: {one.code} stands twice")
        if not (one.about and one.meaning and one.to_do):
            faults.append(f"findings.csv: {one.code} has no group, no meaning or nothing to do")
        if one.code in ruled and (one.example or one.severity):
            faults.append(f"findings.csv: the layouts say severity and example of {one.code}")
        if one.code not in ruled and (one.severity not in WORDS or not one.example):
            faults.append(f"findings.csv: {one.code} has no severity or no example")
        found[one.code] = one
    if faults:
        raise DataError(faults)
    return found


@functools.cache
def rules() -> dict[str, list[tuple[str, Rule]]]:
    """The rules of the layouts by code, each with the sheet it stands on."""
    found: dict[str, list[tuple[str, Rule]]] = {}
    for name in LAYOUTS:
        for table in load(name).tables.values():
            for rule in table.rules:
                found.setdefault(rule.code, []).append((table.sheet, rule))
    return found
