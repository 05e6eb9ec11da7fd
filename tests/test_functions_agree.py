"""Every function that has cell text: Python's answer, formualizer's and LibreOffice's, over good, edge and bad input.

Where Python refuses, the cell shows which kind of refusal it is. What is tried is made from the quantities.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Iterator
from random import Random
from typing import Any, NamedTuple

import pytest
from openpyxl.utils import get_column_letter

from tests.support.office import Office
from tests.support.plain_workbook import Formula
from tests.test_cell_text import ERROR, agree, as_cell, by_formualizer, by_libreoffice
from workbook_tools.errors import ArgumentError
from workbook_tools.functions.catalogue import Entry, entries
from workbook_tools.functions.quantities import Choice, Parameter, Quantity, Series
from workbook_tools.functions.texts.cell_text import cell_text, translatable

Arguments = tuple[Any, ...]
RANDOM = 120  # rows of random arguments for each function
SHOWN = {"value": "wrong type", "range": "out of range"}
FAILS = (f'"{SHOWN["value"]}"', f'"{SHOWN["range"]}"')
# LibreOffice takes numbers for equal that differ in the last digits; what is just past a limit must be further away
PAST = 1e-9
BROKEN = Formula("1/0")  # a cell that shows an error itself
NO_CELLS = {"BATH.STEPS", "PH.AFTER", "SAMPLE.SIZE", "SAMPLE.DETECT", "UNIT.CONVERT"}
FUNCTIONS = {entry.name: entry for entry in entries() if translatable(entry.name)}


class Row(NamedTuple):
    """One call: its arguments, Python's answer as a cell should show it, the formula, and what the engines show."""

    arguments: Arguments
    expected: Any
    text: str
    formualizer: Any
    libreoffice: Any

    def __str__(self) -> str:
        return (
            f"{self.arguments}: Python {self.expected!r}, formualizer {self.formualizer!r}, "
            f"LibreOffice {self.libreoffice!r}"
        )


def test_functions_without_cell_text_are_those_that_say_so() -> None:
    """A table, a search and sums of no fixed length; their notes name another way, or that there is none."""
    assert {entry.name for entry in entries()} - set(FUNCTIONS) == NO_CELLS


# ------------------------------------------------------------------------------------------------- arguments


def drawn(parameter: Parameter, random: Random) -> Any:
    """A value that the argument may have: small and large ones alike, as its range allows."""
    kind = parameter.kind
    if parameter.optional and random.random() < 0.2:
        return None
    if isinstance(kind, Choice):
        word = random.choice(kind.words)
        return random.choice([word, word.upper(), word.title()])
    if isinstance(kind, Series):
        return [number(kind.item, random) for _ in range(4)]
    assert isinstance(kind, Quantity)
    return number(kind, random)


def number(quantity: Quantity, random: Random) -> float:
    low, high = quantity.low, quantity.high
    value = random.uniform(low, high)
    way = random.random()
    if way < 0.5 and low >= 0 and high > 100:
        value = math.exp(random.uniform(math.log(max(low, 1e-3)), math.log(high)))
    elif way < 0.8 and low <= 1 and high >= 100:
        value = random.choice([0.25, 1, 2, 7.5, 10, 40, 80, 100])
    value = float(round(value)) if quantity.whole else value
    return value if quantity.fault(value) is None else high


def edge_values(parameter: Parameter) -> Iterator[Any]:
    """What lies at a limit or just past it, and what is no argument at all."""
    kind = parameter.kind
    yield from (None, " ", "x", "12", "12 gal", BROKEN)
    if isinstance(kind, Choice):
        yield from (0.0, 1.5, kind.words[0] + " ", "nonsense")
        return
    if isinstance(kind, Series):
        good = (kind.item.low + kind.item.high) / 2
        yield from ([value, good, good, good] for value in edge_values(Parameter("item", kind.item)))
        return
    assert isinstance(kind, Quantity)
    step = max(abs(kind.high), 1) * PAST
    yield from (kind.low, kind.low - step, kind.low + step, kind.high, kind.high - step, kind.high + step)
    yield from (0.0, -1.0, kind.low + 0.5, 1e308, -1e308)


def accepted(entry: Entry, random: Random) -> Arguments:
    """Random arguments that the function takes."""
    if entry.name == "STAGE.ELAPSED":  # few other numbers are whole minutes to a spreadsheet
        return (random.randrange(14_400) / 1440,)
    for _ in range(2000):
        arguments = tuple(drawn(parameter, random) for parameter in entry.parameters)
        try:
            entry.call(*arguments)
        except ArgumentError:
            continue
        return arguments
    raise AssertionError(f"{entry.name}: no random arguments suit it")


def calls(entry: Entry) -> list[Arguments]:
    """Edges of each argument among good ones, pairs of bad ones, and random rows."""
    random = Random(entry.name)
    found = []
    for position, parameter in enumerate(entry.parameters):
        for value in edge_values(parameter):
            good = accepted(entry, random)
            found.append((*good[:position], value, *good[position + 1 :]))
    for one, other in itertools.combinations(range(len(entry.parameters)), 2):
        for bad in itertools.product((None, "x", -1e308), repeat=2):
            arguments = list(accepted(entry, random))
            arguments[one], arguments[other] = bad
            found.append(tuple(arguments))
    found += [tuple(drawn(p, random) for p in entry.parameters) for _ in range(RANDOM // 2)]
    return found + [accepted(entry, random) for _ in range(RANDOM // 2)]


def flat(arguments: Arguments) -> Iterator[Any]:
    for argument in arguments:
        yield from argument if isinstance(argument, list) else [argument]


def in_python(entry: Entry, arguments: Arguments) -> Any:
    """The answer as the cell should show it."""
    if any(value is BROKEN for value in flat(arguments)):
        return SHOWN["value"]
    try:
        return as_cell(entry.call(*arguments))
    except ArgumentError as error:
        return ERROR if error.problems[0].argument == "result" else SHOWN[error.kind]


def placed(arguments: Arguments, row: int) -> tuple[dict[str, Any], list[str]]:
    """Cells of a row that hold the arguments, and what the formula calls them."""
    cells: dict[str, Any] = {}
    operands = []
    column = 1
    for argument in arguments:
        values = argument if isinstance(argument, list) else [argument]
        places = [f"{get_column_letter(column + offset)}{row}" for offset in range(len(values))]
        cells |= dict(zip(places, values, strict=True))
        operands.append(places[0] if len(places) == 1 else f"{places[0]}:{places[-1]}")
        column += len(values)
    return cells, operands


@pytest.fixture(scope="module")
def answers(office: Office) -> dict[str, list[Row]]:
    """Every call of every function, in one workbook for each engine."""
    asked: list[tuple[str, Arguments, str]] = []
    cells: dict[str, Any] = {}
    for name, entry in FUNCTIONS.items():
        for arguments in calls(entry):
            inputs, operands = placed(arguments, len(asked) + 1)
            cells |= inputs
            asked.append((name, arguments, cell_text(name, operands, FAILS)))
    texts = [text for _, _, text in asked]
    found: dict[str, list[Row]] = {name: [] for name in FUNCTIONS}
    for (name, arguments, text), one, other in zip(
        asked, by_formualizer(texts, cells), by_libreoffice(office, texts, cells), strict=True
    ):
        found[name].append(Row(arguments, in_python(FUNCTIONS[name], arguments), text, one, other))
    return found


@pytest.mark.parametrize("name", FUNCTIONS)
def test_cells_agree_with_python(name: str, answers: dict[str, list[Row]]) -> None:
    rows = answers[name]
    assert sum(isinstance(row.expected, float) for row in rows) >= RANDOM // 2
    assert {row.expected for row in rows} >= {SHOWN["value"]}
    wrong = [
        str(row) for row in rows if not (agree(row.expected, row.formualizer) and agree(row.expected, row.libreoffice))
    ]
    assert not wrong, "\n".join(wrong[:10])


@functools.cache
def truths() -> list[tuple[str, Arguments]]:
    """TRUE for a number, in every place."""
    return [
        (name, (*good[:position], True, *good[position + 1 :]))
        for name, entry in FUNCTIONS.items()
        for good in [accepted(entry, Random(name))]
        for position, parameter in enumerate(entry.parameters)
        if isinstance(parameter.kind, Quantity)
    ]


def test_true_for_a_number_is_refused_but_by_libreoffice(office: Office) -> None:
    """The named gap: ISNUMBER(TRUE) is TRUE in LibreOffice, so its cell counts with 1; Python and Excel refuse."""
    cells: dict[str, Any] = {}
    texts, refused, counted = [], [], []
    for row, (name, arguments) in enumerate(truths(), start=1):
        inputs, operands = placed(arguments, row)
        cells |= inputs
        texts.append(cell_text(name, operands, FAILS))
        refused.append(in_python(FUNCTIONS[name], arguments))
        counted.append(in_python(FUNCTIONS[name], tuple(1.0 if value is True else value for value in arguments)))
    assert len(texts) > 100
    assert set(refused) == {SHOWN["value"]}
    assert by_formualizer(texts, cells) == refused
    found = by_libreoffice(office, texts, cells)
    wrong = [
        (call, one, other) for call, one, other in zip(truths(), counted, found, strict=True) if not agree(one, other)
    ]
    assert wrong == []
