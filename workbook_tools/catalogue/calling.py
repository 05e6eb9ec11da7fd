"""Calling a function by its worksheet name, with numbers or with texts that carry units."""

from __future__ import annotations

from typing import Any

from workbook_tools.catalogue.entries import entry
from workbook_tools.errors import ArgumentError, Problem
from workbook_tools.quantities.boundary import convert_all


def call(name: str, *args: object) -> Any:
    """Answer of a catalogue function.

    Parameters
    ----------
    name : worksheet name such as "BATH.MASS", or Python name such as "bath.mass".
    args : in the catalogue's order; numbers in base units, or texts with a unit ("12 gal"), dates and times.

    Returns
    -------
    A float in the result's unit, or a list of rows for a table.

    Raises
    ------
    UnknownFunctionError, UnitError, ArgumentError.

    Examples
    --------
    >>> call("BATH.MASS", 40, 80)
    3.2
    >>> f"{call('BATH.MASS', '10 gal', '80 mg/L'):.3f}"
    '3.028'
    """
    found = entry(name)
    needed = [p for p in found.parameters if not p.optional]
    if len(args) > len(found.parameters) or len(args) < len(needed):
        missing = [Problem(p.label, None, "is missing", p.kind.allowed) for p in needed[len(args) :]]
        extra = [
            Problem(f"argument {number}", args[number - 1], "is one too many", found.signature)
            for number in range(len(found.parameters) + 1, len(args) + 1)
        ]
        raise ArgumentError(found.name, missing or extra, "value")
    return found.call(*convert_all(args, found.parameters))
