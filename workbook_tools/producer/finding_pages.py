"""What was found at a site: visits, fish by region of the body, samples, water, and what was given so far."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from workbook_tools.functions.quantities.amounts import JOINT
from workbook_tools.layout.compute import Row
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import id_text
from workbook_tools.producer.page_making import Making, count_text, day_or_dash, packed_pages, text_or_dash
from workbook_tools.producer.treatment_pages import ends
from workbook_tools.xlsx.printing.blocks import Block, Facts, Heading, Page, Paragraph, PrintedTable

REGIONS = ("skin", "fins", "eyes", "mouth", "gill_colour", "gills", "belly", "outcome", "adverse")
LISTS = ("gill_colour", "outcome", "adverse")
FLAGS = {
    "oxygen-low": "flag_oxygen_low",
    "ammonia-high": "flag_ammonia_high",
    "carbon-dioxide-high": "flag_carbon_dioxide_high",
    "ph-outside": "flag_ph_outside",
}


def finding_pages(making: Making) -> list[Page]:
    """The pages of what was found."""
    words, site = making.words, making.site
    facts = Facts(
        [
            (words("fact_site"), f"{site.name} {id_text(site.site['name'])}".strip()),
            (words("fact_kind"), words.listed(site.site["kind"]) or "-"),
            (words("fact_made"), making.long_day(making.today)),
            (words("fact_since"), words("since_all") if site.since is None else day_or_dash(site.since)),
        ]
    )
    groups: list[list[Block]] = [[facts, Paragraph(words("found_intro"))]]
    for part in (_visits, _fish, _samples, _water, _treated):
        groups += part(making)
    return packed_pages(words("found_title"), words("found_sheet"), groups, making)


def _visits(making: Making) -> list[list[Block]]:
    words = making.words
    rows = [row for row in making.site.dated(making.site.rows["visits"], "date") if _made(row, making)]
    if not rows:
        return [[Heading(words("visits")), Paragraph(words("visits_none"))]]
    heads = [words(f"visit_{key}") for key in ("date", "why", "findings", "by")]
    body = [
        (
            day_or_dash(row["date"]),
            words.listed(row["purpose"]) or "-",
            text_or_dash(row["findings"]),
            text_or_dash(row["seen_by"]),
        )
        for row in rows
    ]
    return [[Heading(words("visits")), PrintedTable(heads, body, (13, 17, 50, 19))]]


def _made(row: Row, making: Making) -> bool:
    """Whether a visit has been; one without a date has."""
    return not is_number(row["date"]) or row["date"] <= making.today


def _fish(making: Making) -> list[list[Block]]:
    """For each visit and species: how many fish, and what was seen on how many."""
    words = making.words
    fish = making.site.dated(making.site.rows["fish"], "date")
    parts: dict[tuple[str, str], list[Row]] = {}
    for row in fish:
        parts.setdefault((day_or_dash(row["date"]), id_text(row["species"])), []).append(row)
    groups: list[list[Block]] = []
    for (day, species), rows in parts.items():
        seen = [(words(f"region_{key}"), _seen(rows, key, making)) for key in REGIONS]
        body = [(name, text) for name, text in seen if text]
        number = f"{len(rows)}{JOINT}{words('fish')}"
        head = words("fish_heading", day=day, species=words.listed(species) or "-", number=number)
        block: list[Block] = [Heading(head)]
        if body:
            block.append(PrintedTable((words("region"), words("region_seen")), body, (18, 80)))
        else:
            block.append(Paragraph(words("region_none")))
        groups.append(block)
    return groups


def _seen(rows: Sequence[Row], key: str, making: Making) -> str:
    """What was seen in one region, the most frequent first: "frayed (3), pale (1)"."""
    words = making.words
    counted = Counter(id_text(row[key]).strip() for row in rows if row[key] is not None)
    counted.pop("", None)
    shown = [
        f"{words.listed(text) if key in LISTS else text} ({count})"
        for text, count in counted.most_common()
        if not (key == "adverse" and text.casefold() == "none")
    ]
    return "; ".join(shown)


def _samples(making: Making) -> list[list[Block]]:
    words, site = making.words, making.site
    dated = [(site.visit(row["visit"]).get("date"), row) for row in site.rows["samples"]]
    kept = [(day, row) for day, row in dated if not is_number(day) or site.since is None or day >= site.since]
    kept.sort(key=lambda pair: pair[0] if is_number(pair[0]) else float("inf"))
    if not kept:
        return []
    body = []
    for day, row in kept:
        taken = ", ".join(part for part in (words.listed(row["kind"]), id_text(row["site"])) if part)
        seen = text_or_dash(row["found"])
        if is_number(row["count"]) and is_number(row["fields"]):
            counted = words("sample_count", count=count_text(row["count"]), fields=count_text(row["fields"]))
            seen += f" ({counted})"
        body.append(
            (
                day_or_dash(day),
                making.stock_name(row["stock"]),
                taken,
                seen,
                _prevalence(row, making),
                _answer(row, making),
            )
        )
    heads = [words(f"sample_{key}") for key in ("date", "group", "taken", "seen", "prevalence", "answer")]
    return [[Heading(words("samples")), PrintedTable(heads, body, (14, 9, 17, 20, 22, 18))]]


def _prevalence(row: Row, making: Making) -> str:
    if not (is_number(row["positive"]) and is_number(row["examined"])):
        return "-"
    text = making.words("prevalence", positive=count_text(row["positive"]), examined=count_text(row["examined"]))
    if all(is_number(row[key]) for key in ("prevalence", "low", "high")):
        share, low, high = (f"{100 * row[key]:.0f}{JOINT}%" for key in ("prevalence", "low", "high"))
        text += f": {making.words('prevalence_share', share=share, low=low, high=high)}"
    return text


def _answer(row: Row, making: Making) -> str:
    """The laboratory's answer, or that it is awaited."""
    if row["result"] is not None:
        return f"{id_text(row['result'])} ({day_or_dash(row['resulted'])})"
    return making.words("answer_awaited") if row["sent"] is not None else "-"


def _water(making: Making) -> list[list[Block]]:
    words, units = making.words, making.units
    rows = making.site.dated(making.site.rows["water"], "date")
    if not rows:
        return []
    body = []
    for row in rows:
        codes = making.site.flags.get(id(row), ())
        flags = "; ".join(words(FLAGS[code]) for code in codes if code in FLAGS)
        oxygen = _short(row["oxygen"], 1)
        if is_number(row["percent"]):
            oxygen += f" ({row['percent']:.0f}{JOINT}%)"
        tank = making.tank(row["vessel"]) or "-"
        temperature = units.temperature(row["temperature"]) if is_number(row["temperature"]) else "-"
        body.append(
            (
                *(day_or_dash(row["date"]), tank, temperature, _short(row["ph"], 1), oxygen),
                *(_short(row["unionised"], 4), _short(row["carbon_dioxide"], 1), flags or words("flag_none")),
            )
        )
    heads = [words(f"water_{key}") for key in ("date", "tank", "temperature", "ph", "oxygen", "ammonia", "gas", "flag")]
    return [
        [
            Heading(words("water")),
            PrintedTable(heads, body, (15, 19, 13, 7, 14, 12, 10, 25)),
            Paragraph(words("water_note"), "small"),
        ]
    ]


def _short(value: object, places: int) -> str:
    if is_number(value):
        return f"{value:.{places}f}"
    return text_or_dash(value)


def _treated(making: Making) -> list[list[Block]]:
    """Treatments that are over."""
    words, site = making.words, making.site
    rows = [row for row in site.dated(site.rows["treatments"], "first") if ends(row) < making.today]
    if not rows:
        return []
    heads = [words(f"treated_{key}") for key in ("days", "group", "agent", "why", "response")]
    body = [
        (
            f"{day_or_dash(row['first'])} {words('to')} {day_or_dash(row['last'])}",
            making.stock_name(row["stock"]),
            f"{id_text(row['agent'])} ({words.listed(row['route'])})",
            text_or_dash(row["why"]),
            text_or_dash(row["result"]),
        )
        for row in rows
    ]
    return [[Heading(words("treated")), PrintedTable(heads, body, (30, 9, 25, 17, 19))]]
