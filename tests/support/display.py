"""How far showing an amount moves it: number formats of sheets, and the functions that print amounts."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from decimal import ROUND_HALF_UP, Decimal

import pint

from workbook_tools.cli.printing import number
from workbook_tools.functions.quantities.amounts import amount, short
from workbook_tools.layout import case_log, load
from workbook_tools.layout.model import Layout
from workbook_tools.layout.shown_values import as_shown
from workbook_tools.log.building.boards import PLAN_COLUMNS
from workbook_tools.producer.units import Units
from workbook_tools.xlsx.printing.blocks import Figure

LEAST, MOST = 1e-3, 1e5  # g, mL, L or mg/L: from what a laboratory balance shows to a pond's sack
AN_AMOUNT = re.compile(r"(?<!\w)(g|kg|mL|L|mg/L|g/kg)( CaCO3| chlorine)?$")
NAMED = ("Amount used", "Balance", "Final dose mg/L")
SECTION = re.compile(r"(?:\[([<>=]+)([\d.]+)\])?(.*)")
PRINTED = re.compile(r"(\d+(?:\.\d+)?)[\u00a0 ]([A-Za-z]+(?:[\u00a0 /][A-Za-z]+)?)")
UNITS: pint.UnitRegistry[float] = pint.UnitRegistry()


def displayed(value: float, number_format: str) -> float:
    """What a cell of this format shows for a positive number, as a number.

    As spreadsheets do it (ECMA-376 Part 1, 18.8.31): the first section whose condition holds; 0 is a digit, # one that
    is left out where it is none, E+00 a power of ten.
    """
    for part in number_format.split(";"):
        match = SECTION.fullmatch(part)
        assert match is not None
        sign, limit, pattern = match.groups()
        if sign is None or {"<": value < float(limit), ">=": value >= float(limit), "=": value == float(limit)}[sign]:
            return _by_pattern(value, pattern)
    raise ValueError(f"no section of {number_format!r} holds for {value}")


def _by_pattern(value: float, pattern: str) -> float:
    if pattern == "General":
        return float(f"{value:.10g}")
    digits, power = pattern.split("E", maxsplit=1)[0], "E" in pattern
    places = len(digits.partition(".")[2])
    assert re.fullmatch(r"(#,##)?0(\.[0#]+)?", digits), pattern
    if power:
        return float(f"{value:.{places}e}")
    return float(Decimal(repr(value)).quantize(Decimal(1).scaleb(-places), ROUND_HALF_UP))


def amount_formats() -> Iterator[tuple[str, str]]:
    """Place and format of each computed dose, mass and volume of the log, the Plan and the bench workbook."""
    layouts: tuple[Layout, ...] = (case_log(), load("bench"))
    for layout in layouts:
        for table in (table for table in layout.tables.values() if table.key != "water"):  # measured, not dosed
            for column in table.columns:
                if column.kind in ("computed", "measure") and is_amount(column.heading, column.key):
                    yield f"{layout.name}, {table.sheet}, {column.heading}", column.format
    for heading, _, number_format in PLAN_COLUMNS:
        if is_amount(heading, ""):
            yield f"Plan board, {heading}", number_format


def is_amount(heading: str, key: str) -> bool:
    """Whether a column holds a dose, a mass or a volume; the packets of a bench card are known by their keys."""
    return bool(AN_AMOUNT.search(heading)) or heading in NAMED or bool(re.match(r"(dose|packet|buffer|total)_\d", key))


def printers() -> dict[str, Callable[[float], list[float]]]:
    """Each function that prints an amount, as what is read back from its text, in the unit that it was given."""
    found: dict[str, Callable[[float], list[float]]] = {
        "amounts.amount": lambda value: [float(amount(value))],
        "amounts.short": lambda value: [float(short(value))],
        "blocks.Figure": lambda value: [displayed(value, Figure(value).format)],
        "cli calc": lambda value: [float(number(value))],
        "cli card facts": lambda value: [float(number(value, 6))],
        "cli summary": lambda value: [float(as_shown(value, "General", 4))],
    }
    units = (("grams", "gram"), ("millilitres", "milliliter"), ("kilograms", "kilogram"), ("litres", "liter"))
    for system in ("metric", "us"):
        printing = Units(system)
        for name, unit in (*units, ("inclusion", "gram/kilogram")):
            found[f"{system} {name}"] = _printer(getattr(printing, name), unit)
    return found


def _printer(function: Callable[[float], str], unit: str) -> Callable[[float], list[float]]:
    """Reads back every number of the text with its own unit, and turns it into `unit`."""

    def read_back(value: float) -> list[float]:
        found = [
            float(
                UNITS.Quantity(float(figure), spelled.replace("\u00a0", "_").replace("fl_oz", "fluid_ounce")).to(unit).m
            )
            for figure, spelled in PRINTED.findall(function(value))
        ]
        assert found, function(value)
        return found

    return read_back


def rounding(value: float) -> Iterator[tuple[str, float]]:
    """Relative change of a value by each way of showing it."""
    for place, number_format in amount_formats():
        yield place, abs(displayed(value, number_format) - value) / value
    for name, printer in printers().items():
        for shown in printer(value):
            yield name, abs(shown - value) / value


def largest_display_rounding(points: int = 400) -> float:
    """The largest relative change over amounts spread evenly from 1 mg to 100 kg, and those just beside a rounding."""
    decades = math.log10(MOST / LEAST)
    values = [LEAST * 10 ** (decades * (step + 0.37) / points) for step in range(points)]
    values += [edge * 10**power for power in range(-3, 5) for edge in (1.0049, 1.005, 5.0049, 5.005, 9.995)]
    return max(change for value in values for _, change in rounding(value))
