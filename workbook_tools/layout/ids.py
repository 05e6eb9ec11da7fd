"""How ids and names are compared: one way for people and files, one for cells.

A person who types 7, or an id that a paste turned into the number 7, means the row whose id is "7". A cell does not:
MATCH takes a number and the text of its digits for two things.
"""

from __future__ import annotations

from workbook_tools.layout.expression_trees import is_number


def id_text(value: object) -> str:
    """An id or a name as it was typed: numbers without a point where they have none; nothing for a blank."""
    if value is None:
        return ""
    return f"{value:.15g}" if is_number(value) else str(value)


def id_key(value: object) -> str:
    """By which ids and names are the same for people, commands and files: case and blanks at the ends do not count.

    Examples
    --------
    >>> id_key(7.0) == id_key("7 "), id_key("B01") == id_key("b01")
    (True, True)
    """
    return id_text(value).strip().casefold()


def cell_key(value: object) -> object:
    """By which a spreadsheet's MATCH finds a value in a column: texts in either case, numbers by value.

    Examples
    --------
    >>> cell_key("B01") == cell_key("b01"), cell_key(7) == cell_key("7")
    (True, False)
    """
    return value.casefold() if isinstance(value, str) else float(value) if isinstance(value, int | float) else value
