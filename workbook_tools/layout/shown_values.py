"""A stored value as the sheet shows it: dates and times in words of a calendar and a clock."""

from __future__ import annotations

import datetime

from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.load import FORMATS

MOST_DAYS = 2_958_466  # what a spreadsheet shows as a date or a time
EPOCH = datetime.datetime(1899, 12, 30)


def as_shown(value: object, number_format: str = "General", digits: int = 10) -> str:
    """Text for a value; a blank is a dash."""
    if value is None or value == "":
        return "-"
    if not is_number(value):
        return str(value)
    if number_format == FORMATS["date"] and 0 < value < MOST_DAYS:
        return f"{EPOCH + datetime.timedelta(days=float(value)):%Y-%m-%d}"
    if number_format == FORMATS["time"] and 0 <= value < 1:
        return f"{EPOCH + datetime.timedelta(seconds=round(value * 86400)):%H:%M:%S}"
    if number_format == FORMATS["elapsed"] and 0 <= value < MOST_DAYS:
        minutes, seconds = divmod(round(value * 86400), 60)
        return f"{minutes // 60:02d}:{minutes % 60:02d}:{seconds:02d}"
    plain = {FORMATS["share"]: ".0%", FORMATS["whole"]: ".0f", FORMATS["tally"]: ".0f"}
    return format(value, plain.get(number_format, f".{digits}g"))
