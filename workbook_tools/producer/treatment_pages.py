"""What the producer is to give: for each running or coming treatment the amount, the days to tick, how to mix it.

Amounts are those that the log computes; none is computed here.
"""

from __future__ import annotations

from collections.abc import Iterator

from workbook_tools.functions.quantities.amounts import JOINT, short
from workbook_tools.layout.compute import Row
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import id_text
from workbook_tools.producer.page_making import Making, count_text, day_or_dash, packed_pages, text_or_dash
from workbook_tools.xlsx.printing.blocks import (
    Block,
    Caution,
    Facts,
    Heading,
    Page,
    Paragraph,
    TickRow,
    TickTable,
    Value,
)

BOXES_A_ROW = 10
NEEDS_WATER = ("bath", "bath by volume", "bath by strength", "salt", "euthanasia bath", "take out chlorine")
DOSE_UNITS = {"mg/kg a day": "dose_daily", "mg/L chlorine": "dose_chlorine"}  # units with words in them
# a part of a product's name -> the caution that goes with it; every one that fits is printed
CAUTIONS = {
    "formalin": "caution_formalin",
    "formaldehyde": "caution_formalin",
    "peroxide": "caution_peroxide",
    "chloramine": "caution_chloramine",
    "chlorine": "caution_chlorine",
    "hypochlorite": "caution_chlorine",
    "acid": "caution_acid",
    "tricaine": "caution_acid",
    "permanganate": "caution_peroxide",
}
ROUTE_CAUTIONS = {
    "feed": "caution_feed",
    "injection": "caution_injection",
    "take out chlorine": "caution_chlorine",
    "bath by volume": "caution_liquid",
    "bath by strength": "caution_liquid",
}


def due(making: Making) -> list[Row]:
    """Treatments that run or are to come, in order of their first days."""
    rows = [row for row in making.site.rows["treatments"] if ends(row) >= making.today]
    return sorted(rows, key=lambda row: row["first"] if is_number(row["first"]) else 0)


def ends(row: Row) -> float:
    """Last day of a treatment as far as the log says; without any day it is still to come."""
    if is_number(row["last"]):
        return float(row["last"])
    if is_number(row["first"]):
        return float(row["first"]) + (row["days"] - 1 if is_number(row["days"]) and row["days"] > 1 else 0)
    return float("inf")


def amount_each_time(row: Row, making: Making) -> tuple[str, float] | None:
    """Grams or millilitres for one time, as ("g", 4.86); None where the log has no amount that can be relied on."""
    stock = making.site.stock(row["stock"])
    if (
        id_text(row["route"]).casefold() in NEEDS_WATER
        and row["used"] is None
        and not making.site.vessel(stock.get("vessel"))
    ):
        return None  # the water would be that of a tank which is not this site's
    for unit, key in (("g", "grams"), ("mL", "millilitres")):
        if is_number(row[key]):
            return unit, float(row[key])
    return None


def printed_amount(found: tuple[str, float], making: Making) -> str:
    unit, value = found
    return making.units.grams(value) if unit == "g" else making.units.millilitres(value)


def treatment_pages(making: Making) -> list[Page]:
    """The pages of what to give; one page that says so where nothing is."""
    words = making.words
    rows = due(making)
    groups: list[list[Block]] = [[Caution(words("caution_label"))]]
    if not rows:
        groups.append([Paragraph(words("give_nothing"))])
    groups += [treatment_blocks(row, making) for row in rows]
    return packed_pages(words("give_title"), words("give_sheet"), groups, making)


def treatment_blocks(row: Row, making: Making) -> list[Block]:
    """One treatment of one group."""
    words = making.words
    stock = making.site.stock(row["stock"])
    found = amount_each_time(row, making)
    head = words("give_heading", name=id_text(row["treatment"]), agent=id_text(row["agent"]))
    blocks: list[Block] = [Heading(head), Facts(list(_facts(row, stock, making)))]
    if found is None:
        return [*blocks, Paragraph(words("give_no_amount"), "large"), *cautions(row, making)]
    route = id_text(row["route"]).casefold()
    each = "give_each_fish" if route == "injection" else "give_each_day" if route == "feed" else "give_each_time"
    blocks.append(Paragraph(words(each, amount=printed_amount(found, making)), "large"))
    blocks += [Paragraph(words("give_how"), "strong"), *(Paragraph(text) for text in _mixing(row, making))]
    blocks += [*cautions(row, making), *_ticks(row, stock, found, making)]
    return blocks


def _facts(row: Row, stock: Row, making: Making) -> Iterator[tuple[str, Value]]:
    words, units = making.words, making.units
    yield words("fact_group"), making.group(stock)
    yield words("fact_route"), words.listed(row["route"]) or "-"
    yield words("fact_first"), day_or_dash(row["first"])
    yield words("fact_last"), day_or_dash(row["last"])
    unit = id_text(row["dose_unit"])
    said = words(DOSE_UNITS[unit]) if unit in DOSE_UNITS else unit
    dose = short(row["dose"], said) if is_number(row["dose"]) else "-"
    yield words("fact_dose"), dose
    if id_text(row["route"]).casefold() in NEEDS_WATER and is_number(row["water"]):
        own = row["used"] is not None or bool(making.site.vessel(stock.get("vessel")))
        yield words("fact_water"), units.litres(row["water"]) if own else "-"
    if is_number(row["minutes"]):
        yield words("fact_minutes"), short(row["minutes"], "min")
    if is_number(row["flow"]):
        yield words("fact_flow"), units.flow(row["flow"])
    if id_text(row["route"]).casefold() == "feed":
        yield words("fact_biomass"), units.kilograms(row["biomass"]) if is_number(row["biomass"]) else "-"
        yield words("fact_feed"), units.kilograms(row["feed"]) if is_number(row["feed"]) else "-"
        yield words("fact_inclusion"), units.inclusion(row["inclusion"]) if is_number(row["inclusion"]) else "-"
    if id_text(row["route"]).casefold() == "injection":
        yield words("fact_fish"), count_text(row["fish"])
    yield words("fact_why"), text_or_dash(row["why"])
    yield words("fact_prescriber"), text_or_dash(row["prescriber"])
    total = _total(row, making)
    if total:
        yield words("fact_total"), total


def _total(row: Row, making: Making) -> str:
    if amount_each_time(row, making) is None:
        return ""
    if is_number(row["total_grams"]):
        return making.units.grams(row["total_grams"])
    return making.units.millilitres(row["total_millilitres"]) if is_number(row["total_millilitres"]) else ""


MIXING = {
    "bath": "mix_bath",
    "bath by volume": "mix_liquid",
    "bath by strength": "mix_liquid",
    "constant flow": "mix_flow",
    "salt": "mix_salt",
    "feed": "mix_feed",
    "injection": "mix_injection",
    "euthanasia bath": "mix_euthanasia",
    "take out chlorine": "mix_chlorine",
}


def _mixing(row: Row, making: Making) -> Iterator[str]:
    words = making.words
    key = MIXING.get(id_text(row["route"]).casefold())
    yield words(key) if key else words("mix_other")
    if is_number(row["minutes"]) and key in ("mix_bath", "mix_liquid"):
        yield words("mix_minutes", minutes=short(row["minutes"], "min"))
    if is_number(row["active"]) and row["active"] != 1:
        yield words("mix_active", share=short(row["active"]))
    if is_number(row["strength"]):
        yield words("mix_strength", strength=short(row["strength"], "mg/mL"))


def cautions(row: Row, making: Making) -> list[Block]:
    """Cautions that go with a treatment: by its product, by its route, and those for every treatment."""
    product = f"{id_text(row['agent'])} {id_text(row['drug_name'])}".casefold()
    keys = [key for part, key in CAUTIONS.items() if part in product]
    route = ROUTE_CAUTIONS.get(id_text(row["route"]).casefold())
    keys += [route] if route else []
    keys += ["caution_gloves"]
    return [Caution(" ".join(making.words(key) for key in dict.fromkeys(keys)))]


def _ticks(row: Row, stock: Row, found: tuple[str, float], making: Making) -> list[Block]:
    """A box for each day: dated where the log names each day, numbered where it only says how often."""
    words = making.words
    tank = making.tank(stock.get("vessel")) or id_text(stock.get("stock"))
    product = f"{id_text(row['treatment'])} {id_text(row['agent'])}".strip()  # a page may go on far from the heading
    values = (product, tank, printed_amount(found, making))
    heads = (words("tick_product"), words("tick_tank"), words("tick_amount"))
    days = tick_days(row, making)
    blocks: list[Block] = []
    if not _dated(row):
        times = str(len(days))
        key = "tick_once" if len(days) == 1 else "tick_numbered"
        blocks.append(Paragraph(words(key, times=f"{times}{JOINT}{words('times')}"), "strong"))
    for start in range(0, len(days), BOXES_A_ROW):
        part = days[start : start + BOXES_A_ROW]
        rows = [TickRow(values)]
        if not _dated(row):
            rows.append(TickRow((words("tick_date"), "", "")))
        blocks.append(TickTable(heads, part, rows, (5, 4, 4), 26))
    return blocks


def tick_days(row: Row, making: Making) -> list[str]:
    """What stands over each box."""
    if _dated(row):
        first = int(row["first"])
        return [making.short_day(first + number) for number in range(int(row["last"]) - first + 1)]
    times = int(row["times"]) if is_number(row["times"]) and row["times"] >= 1 else 1
    return [str(number) for number in range(1, times + 1)]


def _dated(row: Row) -> bool:
    """Whether the days are known one by one: as many days of treatment as there are from the first to the last."""
    first, last, days = row["first"], row["last"], row["days"]
    if not (is_number(first) and is_number(last)):
        return False
    return bool(last - first + 1 == (days if is_number(days) else 1))
