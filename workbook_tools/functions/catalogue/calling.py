"""Calling a function by its worksheet name, with numbers or with texts that carry units."""

from __future__ import annotations

from typing import Any

from workbook_tools.errors import ArgumentError, Problem, UnitError
from workbook_tools.functions.catalogue.entries import entry
from workbook_tools.functions.quantities.boundary import convert_units


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
    UnknownFunctionError; ArgumentError, which names every argument that cannot be used or read.

    Examples
    --------
    >>> call("BATH.MASS", 40, 80)
    3.2
    >>> f"{call('BATH.MASS', '10 gal', '80 mg/L'):.3f}"
    '3.028'
    """
    found = entry(name)
    values = converted(name, *args)
    try:
        return found.call(*values)
    except ArgumentError as error:  # under the name that was called, not that of the Python function
        raise ArgumentError(found.name, error.problems, error.kind) from error


def converted(name: str, *args: object) -> list[object]:
    """The arguments in base units, as `call` hands them on; raises as it does."""
    found = entry(name)
    needed = [p for p in found.parameters if not p.optional]
    if len(args) > len(found.parameters) or len(args) < len(needed):
        missing = [Problem(p.label, None, "is missing", p.kind.allowed) for p in needed[len(args) :]]
        extra = [
            Problem(f"argument {number}", args[number - 1], "is one too many", found.signature)
            for number in range(len(found.parameters) + 1, len(args) + 1)
        ]
        raise ArgumentError(found.name, missing or extra, "value")
    values: list[object] = []
    problems = []
    for value, parameter in zip(args, found.parameters, strict=False):
        left_out = parameter.optional and (value is None or (isinstance(value, str) and not value.strip()))
        try:
            values.append(None if left_out else convert_units(value, parameter.kind))
        except UnitError as error:
            problems.append(Problem(parameter.label, value, str(error), parameter.kind.allowed))
            continue
        fault = None if left_out else parameter.kind.fault(values[-1])
        if fault is not None:
            problems.append(Problem(parameter.label, value, fault[1], parameter.kind.allowed))
    if len(values) < len(args):  # a text could not be read: name every other bad argument with it
        raise ArgumentError(found.name, problems, "value")
    return values
