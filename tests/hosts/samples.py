"""Arguments to try every function with, and what Python answers: the same for every host."""

from __future__ import annotations

import functools
import itertools
import math
from dataclasses import dataclass

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from workbook_tools.errors import ArgumentError
from workbook_tools.functions.catalogue import Entry, entries, entry
from workbook_tools.functions.quantities import Choice, Parameter, Quantity, Text
from workbook_tools.functions.texts.guide_rows import example_values

BUDGET = 200
GRID_LIMIT = 81
SMALLEST = 1e-9  # nobody weighs less; engines differ in what they take for zero
DIGITS = 6  # as a person types; more would test how engines round a difference of nearly equal numbers
UNIT_PAIRS = (("gallon", "liter"), ("degF", "degC"), ("foot**3", "m**3"), ("mg/L", "g/gallon"), ("mg/L", "g"))
NAMES = tuple(e.name for e in entries())

Arguments = tuple[object, ...]
# a number, rows of numbers, or the kind of an error: "value" or "range"
Outcome = float | str | list[list[float]]


@dataclass(frozen=True)
class Sample:
    """One call: its arguments and what Python answers."""

    arguments: Arguments
    outcome: Outcome


def outcome(found: Entry, arguments: Arguments) -> Outcome:
    """What Python answers, with an error as its kind."""
    try:
        answer: Outcome = found.call(*arguments)
    except ArgumentError as error:
        return error.kind
    return answer


@functools.cache
def samples(name: str) -> tuple[Sample, ...]:
    """Grid, edges, bad input and random calls of a function."""
    found = entry(name)
    calls = [*grid(found), *edges(found), *bad(found), *random_calls(found)]
    different = {repr(call): call for call in calls}  # by what is written: TRUE equals 1 and is not the same
    return tuple(Sample(call, outcome(found, call)) for call in different.values())


def takes_range(parameter: Parameter) -> bool:
    """Whether an argument is several cells."""
    return not isinstance(parameter.kind, Quantity | Choice | Text)


def quantity_of(parameter: Parameter) -> Quantity:
    kind = getattr(parameter.kind, "item", parameter.kind)
    assert isinstance(kind, Quantity)
    return kind


def example_call(found: Entry) -> Arguments:
    """The docstring's example, a range as a tuple of its cells."""
    return tuple(tuple(value) if isinstance(value, list) else value for value in example_values(found))


def rounded(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


def clipped(value: float, quantity: Quantity) -> float:
    """A value moved into a range, whole where it has to be."""
    if quantity.whole:
        return float(min(max(round(value), math.ceil(quantity.low)), math.floor(quantity.high)))
    inside = min(max(value, quantity.low), quantity.high)
    past_low = quantity.above and inside == quantity.low
    past_high = quantity.below and inside == quantity.high
    middle = rounded((quantity.low + min(quantity.high, quantity.low + 10)) / 2)
    return middle if past_low or past_high else inside


def grid(found: Entry) -> list[Arguments]:
    """The example, a spread of combinations of a few values of each argument, and optional ones left out."""
    base = example_call(found)
    columns = []
    for number, parameter in enumerate(found.parameters):
        given_value = base[number] if number < len(base) else parameter.default
        if isinstance(parameter.kind, Choice):
            columns.append(list(parameter.kind.words))
        elif isinstance(given_value, int | float):
            quantity = quantity_of(parameter)
            columns.append([clipped(rounded(given_value * factor), quantity) for factor in (0.37, 1.0, 1.83)])
        else:
            columns.append([given_value])
    combined = list(itertools.product(*columns))
    step = max(1, len(combined) // GRID_LIMIT)
    return [base, *combined[::step], *_left_out(found)]


def _left_out(found: Entry) -> list[Arguments]:
    """Calls with optional arguments left out one by one from the end, and with None in the middle."""
    base = full(found)
    needed = sum(not parameter.optional for parameter in found.parameters)
    shorter = [base[:length] for length in range(needed, len(base))]
    middle = [(*base[:number], None, *base[number + 1 :]) for number in range(needed, len(base) - 1)]
    return [*shorter, *middle]


def full(found: Entry) -> Arguments:
    """The example's arguments with the optional ones written out."""
    base = example_call(found)
    rest = [parameter.default for parameter in found.parameters[len(base) :]]
    return (*base, *rest)


def edges(found: Entry) -> list[Arguments]:
    """Each number at its limits, just inside and just past them, the others as in the example."""
    base = full(found)
    calls: list[Arguments] = []
    for number, parameter in enumerate(found.parameters):
        usual = base[number]
        if not isinstance(usual, int | float | tuple):
            continue
        kind = quantity_of(parameter)
        away = 1.0 if kind.whole else max(abs(kind.low), 1.0) * 1e-6
        past = 1.0 if kind.whole else max(abs(kind.high), 1.0) * 1e-6
        values = {kind.low - away, kind.low, kind.low + away, kind.high - past, kind.high, kind.high + past, 0.0, -1.0}
        if kind.whole:
            values.add(kind.low + 0.5)
        rest = usual[1:] if isinstance(usual, tuple) else None
        edge = [value if rest is None else (value, *rest) for value in sorted(values)]
        calls += [(*base[:number], value, *base[number + 1 :]) for value in edge]
    return calls


def bad(found: Entry) -> list[Arguments]:
    """Each argument blank, a text, a number as text and TRUE; and two at once, one of each kind of error."""
    base = full(found)
    calls: list[Arguments] = []
    for number, parameter in enumerate(found.parameters):
        wrong = [5.0, "unheard of"] if isinstance(parameter.kind, Choice | Text) else ["text", "12", True]
        if not parameter.optional:
            wrong.append(None)
        for value in wrong:
            content = [value] if takes_range(parameter) else value
            call = (*base[:number], content, *base[number + 1 :])
            calls.append(tuple(tuple(item) if isinstance(item, list) else item for item in call))
    numbers = [n for n, parameter in enumerate(found.parameters) if isinstance(parameter.kind, Quantity)]
    if len(numbers) > 1:
        first, last = numbers[0], numbers[-1]
        both: list[object] = list(base)
        both[first], both[last] = -1.0, "text"
        calls.append(tuple(both))
        both[first], both[last] = "text", -1.0
        calls.append(tuple(both))
    return calls


def random_calls(found: Entry) -> list[Arguments]:
    """As many calls as the budget allows, the same ones in every run."""
    drawn: list[Arguments] = []

    @settings(
        max_examples=BUDGET,
        database=None,
        deadline=None,
        derandomize=True,
        suppress_health_check=list(HealthCheck),
    )
    @given(call_strategy(found))
    def collect(call: Arguments) -> None:
        drawn.append(call)

    collect()
    return drawn


def call_strategy(found: Entry) -> st.SearchStrategy[Arguments]:
    if found.name == "UNIT.CONVERT":
        return st.tuples(number_strategy(quantity_of(found.parameters[0])), st.sampled_from(UNIT_PAIRS)).map(
            lambda drawn: (drawn[0], *drawn[1])
        )
    if found.name == "STAGE.ELAPSED":  # few other numbers are whole minutes to a spreadsheet
        readings = st.integers(0, 14_399).map(lambda seconds: seconds / 1440)
        return st.tuples(st.one_of(readings, readings, number_strategy(quantity_of(found.parameters[0]))))
    base = full(found)
    return st.tuples(*(argument_strategy(p, base[n]) for n, p in enumerate(found.parameters)))


def argument_strategy(parameter: Parameter, usual: object) -> st.SearchStrategy[object]:
    kind = parameter.kind
    if isinstance(kind, Choice):
        return st.sampled_from(kind.words) | st.sampled_from(kind.words).map(str.upper)
    if isinstance(kind, Text):
        return st.just(usual)
    numbers = number_strategy(quantity_of(parameter), usual if isinstance(usual, int | float) else 1.0)
    return st.lists(numbers, min_size=1, max_size=5).map(tuple) if takes_range(parameter) else numbers


def number_strategy(quantity: Quantity, usual: float = 1.0) -> st.SearchStrategy[float]:
    """Numbers near the usual one mostly, and anywhere in the range."""
    near = st.floats(-1.0, 1.0).map(lambda power: clipped(rounded((usual or 1.0) * 10**power), quantity))
    low, high = max(quantity.low, -1e9), min(quantity.high, 1e9)
    anywhere = st.floats(low, high).map(
        lambda value: clipped(rounded(value) if abs(value) > SMALLEST else 0.0, quantity)
    )
    return st.one_of(near, near, near, anywhere)
