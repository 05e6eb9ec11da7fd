"""Litres in a vessel: published values, geometry by another route, and every argument at and past its edges.

The edges (`edges`, `refused`, ...) are made from the catalogue; the files of the other topics take them from here.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.support.published import Case, published
from workbook_tools.errors import ArgumentError, Problem
from workbook_tools.functions.catalogue import Entry, call, entries
from workbook_tools.functions.formulas import vessel
from workbook_tools.functions.quantities import Choice, Parameter, Quantity, Text

NUMBERS = (2.0, 1.0, 3.0, 0.5)  # in any order some set of these suits every function
WORDS = {"from unit": "gallon", "to unit": "litre"}


@dataclass(frozen=True)
class Edge:
    """One value of one argument; `reason` is why it is refused, empty where it lies in range."""

    function: Entry
    position: int
    value: Any
    kind: str = ""
    reason: str = ""

    @property
    def parameter(self) -> Parameter:
        return self.function.parameters[self.position]

    def arguments(self) -> list[Any]:
        given = suitable(self.function)
        given[self.position] = self.value
        return given

    def __str__(self) -> str:
        shown = f"{self.value!r:.20}" if isinstance(self.value, int | str | None) else repr(self.value)
        return f"{self.function.name}-{self.parameter.name}-{shown}"


def of_topic(topic: str) -> list[Entry]:
    """Functions of a topic; never empty."""
    found = [function for function in entries() if function.topic == topic]
    assert found, topic
    return found


def suitable(function: Entry) -> list[Any]:
    """Arguments that the function takes, found by trying."""
    choices = [
        NUMBERS if isinstance(p.kind, Quantity) else p.kind.words if isinstance(p.kind, Choice) else (WORDS[p.label],)
        for p in function.parameters
    ]
    for arguments in itertools.product(*choices):
        try:
            function.call(*arguments)
        except ArgumentError:
            continue
        return list(arguments)
    raise AssertionError(f"{function.name}: no set of arguments suits it")


def outside(quantity: Quantity) -> Iterator[tuple[Any, str, str]]:
    """Values that a quantity refuses, each with kind and reason, worked out from its range alone."""
    for blank in ("", "  "):
        yield blank, "value", "is blank"
    yield "12", "value", "is text, not a number"
    yield "x", "value", "is text, not a number"
    for word in (True, False):
        yield word, "value", "is TRUE or FALSE, not a number"
    yield [1.0], "value", "is a list, not a number"
    yield 1j, "value", "is a complex, not a number"
    for endless in (math.nan, math.inf, -math.inf):
        yield endless, "range", "is not a finite number"
    for huge in (1e308, 10**400):
        yield huge, "range", "is too large"
        yield -huge, "range", "is negative" if quantity.low >= 0 else "is too small"
    low = quantity.low if quantity.above else math.nextafter(quantity.low, -math.inf)
    yield low, "range", "is zero" if low == 0 else "is negative" if low < 0 <= quantity.low else "is too small"
    if quantity.low > 0:
        yield 0, "range", "is zero"
    if quantity.low >= 0:
        yield -1, "range", "is negative"
    yield quantity.high if quantity.below else math.nextafter(quantity.high, math.inf), "range", "is too large"
    if quantity.whole:
        yield quantity.low + 0.5, "range", "is not a whole number"


def inside(quantity: Quantity) -> Iterator[float]:
    """Values at the limits, and next to those that are left out."""
    yield math.nextafter(quantity.low, math.inf) if quantity.above else quantity.low
    yield math.nextafter(quantity.high, -math.inf) if quantity.below else quantity.high


def edges(topic: str) -> list[Edge]:
    """Every value that an argument of a topic's functions refuses."""
    found = []
    for function in of_topic(topic):
        for position, parameter in enumerate(function.parameters):
            kind = parameter.kind
            bad: list[tuple[Any, str, str]] = [] if parameter.optional else [(None, "value", "is blank")]
            if isinstance(kind, Quantity):
                bad += outside(kind)
            elif isinstance(kind, Choice):
                bad += [(blank, "value", "is blank") for blank in ("", " ")]
                bad += [(number, "value", "is not a word") for number in (0, 1.5, True, math.nan, [kind.words[0]])]
                bad += [(text, "value", "is not a word of the list") for text in ("nonsense", kind.words[0] + " ")]
            else:
                assert isinstance(kind, Text)
                bad += [(blank, "value", "is blank") for blank in ("", " ")]
                bad += [(number, "value", "is not text") for number in (0, 1.5, True, math.inf, ["m"])]
            found += [Edge(function, position, *value) for value in bad]
    return found


def limits(topic: str) -> list[Edge]:
    """Every number at the end of an argument's range."""
    return [
        Edge(function, position, value)
        for function in of_topic(topic)
        for position, parameter in enumerate(function.parameters)
        if isinstance(parameter.kind, Quantity)
        for value in inside(parameter.kind)
    ]


def pairs(topic: str) -> list[tuple[Edge, Edge]]:
    """Two bad arguments of one function, for every two of its arguments."""
    worst = {}
    for edge in edges(topic):
        worst.setdefault((edge.function.name, edge.position), edge)
    return [
        (one, other)
        for one, other in itertools.combinations(worst.values(), 2)
        if one.function is other.function and one.position != other.position
    ]


def same_value(one: Any, other: Any) -> bool:
    return bool(one == other) or [str(one), str(other)] == ["nan", "nan"]


def check_refused(edge: Edge) -> None:
    """The value alone is named, with reason, allowed range and unit."""
    with pytest.raises(ArgumentError) as caught:
        edge.function.call(*edge.arguments())
    error = caught.value
    (problem,) = error.problems
    assert problem.argument == edge.parameter.label
    assert same_value(problem.value, edge.value)
    assert problem.reason.partition(";")[0] == edge.reason
    assert problem.allowed == edge.parameter.kind.allowed
    assert error.kind == edge.kind
    unit = edge.parameter.kind.unit
    assert unit == "1" or unit in problem.allowed
    for part in (edge.function.python_name, problem.argument, repr(problem.value), edge.reason, problem.allowed):
        assert part in str(error)


def check_limit(edge: Edge) -> None:
    """The value itself is taken: what comes back is a number, or a refusal of several arguments or of the answer."""
    problems: tuple[Problem, ...] = ()
    answer: Any = []
    try:
        answer = edge.function.call(*edge.arguments())
    except ArgumentError as error:
        problems = error.problems
    for problem in problems:
        assert " and " in problem.argument or problem.argument == "result", str(problem)
    numbers = [answer] if isinstance(answer, float) else [number for row in answer for number in row]
    assert bool(numbers) != bool(problems)
    assert all(math.isfinite(number) for number in numbers)


def check_pair(one: Edge, other: Edge) -> None:
    """Both are named, in the order of the arguments."""
    arguments = one.arguments()
    arguments[other.position] = other.value
    with pytest.raises(ArgumentError) as caught:
        one.function.call(*arguments)
    assert [(p.argument, p.reason) for p in caught.value.problems] == [
        (edge.parameter.label, edge.reason) for edge in (one, other)
    ]


def check_left_out(function: Entry) -> None:
    """An optional argument left out, or None, counts as its default."""
    given = suitable(function)
    defaults = [parameter.default for parameter in function.parameters]
    needed = sum(default is None for default in defaults)
    filled = [*given[:needed], *defaults[needed:]]
    assert function.call(*given[:needed]) == function.call(*filled)
    assert function.call(*given[:needed], *[None] * (len(given) - needed)) == function.call(*filled)


def check_published(case: Case) -> None:
    answer = call(case.function, *case.arguments)
    assert case.agrees(answer), f"{answer} is not what is published: {case}"


@pytest.mark.parametrize("case", published("VESSEL"), ids=lambda case: case.case)
def test_published(case: Case) -> None:
    check_published(case)


@pytest.mark.parametrize("edge", edges("vessel"), ids=str)
def test_refused(edge: Edge) -> None:
    check_refused(edge)


@pytest.mark.parametrize("edge", limits("vessel"), ids=str)
def test_limits_are_taken(edge: Edge) -> None:
    check_limit(edge)


@pytest.mark.parametrize("pair", pairs("vessel"), ids=lambda pair: f"{pair[0]}-{pair[1]}")
def test_two_bad_arguments_are_both_named(pair: tuple[Edge, Edge]) -> None:
    check_pair(*pair)


@pytest.mark.parametrize(
    ("function", "arguments", "sentence"),
    [
        (vessel.stadium, (1, 1.01, 1), "length and width = (1.0, 1.01): the overall length is less than the width"),
        (vessel.cone, (1, 0, 0), "side depth and cone depth = (0.0, 0.0): both depths are zero"),
        (vessel.salt_test, (500, 1.25, 1.25), "before and after = (1.25, 1.25): the salinity did not rise"),
        (vessel.salt_test, (500, 1.25, 1.2), "before and after = (1.25, 1.2): the salinity did not rise"),
        (vessel.net, (40, 40), "volume and fish = (40.0, 40.0): the fish would displace all the water"),
        (vessel.net, (40, 41), "volume and fish = (40.0, 41.0): the fish would displace all the water"),
    ],
)
def test_arguments_that_contradict_each_other(function: Any, arguments: tuple[float, ...], sentence: str) -> None:
    with pytest.raises(ArgumentError) as caught:
        function(*arguments)
    assert sentence in str(caught.value)
    assert caught.value.kind == "range"


lengths = st.floats(0.01, 100)


@given(lengths, lengths, lengths)
def test_shapes_against_each_other(one: float, other: float, depth: float) -> None:
    """Geometry: a round tank is an oval of equal axes and a stadium without straight sides; an ellipse is pi/4 of its
    box; a cone alone is a third of its cylinder."""
    long, wide = max(one, other), min(one, other)
    round_tank = vessel.round(wide, depth)
    assert vessel.oval(wide, wide, depth) == pytest.approx(round_tank, rel=1e-12)
    assert vessel.stadium(wide, wide, depth) == pytest.approx(round_tank, rel=1e-12)
    assert vessel.oval(long, wide, depth) == pytest.approx(vessel.rectangle(long, wide, depth) * math.pi / 4, rel=1e-12)
    assert vessel.cone(wide, 0, depth) == pytest.approx(round_tank / 3, rel=1e-12)
    assert vessel.cone(wide, depth, 0) == pytest.approx(round_tank, rel=1e-12)
    assert vessel.area(long * wide, depth) == pytest.approx(vessel.rectangle(long, wide, depth), rel=1e-12)
    assert vessel.oval(long, wide, depth) <= vessel.stadium(long, wide, depth) * (1 + 1e-12)
    assert vessel.stadium(long, wide, depth) <= vessel.rectangle(long, wide, depth) * (1 + 1e-12)


@given(st.floats(1, 1e6), st.floats(0, 30), st.floats(0.1, 20))
def test_salt_test_finds_the_volume_that_the_salt_went_into(volume: float, before: float, rise: float) -> None:
    """Mass balance: salt in g is litres times the rise in g/L."""
    after = before + rise
    assert vessel.salt_test(volume * (after - before), before, after) == pytest.approx(volume, rel=1e-12)


@given(st.floats(0.1, 1e4), st.floats(0.1, 1e4))
def test_fill_test_is_flow_times_time(flow: float, minutes: float) -> None:
    assert vessel.fill_test(flow, minutes) / minutes == pytest.approx(flow, rel=1e-12)


@given(st.floats(1, 1e6), st.floats(1e-3, 1e6))
def test_net_and_fish_make_the_whole(volume: float, fish: float) -> None:
    assume(fish < volume)
    assert vessel.net(volume, fish) + fish == pytest.approx(volume, rel=1e-12)


def test_refusals_name_a_number_too_long_to_print() -> None:
    """Python refuses to print a whole number of more than 4,300 digits; the refusal must not trip over it."""
    with pytest.raises(ArgumentError) as caught:
        vessel.fill_test(10**5000, 15)
    assert [problem.argument for problem in caught.value.problems] == ["flow"]
    assert "is too large" in str(caught.value)
