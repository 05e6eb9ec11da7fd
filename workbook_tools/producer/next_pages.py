"""When the next visit is, what is to be done until then, and whom to call. Names come from the log's rows alone."""

from __future__ import annotations

from collections.abc import Iterable

from workbook_tools.layout.compute import Row
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import id_text
from workbook_tools.producer.page_making import Making, day_or_dash, packed_pages, text_or_dash
from workbook_tools.xlsx.printing.blocks import Block, Facts, Heading, Lines, Page, Paragraph, PrintedTable, Ticks


def next_pages(making: Making) -> list[Page]:
    """The pages of what comes next."""
    words = making.words
    groups: list[list[Block]] = [_visits(making), _follow_ups(making), _call(making), _at_once(making)]
    return packed_pages(words("next_title"), words("next_sheet"), groups, making)


def _visits(making: Making) -> list[Block]:
    words = making.words
    coming = [row for row in making.site.rows["visits"] if is_number(row["date"]) and row["date"] > making.today]
    blocks: list[Block] = [Heading(words("next_visit"))]
    if not coming:
        return [*blocks, Paragraph(words("next_visit_none")), Lines(1, words("next_visit_line"))]
    for row in sorted(coming, key=lambda one: float(one["date"])):
        purpose = words.listed(row["purpose"])
        text = making.long_day(row["date"])
        blocks.append(Paragraph(f"{text}: {purpose}" if purpose else text, "strong"))
    return blocks


def _follow_ups(making: Making) -> list[Block]:
    words = making.words
    rows = [row for row in making.site.rows["follow_ups"] if row["done"] is None]
    blocks: list[Block] = [Heading(words("follow_ups"))]
    if not rows:
        return [*blocks, Paragraph(words("follow_ups_none"))]
    rows.sort(key=lambda row: row["due"] if is_number(row["due"]) else float("inf"))
    body = []
    for row in rows:
        late = is_number(row["due"]) and row["due"] < making.today
        day = f"{day_or_dash(row['due'])} {words('overdue')}" if late else day_or_dash(row["due"])
        body.append((day, making.stock_name(row["stock"]), id_text(row["what"]), text_or_dash(row["who"]), None))
    heads = [words(f"follow_up_{key}") for key in ("due", "group", "what", "who", "done")]
    return [*blocks, PrintedTable(heads, body, (16, 9, 40, 18, 14), least=22)]


def _call(making: Making) -> list[Block]:
    """Lines to write on where the log has nothing."""
    words, site = making.words, making.site
    pairs = [
        (words("call_contact"), id_text(site.site["contact"]) or None),
        (words("call_contact_telephone"), id_text(site.site["telephone"]) or None),
        (words("call_seen_by"), _latest(site.rows["visits"], "date", "seen_by")),
        (words("call_prescriber"), _latest(site.rows["treatments"], "first", "prescriber")),
        (words("call_vet_telephone"), None),
        (words("call_emergency"), None),
    ]
    return [Heading(words("call")), Facts(pairs, 1, line=True)]


def _latest(rows: Iterable[Row], day: str, key: str) -> str | None:
    """What the latest row that says anything says."""
    told = [row for row in rows if row[key] is not None and is_number(row[day])]
    return id_text(max(told, key=lambda row: float(row[day]))[key]) if told else None


def _at_once(making: Making) -> list[Block]:
    words = making.words
    return [Heading(words("call_when")), Ticks([words(f"call_when_{number}") for number in range(1, 5)])]
