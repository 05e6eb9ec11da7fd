"""Where a host cannot do what Python does, with the reason: each is checked to be so, none is passed over."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from tests.hosts.samples import Arguments

# functions that have no plain formula, hence no name either
NO_FORMULA = {
    "BATH.STEPS": "the answer is a table, and a formula fills one cell; BATH.STEPDOSE and BATH.STEPCOUNT give its rows",
    "UNIT.CONVERT": "units are read as words and looked up in a table; the sheets have unit columns instead",
}


@dataclass(frozen=True)
class Gap:
    """A host sees other arguments than were given; `seen` tells which."""

    host: str
    reason: str
    seen: Callable[[Arguments], Arguments]


def blank_is_zero(arguments: Arguments) -> Arguments:
    return tuple(0.0 if argument is None else argument for argument in arguments)


def true_is_one(arguments: Arguments) -> Arguments:
    return tuple(1.0 if argument is True else argument for argument in arguments)


GAPS = (
    Gap("Calc extension", "Calc hands a single blank cell to an add-in as 0", blank_is_zero),
    Gap("Calc extension", "Calc hands TRUE to an add-in as 1", true_is_one),
    Gap("cell text in LibreOffice", "in LibreOffice TRUE is the number 1, also for ISNUMBER", true_is_one),
)


def seen(host: str, arguments: Arguments) -> Arguments:
    """The arguments as a host sees them."""
    for gap in GAPS:
        if gap.host == host:
            arguments = gap.seen(arguments)
    return arguments
