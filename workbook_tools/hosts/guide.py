"""The guide to the functions, generated from the catalogue, as Markdown and as a page."""

from __future__ import annotations

from workbook_tools.functions.catalogue import entries
from workbook_tools.functions.texts.guide_rows import HEADINGS, NOTES, GuideRow, rows
from workbook_tools.hosts import written
from workbook_tools.hosts.written import GuideBlock, GuideHeading, GuideParagraph, Items


def markdown() -> str:
    """The guide as Markdown: a section for each topic, a heading for each function."""
    return written.markdown("Functions", _blocks())


def page() -> str:
    """The guide as a page that any browser, and LibreOffice, can show."""
    return written.page("Functions", _blocks())


def _blocks() -> list[GuideBlock]:
    blocks: list[GuideBlock] = [Items(NOTES)]
    topic = ""
    for entry, row in zip(entries(), rows(), strict=True):
        head = entry.name.partition(".")[0]
        if head != topic:
            blocks.append(GuideHeading(head))
            topic = head
        blocks += [GuideHeading(row.function, 3), GuideParagraph(row.answers), Items(tuple(_details(row)))]
    return blocks


def _details(row: GuideRow) -> list[str]:
    pairs = zip(HEADINGS, row.texts(), strict=True)
    return [f"{title}: {text}" for title, text in list(pairs)[2:] if text]
