"""Where units are words: pint turns "12 gal" into litres, and writes the unit table that everything else reads.

pint is loaded only when a text with a unit arrives: its registry takes longer to load than most answers take.
"""

from __future__ import annotations

import datetime
import functools
import re
from typing import TYPE_CHECKING

from workbook_tools.errors import UnitError
from workbook_tools.functions.quantities.kinds import Choice, Kind, Quantity, Series, Text

if TYPE_CHECKING:
    import pint

# our units as pint writes them, where the two differ
PINT_NAMES = {
    "C": "degC",
    "m2": "m**2",
    "g/g": "g/g",
    "1": "",
    "/min": "1/min",
    "d": "day",
    "0 to 6": "",
    "%": "percent",
    "uL/L": "uL/L",
    "mg/L CaCO3": "mg/L",
    "PSS-78": "",
    "days": "day",
    "degree days": "delta_degC*day",
    "fish": "",
}
NUMBER = re.compile(r"^[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?$")
NUMBER_AND_UNIT = re.compile(r"^([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\d\s].*)$")
DECIMAL_COMMA = re.compile(r"^[+-]?\d*,\d+")
CLOCK = re.compile(r"^(\d{1,2}):([0-5]\d)(?::([0-5]\d(?:\.\d+)?))?$")
EPOCH = datetime.datetime(1899, 12, 30)
DAY = datetime.timedelta(days=1)


@functools.cache
def registry() -> pint.UnitRegistry[float]:
    import pint

    units: pint.UnitRegistry[float] = pint.UnitRegistry(autoconvert_offset_to_baseunit=True, on_redefinition="ignore")
    # pint's acre is that of the survey foot, retired at the end of 2022 (NIST); handbooks have 43,560 feet of 0.3048 m
    units.define("acre = 43560 * foot ** 2")
    units.define("acre_foot = 43560 * foot ** 3 = _ = acre_feet")
    return units


def quantity_of(text: str, quantity: Quantity) -> float:
    """A number in the quantity's own unit, from text such as "80", "12 gal" or "0.3 g/gal".

    Raises UnitError, in words, for a decimal comma, an unknown unit, a unit of another dimension, and "ppm", which
    by weight and by volume are different amounts.
    """
    stripped = text.strip()
    if NUMBER.match(stripped):
        return float(stripped)
    if DECIMAL_COMMA.match(stripped):
        raise UnitError("has a comma; write a decimal point and no thousands mark")
    match = NUMBER_AND_UNIT.match(stripped)
    if not match:
        raise UnitError("is not a number, nor a number with a unit such as '12 gal'")
    if match[2].lower() in ("ppm", "ppb", "ppt"):
        raise UnitError(f"{match[2]} can mean weight or volume; write mg/L, g/L or uL/L")
    import pint

    try:
        given = registry().Quantity(float(match[1]), match[2])
        return float(given.to(PINT_NAMES.get(quantity.unit, quantity.unit)).magnitude)
    except pint.UndefinedUnitError as error:
        raise UnitError(f"no unit {match[2]!r} is known") from error
    except pint.DimensionalityError as error:
        raise UnitError(f"{match[2]!r} cannot be turned into {quantity.unit or 'a number'}") from error
    except (pint.PintError, ValueError, TypeError, SyntaxError, AttributeError, AssertionError) as error:
        raise UnitError("cannot be read as a number with a unit") from error


def serial(value: datetime.datetime | datetime.date | datetime.time | datetime.timedelta) -> float:
    """Days as a spreadsheet counts them: a time of day is a fraction, a date a whole number from 1899-12-30 on."""
    if isinstance(value, datetime.timedelta):
        return value / DAY
    if isinstance(value, datetime.time):
        return (value.hour * 3600 + value.minute * 60 + value.second + value.microsecond / 1e6) / 86400
    if not isinstance(value, datetime.datetime):
        value = datetime.datetime.combine(value, datetime.time())
    return ((value if value.tzinfo is None else value.replace(tzinfo=None)) - EPOCH) / DAY


def moment(text: str) -> float:
    """Days from text: 14:05, 14:05:30, 2026-03-02 or 2026-03-02 14:05."""
    stripped = text.strip()
    clock = CLOCK.match(stripped)
    if clock and int(clock[1]) < 24:
        return (int(clock[1]) * 3600 + int(clock[2]) * 60 + float(clock[3] or 0)) / 86400
    if NUMBER.match(stripped):
        return float(stripped)
    try:
        return serial(datetime.datetime.fromisoformat(stripped))
    except ValueError as error:
        raise UnitError("is not a time such as 14:05:30, nor a date such as 2026-03-02 14:05") from error


def convert_units(value: object, kind: Kind) -> object:
    """An argument as a formula takes it: texts with units become numbers, dates and times become days."""
    if isinstance(kind, Series):
        return _series(value, kind)
    if isinstance(value, datetime.datetime | datetime.date | datetime.time | datetime.timedelta):
        return serial(value)
    if not isinstance(value, str) or isinstance(kind, Choice | Text) or not value.strip():
        return value
    return moment(value) if kind.unit == "d" else quantity_of(value, kind)


def _series(value: object, series: Series) -> object:
    """Items of a range, or of a text such as "8.5 9 9.5", each converted as its quantity asks."""
    if isinstance(value, str) and value.strip():
        value = value.replace(";", " ").split()
    if not isinstance(value, list | tuple):
        return value
    items: list[object] = []
    faults = []
    for number, item in enumerate(series.values(value), start=1):
        try:
            items.append(convert_units(item, series.item))
        except UnitError as error:
            faults.append(f"item {number}: {error}")
    if faults:
        raise UnitError("; ".join(faults))
    return items
