"""Values as a cell can hold them: numbers, texts, TRUE and FALSE, day numbers for dates and times."""

from __future__ import annotations

import datetime
import math
import numbers
from decimal import Decimal

from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.xlsx.writing.cells import TEXT_LIMIT


def cell_value(value: object) -> object:
    """The value for a cell. Raises ValueError, in words, for what no cell can hold."""
    if value is None or isinstance(value, bool) or (type(value) is float and math.isfinite(value)):
        return value
    if isinstance(value, datetime.date | datetime.time | datetime.timedelta):
        return serial(value)
    if isinstance(value, str):
        if len(value) > TEXT_LIMIT:
            raise ValueError(f"has {len(value):,} characters, a cell holds {TEXT_LIMIT:,}")
        return str(value)
    if isinstance(value, numbers.Real | Decimal):
        return _number(value)
    raise ValueError(f"is a {type(value).__name__}, which no cell can hold")


def _number(value: numbers.Real | Decimal) -> float:
    try:
        number = float(value)
    except OverflowError as error:
        raise ValueError("is too large for a cell") from error
    if not math.isfinite(number):
        raise ValueError("is not a finite number")
    return number
