"""Where a host cannot do what Python does, with the reason: each is checked to be so, none is passed over."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass

from tests.hosts.samples import Arguments, Outcome, outcome
from workbook_tools.functions.catalogue import Entry

# functions that have no exact equal as a LAMBDA, hence no name in a workbook
NO_NAME = {
    "BATH.STEPS": "the answer is a table, and a formula fills one cell; BATH.STEPDOSE and BATH.STEPCOUNT give its rows",
    "SAMPLE.SIZE": "the answer is found by a search",
    "SAMPLE.DETECT": "the answer is a product over the fish sampled",
    "UNIT.CONVERT": "units are read as words and looked up in a table; the sheets have unit columns instead",
}
# functions that have no plain formula in one cell
NO_FORMULA = NO_NAME | {
    "PH.AFTER": "its steps, each written out again in the next, are longer than a cell holds; a name can name them",
}


# what these tests cannot show, since nothing of it runs here
NOT_TRIED = {
    "Excel on Windows": "what pywin32 and Excel make of an error value that a user function returns",
    "Excel 365": "the names in Excel itself; they are computed by an engine that reads the same stored text",
    "LibreOffice on Windows and macOS": "the Python that it brings along; the version check reads its folder's name",
}


@dataclass(frozen=True)
class Gap:
    """A host sees other arguments than were given, or answers otherwise than Python; the functions tell how."""

    host: str
    reason: str
    seen: Callable[[Arguments], Arguments] = lambda arguments: arguments
    answer: Callable[[Arguments, Outcome], Outcome] = lambda arguments, outcome: outcome
    function: str = ""  # the only one concerned, where it is one


def blank_is_zero(arguments: Arguments) -> Arguments:
    return tuple(0.0 if argument is None else argument for argument in arguments)


def true_is_one(arguments: Arguments) -> Arguments:
    return tuple(_true_is_one(argument) for argument in arguments)


def _true_is_one(argument: object) -> object:
    if isinstance(argument, tuple):
        return true_is_one(argument)
    return 1.0 if argument is True else argument


def range_of_one_refused(arguments: Arguments, outcome: Outcome) -> Outcome:
    return "value" if any(isinstance(argument, tuple) and len(argument) == 1 for argument in arguments) else outcome


def combinations_overflow(arguments: Arguments, outcome: Outcome) -> Outcome:
    if not isinstance(outcome, float):
        return outcome
    population, sampled, prevalence = (float(argument) for argument in arguments)  # type: ignore[arg-type]
    infected = math.ceil(population * prevalence * (1 - 1e-12))
    if sampled + infected > population:
        return outcome
    return "range" if math.comb(int(population), int(sampled)) > sys.float_info.max else outcome


GAPS = (
    Gap(
        "name in ironcalc",
        "ironcalc 0.9.1 computes HYPGEOMDIST from combinations, which overflow where Excel and LibreOffice answer",
        answer=combinations_overflow,
        function="SAMPLE.PERFECT",
    ),
    Gap("Calc extension", "Calc hands a single blank cell to an add-in as 0", seen=blank_is_zero),
    Gap("Calc extension", "Calc hands TRUE to an add-in as 1", seen=true_is_one),
    Gap(
        "cell text in LibreOffice", "in LibreOffice TRUE is the number 1, also for ISNUMBER and COUNT", seen=true_is_one
    ),
    Gap(
        "name in ironcalc",
        "ironcalc 0.9.1 hands a range of one cell to a LAMBDA as a number, which SUMIF and COUNTIF refuse",
        answer=range_of_one_refused,
    ),
)


def seen(host: str, arguments: Arguments) -> Arguments:
    """The arguments as a host sees them."""
    for gap in GAPS:
        if gap.host == host:
            arguments = gap.seen(arguments)
    return arguments


def expected(host: str, found: Entry, arguments: Arguments) -> Outcome:
    """What a host is to answer: what Python does, but for the gaps."""
    answer = outcome(found, seen(host, arguments))
    for gap in GAPS:
        if gap.host == host and gap.function in ("", found.name):
            answer = gap.answer(arguments, answer)
    return answer
