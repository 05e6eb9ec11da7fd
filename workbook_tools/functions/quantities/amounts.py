"""An amount to weigh or measure, as paper shows it: rounded by less than 1 %, never as a power of ten.

A number and its unit are joined by a space at which no line breaks.
"""

from __future__ import annotations

import math

JOINT = "\N{NO-BREAK SPACE}"
SMALLEST = 1e-9  # what no scale shows; below it decimals would fill a page


def decimals(value: float) -> int:
    """Places after the point: two and more digits that count, four of them from 10 on.

    Rounding to them moves a value by at most half a unit of its third digit, which is 0.5 %; nothing is moved past
    that, from 1e-9 up.
    """
    size = abs(value)
    if size < SMALLEST:
        return 0
    if size >= 1000:
        return 0
    if size >= 100:
        return 1
    if size >= 1:
        return 2
    return 2 - math.floor(math.log10(size))


def amount(value: float | None, unit: str = "") -> str:
    """Text for an amount with its unit; a blank is a dash. No separator of thousands: it may be read as a point."""
    if value is None:
        return "-"
    return f"{value:.{decimals(value)}f}{JOINT}{unit}" if unit else f"{value:.{decimals(value)}f}"


def short(value: float | None, unit: str = "") -> str:
    """The same without zeros at its end, for doses and volumes that are round: 80 mg/L, 152.4 L."""
    if value is None:
        return "-"
    text = amount(value)
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{text}{JOINT}{unit}" if unit else text
