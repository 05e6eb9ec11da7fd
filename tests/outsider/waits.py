"""Release dates, counted day by day on the calendar from the typed daily temperatures (templates/guide/release.md)."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from decimal import ROUND_FLOOR, Decimal

DAY = datetime.timedelta(days=1)
BRIDGED = 7  # days between two readings that the lower neighbour may bridge
LONGEST = 3650


def adds(celsius: float) -> int:
    """Thousandths of a degree day that a day adds: below 0 C nothing, rounded down."""
    return max(0, int((Decimal(repr(celsius)) * 1000).to_integral_value(ROUND_FLOOR)))


def degree_days(
    last: datetime.date,
    rule: float,
    readings: Mapping[datetime.date, float],
    lower_neighbour: bool,
    ahead: float | None,
) -> datetime.date | None:
    """First day on which the fish may go: the day after the one at whose end the sum reaches the rule."""
    wanted = Decimal(repr(rule)) * 1000
    total, day = Decimal(0), last
    known = sorted(date for date in readings if date > last)
    for number, reading in enumerate(known):
        before = known[number - 1] if number else None
        if lower_neighbour and before is not None and (reading - before).days <= BRIDGED:
            lower = min(readings[before], readings[reading])
            total += ((reading - before).days - 1) * adds(lower)
        total += adds(readings[reading])
        day = reading
        if total >= wanted:
            return day + DAY
    if ahead is None:
        return None
    held = (day - last).days
    while total < wanted:
        total += Decimal(repr(ahead)) * 1000
        day += DAY
        held += 1
        if held > LONGEST:
            return None
    return day + DAY
