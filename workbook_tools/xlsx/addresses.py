"""How a spreadsheet names its columns."""

from __future__ import annotations

from functools import cache


def letter(number: int) -> str:
    """Column letters of a column number from 1."""
    text = ""
    while number:
        number, rest = divmod(number - 1, 26)
        text = chr(65 + rest) + text
    return text


@cache
def column_number(letters: str) -> int:
    """Column number from 1 of column letters."""
    number = 0
    for sign in letters:
        number = number * 26 + ord(sign) - 64
    return number
