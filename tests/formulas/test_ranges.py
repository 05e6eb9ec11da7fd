"""Every function at the ends of its arguments' ranges, and with what is no argument at all."""

from __future__ import annotations

import itertools
import math
import random
from typing import Any

import pytest

from tests.formulas.cases import attempt
from workbook_tools.errors import ArgumentError
from workbook_tools.functions.catalogue import entries, entry
from workbook_tools.functions.quantities import Parameter, Quantity, Series

NAMES = [found.name for found in entries() if found.topic in ("ph", "water", "dose", "feed", "hold", "sample", "clean")]
NEVER = (None, "", "text", True, math.nan, math.inf, -math.inf, 1e308, -1e308, 10**400, [1, 2], {})


def within(parameter: Parameter) -> list[Any]:
    """The ends of an argument's range, just inside them, and some values between."""
    if isinstance(parameter.kind, Series):
        item = parameter.kind.item
        return [[item.low], [item.high] * 30, [item.low, 0.0, item.high]]
    assert isinstance(parameter.kind, Quantity)
    low, high = parameter.kind.low, parameter.kind.high
    between = [low + (high - low) * share for share in (1e-9, 1e-3, 0.1, 0.5, 0.9)]
    values = [low, high, math.nextafter(low, high), math.nextafter(high, low), *between]
    good = [value for value in values if parameter.kind.fault(value) is None]
    return [*good, *{float(round(value)) for value in between if parameter.kind.whole and round(value) >= max(low, 1)}]


@pytest.mark.parametrize("name", NAMES)
def test_ends_of_the_ranges_give_a_number_or_a_refusal(name: str) -> None:
    choices = [within(parameter) for parameter in entry(name).parameters]
    every = list(itertools.product(*choices))
    numbers = 0
    for arguments in random.Random(7).sample(every, min(len(every), 300)):
        answer = attempt(name, *arguments)
        if not isinstance(answer, ArgumentError):
            assert math.isfinite(answer), (name, arguments)
            numbers += 1
    assert numbers


@pytest.mark.parametrize("name", NAMES)
def test_what_is_no_argument_is_refused_by_name(name: str) -> None:
    parameters = entry(name).parameters
    good = [within(parameter)[-1] for parameter in parameters]
    for position, parameter in enumerate(parameters):
        for bad in NEVER:
            if (bad is None and parameter.optional) or (isinstance(bad, list) and isinstance(parameter.kind, Series)):
                continue
            with pytest.raises(ArgumentError) as caught:
                entry(name).call(*good[:position], bad, *good[position + 1 :])
            assert [problem.argument for problem in caught.value.problems] == [parameter.label], (name, bad)
