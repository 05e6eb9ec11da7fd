"""What each finding means and what to do about it: the words stand in templates/findings.csv, once for each code."""

from __future__ import annotations

import csv
import functools
from collections.abc import Iterator
from dataclasses import dataclass, fields

from workbook_tools.errors import DataError
from workbook_tools.hosts import written
from workbook_tools.hosts.written import Block, Heading, Items, Paragraph
from workbook_tools.layouts.load import folder, load
from workbook_tools.layouts.model import Rule

TITLE = "What the check says and what to do"
NOTES = (
    "workbook-tools check prints one line for each finding: the cell, a short name for the finding, the reason in "
    "words, and what stands in the cell. The Check column at the end of a row says the reasons of that row.",
    "To mend: something is wrong or missing, and a figure may be wrong or blank because of it. To look at: it may well "
    "be right; look once and move on. To decide: two copies of the log differ, and only you can say which is right.",
    "The check changes nothing. Mend the cell in your spreadsheet, save, and check again.",
    "A finding says that the record and the arithmetic do not fit. It does not say what to do with the fish: the label "
    "in force, local law and the prescribing veterinarian decide.",
)
WORDS = {"fault": "to mend", "notice": "to look at", "conflict": "to decide"}
FEW = 4  # sheets that are named one by one
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


def markdown() -> str:
    """The guide as Markdown."""
    return written.markdown(TITLE, _blocks())


def page() -> str:
    """The guide as a page of HTML."""
    return written.page(TITLE, _blocks())


def _blocks() -> list[Block]:
    blocks: list[Block] = [Items(NOTES)]
    about = ""
    for one in advices().values():
        if one.about != about:
            blocks.append(Heading(one.about))
            about = one.about
        blocks += [Heading(one.code, 3), Paragraph(one.meaning), Items(tuple(_facts(one)))]
    return blocks


def _facts(one: Advice) -> Iterator[str]:
    ruled = rules().get(one.code, [])
    severities = dict.fromkeys([rule.severity for _, rule in ruled] + ([one.severity] if one.severity else []))
    yield f"{' or '.join(WORDS[severity] for severity in WORDS if severity in severities).capitalize()}."
    sheets = list(dict.fromkeys(sheet for sheet, _ in ruled))
    if sheets:
        yield f"On: {', '.join(sheets) if len(sheets) <= FEW else 'most sheets'}."
    yield f"Says, for example: {one.example or ruled[0][1].say}"
    yield f"What to do: {one.to_do}"
