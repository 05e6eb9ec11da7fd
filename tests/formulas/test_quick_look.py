"""The quick look at arguments lets nothing pass that the whole check refuses or turns into something else."""

from __future__ import annotations

import itertools
import math
from typing import Any

import pytest

from workbook_tools.functions.catalogue import entries
from workbook_tools.functions.quantities import Choice, Quantity
from workbook_tools.functions.quantities.kinds import Kind


def candidates(kind: Kind) -> list[Any]:
    """Values within, at and past each end, and of every other kind."""
    others: list[Any] = [None, True, False, 0, 1, 10**400, "", "7", math.nan, math.inf, -math.inf, [1.0], (2.0,)]
    if isinstance(kind, Choice):
        return [*kind.words[:2], kind.words[0].upper(), f" {kind.words[0]}", *others, 0.0]
    if isinstance(kind, Quantity):
        ends = (float(kind.low), float(kind.high))
        past = [math.nextafter(end, toward) for end in ends for toward in (-math.inf, math.inf)]
        return [(ends[0] + ends[1]) / 2, math.floor(ends[1] / 2) + 0.5, *ends, *past, *others, 1.0]
    return [*others, 1.0]


@pytest.mark.parametrize("name", [one.name for one in entries()])
def test_what_passes_the_quick_look_passes_the_check_unchanged(name: str) -> None:
    check = next(one.check for one in entries() if one.name == name)
    kinds = [candidates(parameter.kind) for parameter in check.parameters]
    middle = [values[0] for values in kinds]
    tried = [[*middle[:place], value, *middle[place + 1 :]] for place in range(len(kinds)) for value in kinds[place]]
    tried += [list(values) for values in itertools.islice(itertools.product(*(v[:8] for v in kinds)), 500)]
    passing = [arguments for arguments in tried if check.fits(*arguments)]
    looked_at = all(isinstance(parameter.kind, Quantity | Choice) for parameter in check.parameters)
    if looked_at and not check.relations:  # series and texts go to the whole check, and few values meet a condition
        assert passing
    for arguments in passing:
        bound = check.bind(tuple(arguments), {})
        assert [*bound.values()] == arguments
        assert [*map(type, bound.values())] == [*map(type, arguments)]
        assert check.faults(bound) == ([], "range")
