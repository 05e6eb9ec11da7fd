"""Amounts on a producer's pages, in metric units or those of the US; what is weighed or measured shows both.

A number and its unit are joined by a space at which no line breaks. Rounding is that of `layouts.amounts`, within half
a per cent; conversions are those of `unit.convert`.
"""

from __future__ import annotations

from dataclasses import dataclass

from workbook_tools.functions.formulas import unit
from workbook_tools.functions.quantities.amounts import JOINT, amount, short

SYSTEMS = ("metric", "us")
LARGE = 10_000.0  # grams or millilitres from which kilograms or litres stand before them
OUNCES = 16.0  # from a pound on, pounds are printed
GALLON_SHARE = 0.25  # below a quarter of a gallon, fluid ounces are printed


@dataclass(frozen=True)
class Units:
    """How amounts are printed. `system` is "metric" or "us"."""

    system: str = "metric"

    @property
    def us(self) -> bool:
        return self.system == "us"

    def grams(self, grams: float) -> str:
        """A mass to weigh: grams, with pounds or ounces before them for the US."""
        metric = amount(grams, "g")
        if not self.us:
            return metric if grams < LARGE else f"{amount(grams / 1000, 'kg')} ({metric})"
        ounces = unit.convert(grams, "gram", "ounce")
        if ounces >= OUNCES:
            return f"{amount(unit.convert(grams, 'gram', 'pound'), 'lb')} ({metric})"
        return f"{amount(ounces, 'oz')} ({metric})"

    def millilitres(self, millilitres: float) -> str:
        """A volume to measure: millilitres, with fluid ounces or gallons before them for the US."""
        metric = amount(millilitres, "mL")
        if not self.us:
            return metric if millilitres < LARGE else f"{amount(millilitres / 1000, 'L')} ({metric})"
        gallons = unit.convert(millilitres, "milliliter", "gallon")
        if gallons >= GALLON_SHARE:
            return f"{amount(gallons, 'gal')} ({metric})"
        return f"{amount(unit.convert(millilitres, 'milliliter', 'fluid_ounce'), f'fl{JOINT}oz')} ({metric})"

    def kilograms(self, kilograms: float) -> str:
        """Feed or fish."""
        metric = amount(kilograms, "kg")
        return f"{amount(unit.convert(kilograms, 'kilogram', 'pound'), 'lb')} ({metric})" if self.us else metric

    def litres(self, litres: float) -> str:
        """Water of a tank."""
        metric = short(litres, "L")
        return f"{short(unit.convert(litres, 'liter', 'gallon'), 'gal')} ({metric})" if self.us else metric

    def flow(self, flow: float) -> str:
        """Water a minute, from L/min."""
        metric = short(flow, "L/min")
        return f"{short(unit.convert(flow, 'liter', 'gallon'), 'gal/min')} ({metric})" if self.us else metric

    def inclusion(self, grams: float) -> str:
        """Product in feed, from g/kg."""
        metric = amount(grams, "g/kg")
        return (
            f"{amount(unit.convert(grams, 'gram/kilogram', 'ounce/pound'), 'oz/lb')} ({metric})" if self.us else metric
        )

    def degrees(self, celsius: float) -> float:
        """A temperature as a number in C or F."""
        return unit.convert(celsius, "degC", "degF") if self.us else celsius

    def temperature(self, celsius: float) -> str:
        return f"{self.degrees(celsius):.1f}{JOINT}{'F' if self.us else 'C'}"
