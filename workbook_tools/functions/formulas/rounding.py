"""Rounding that agrees with a spreadsheet's ROUND."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal


def nearest(value: float, digits: int) -> float:
    """Round to `digits` decimals, halves away from zero as ROUND does.

    Python's own `round` takes halves to the even digit and would disagree with the cell.

    >>> nearest(2.5, 0), nearest(-0.125, 2)
    (3.0, -0.13)
    """
    return float(Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-digits), rounding=ROUND_HALF_UP))
