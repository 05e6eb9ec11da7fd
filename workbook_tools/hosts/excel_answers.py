"""Answers the user functions that Excel calls through the xlwings library.

Excel hands over numbers as float or, from a cell formatted as money, Decimal; dates as datetime; a blank cell, an
argument left out and a cell with an error as None; a range as rows.
"""

from __future__ import annotations

import datetime
import decimal
import functools
from collections.abc import Callable
from typing import Any

from workbook_tools.errors import ArgumentError, HostError
from workbook_tools.functions.catalogue import entry
from workbook_tools.functions.quantities import Choice, Parameter, Quantity, Text
from workbook_tools.functions.quantities.boundary import serial

# numbers of Excel's error values as COM carries them
NUMBER_OUT_OF_RANGE, WRONG_KIND = -2146826252, -2146826273


def answer(name: str, *given: object) -> Any:
    """Answer of a catalogue function for arguments as Excel hands them over.

    A number, rows for a table, or an error value of Excel; never a text, and never an exception that Excel would show
    as one.
    """
    found = entry(name)
    try:
        return found.call(*map(excel_argument, given, found.parameters))
    except ArgumentError as error:
        return error_value(NUMBER_OUT_OF_RANGE if error.kind == "range" else WRONG_KIND)
    except (ArithmeticError, LookupError, TypeError, ValueError):
        return error_value(WRONG_KIND)


def excel_argument(given: object, parameter: Parameter) -> object:
    """An argument of Excel as a formula takes it."""
    if isinstance(given, list | tuple):
        rows = [row if isinstance(row, list | tuple) else [row] for row in given]
        cells = [plain_value(cell) for row in rows for cell in row]
    else:
        cells = [plain_value(given)]
    if isinstance(parameter.kind, Quantity | Choice | Text) and len(cells) == 1:
        return cells[0]
    return cells


def plain_value(value: object) -> object:
    """One value: dates and times become days, money a number."""
    if isinstance(value, decimal.Decimal):
        return float(value)
    if isinstance(value, datetime.datetime | datetime.date | datetime.time):
        return serial(value)
    return value


def error_value(number: int) -> Any:
    """An error value for a cell. Raises HostError where there is no Excel on Windows.

    pywin32 passes on that there is an error and not its number (com/win32com/src/oleargs.cpp, VT_ERROR), so the two
    kinds may look alike in Excel; neither looks like an answer.
    """
    return _variant()(10, number)  # VT_ERROR


@functools.cache
def _variant() -> Callable[[int, int], Any]:
    try:
        from win32com.client import VARIANT
    except ImportError as error:
        raise HostError(
            "Excel user functions work on Windows only, with pywin32: pip install 'workbook-tools[excel]'. In Excel "
            "365 and 2024 take the names instead, which work on every system."
        ) from error
    return VARIANT  # type: ignore[no-any-return]
