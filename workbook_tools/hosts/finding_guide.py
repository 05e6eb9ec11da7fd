"""The guide to the findings: what the check says, what each finding means and what to do about it."""

from __future__ import annotations

from collections.abc import Iterator

from workbook_tools.hosts import written
from workbook_tools.hosts.written import GuideBlock, GuideHeading, GuideParagraph, Items
from workbook_tools.layout.advice import WORDS, Advice, advices, rules

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
FEW = 4  # sheets that are named one by one


def markdown() -> str:
    """The guide as Markdown."""
    return written.markdown(TITLE, _blocks())


def page() -> str:
    """The guide as a page of HTML."""
    return written.page(TITLE, _blocks())


def _blocks() -> list[GuideBlock]:
    blocks: list[GuideBlock] = [Items(NOTES)]
    about = ""
    for one in advices().values():
        if one.about != about:
            blocks.append(GuideHeading(one.about))
            about = one.about
        blocks += [GuideHeading(one.code, 3), GuideParagraph(one.meaning), Items(tuple(_facts(one)))]
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
