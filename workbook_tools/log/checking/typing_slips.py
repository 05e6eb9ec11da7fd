"""What a person most likely did where a cell does not hold what its column takes, in words that say what to type."""

from __future__ import annotations

import re
import unicodedata
from typing import Any

from workbook_tools.functions.quantities import Quantity
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.model import Column
from workbook_tools.log.checking.silent_cells import Unread

DECIMAL_COMMA = re.compile(r"^\s*[+-]?\d{1,3}(\.\d{3})*,\d+\s*$|^\s*[+-]?\d+,\d+\s*$")
THOUSANDS = re.compile(r"^\s*[+-]?\d{1,3}([ \u00a0\u202f'.,]\d{3})+([.,]\d+)?\s*$")
LOOKS_NUMERIC = re.compile(r"^\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*$")
LOOKS_DATE = re.compile(r"^\s*\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}\.?\s*$|^\s*\d{1,2}\.?\s+[A-Za-z]{3,}\.?\s+\d{2,4}\s*$")
LOOKS_TIME = re.compile(r"^\s*\d{1,2}[:.h]\d{2}([:.]\d{2})?\s*([ap]\.?m\.?)?\s*$", re.IGNORECASE)
NUMBER_SLIPS = (
    (DECIMAL_COMMA, "It has a comma; type a decimal point."),
    (THOUSANDS, "It has a mark between its digits; type the number without one."),
    (
        LOOKS_NUMERIC,
        "It is text that looks like a number; type it again without a quote mark or a space, with the decimal sign of "
        "your spreadsheet.",
    ),
)
NO_UNITS = ("", "1", "as chosen", "in the unit of the route")
SLIPS = ("not-a-number", "not-a-date", "not-a-time", "not-listed", "not-found")


def slip(column: Column, text: str | bool) -> str:
    """Why a text is not what its column takes, and what to type instead; empty where nothing more can be said."""
    if isinstance(text, Unread):
        return text.why
    if isinstance(text, bool):
        return "It is TRUE or FALSE; type what is meant."
    unseen = _unseen(text)
    if column.kind in ("list", "reference"):
        return _look_alike(column, text)
    if column.kind == "date":
        looks = LOOKS_DATE.match(text)
        return (
            "It is text that looks like a date; type it again as a date. One looks like 2026-03-04."
            if looks
            else unseen
        )
    if column.kind == "time":
        looks = LOOKS_TIME.match(text)
        return "It is text that looks like a time; type it as 14:05 or 14:05:30." if looks else unseen
    return _number_slip(column, text)


def _number_slip(column: Column, text: str) -> str:
    if any(sign.isdigit() and not sign.isascii() for sign in text):
        return "Its digits are not the plain 0 to 9; type it again."
    for pattern, reason in NUMBER_SLIPS:
        if pattern.match(text):
            return reason
    if _unseen(text) or not any(sign.isdigit() for sign in text):
        return _unseen(text)
    unit = column.quantity.unit if isinstance(column.quantity, Quantity) else ""
    what = "letters" if any(sign.isalpha() for sign in text) else "other signs"
    return f"It has {what} in it; type the number alone{'' if unit in NO_UNITS else f' in {unit}'}."


def _look_alike(column: Column, text: str) -> str:
    unseen = _unseen(text)
    if unseen or text == text.strip():
        return unseen
    return "It has a space at its beginning or end; " + (
        "choose it from the list." if column.kind == "list" else "type it again."
    )


def _unseen(text: str) -> str:
    """The signs in a text that cannot be seen, or look like a plain space."""
    names = []
    for sign in text:
        if sign == "\u00a0" or (unicodedata.category(sign) == "Zs" and sign != " "):
            names.append("a space that does not break or has another width")
        elif unicodedata.category(sign) in ("Cf", "Cc", "Co", "Cn") and sign not in "\n\t":
            names.append("a sign that cannot be seen")
    return f"There is {' and '.join(dict.fromkeys(names))} in it; type it again." if names else ""


def text_slip(column: Column, value: Any) -> tuple[str, str, str] | None:
    """Code, severity and reason for what a column of text, ids or references holds and should not; None if fine."""
    heading = column.heading
    if isinstance(value, Unread):
        found = None if column.kind == "reference" else ("not-text", "fault", f"{heading} cannot be read. {value.why}")
    elif isinstance(value, bool):
        found = ("not-text", "fault", f"{heading} holds TRUE or FALSE, not text; give the cell the format Text.")
    elif is_number(value):
        found = ("number-for-text", "notice", f"{heading} holds a number, not text; were there leading zeros?")
    elif column.kind == "id" and _unseen(value):
        found = ("unseen-sign", "fault", f"{heading}: two names would look the same. {_unseen(value)}")
    elif column.kind == "id" and value != value.strip():
        reason = f"{heading}: two names would look the same. It has a space at its beginning or end; type it again."
        found = ("unseen-sign", "fault", reason)
    else:
        return None
    return found


def percent_slip(column: Column, value: Any) -> str:
    """What to type where a share was typed as a whole number of per cent."""
    quantity = column.quantity
    if isinstance(quantity, Quantity) and quantity.parts and isinstance(value, int | float) and 1 < value <= 100:
        return f"For {value:g} % type {value / 100:g}."
    return ""
