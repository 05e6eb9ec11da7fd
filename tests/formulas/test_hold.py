"""Release dates and degree days."""

from __future__ import annotations

import datetime
import inspect
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.formulas.cases import Case, check, published
from workbook_tools.errors import ArgumentError
from workbook_tools.functions.catalogue import call
from workbook_tools.functions.formulas import hold


@pytest.mark.parametrize("case", published("HOLD"), ids=lambda case: case.case)
def test_published(case: Case) -> None:
    check(case)


def test_date_counts_days_after_the_last_treatment() -> None:
    """1 March 2026 and 21 days: 22 March (by the calendar); dates come as day numbers."""
    answer = call("HOLD.DATE", datetime.date(2026, 3, 1), 21)
    assert datetime.date(1899, 12, 30) + datetime.timedelta(days=answer) == datetime.date(2026, 3, 22)
    assert call("HOLD.DATE", "2026-03-01", "3 weeks") == answer


def test_no_rule_is_assumed() -> None:
    """Withdrawal of tricaine is 21 days in one country and 70 degree days in another: nothing here has a default."""
    for function in (hold.date, hold.degree_days, hold.sum):
        parameters = inspect.signature(function).parameters.values()
        assert all(parameter.default is inspect.Parameter.empty for parameter in parameters)


@pytest.mark.parametrize(
    ("degree_days", "temperature", "days"), [(500, 8, 63), (70, 8, 9), (70, 7, 10), (0.3, 0.1, 3), (500, 12.5, 40)]
)
def test_degree_days_round_up_to_whole_days(degree_days: float, temperature: float, days: float) -> None:
    """By hand; 70 / 7 and 0.3 / 0.1 are whole and must not become a day more."""
    assert hold.degree_days(degree_days, temperature) == days


@given(st.floats(1, 5000), st.floats(2, 30))
def test_degree_days_are_reached_that_day_and_not_before(degree_days: float, temperature: float) -> None:
    days = int(hold.degree_days(degree_days, temperature))
    if days:
        assert hold.sum([temperature] * days) >= degree_days * (1 - 1e-8)
    if days > 1:
        assert hold.sum([temperature] * (days - 1)) < degree_days


def test_sum_counts_days_below_zero_as_zero() -> None:
    assert hold.sum([8, 9.5, -0.5, 0, 10]) == 27.5
    assert hold.sum(((8.0, 9.0), (10.0, -3.0))) == 27  # type: ignore[arg-type] # a range of rows
    assert call("HOLD.SUM", [8, "50 degF", 10]) == pytest.approx(28)
    assert call("HOLD.SUM", "8 9.5; 10") == 27.5


@pytest.mark.parametrize(
    ("temperatures", "sentence", "kind"),
    [
        ([8, None, 9], r"temperatures = \[None\]: item 2 is blank \(allowed: one or more numbers", "value"),
        ([[8], [""], [9]], r"item 2 is blank", "value"),
        ([8, "cold", None], r"item 2 is text, not a number; item 3 is blank", "value"),
        ([8, True], r"item 2 is TRUE or FALSE, not a number", "value"),
        ([8, math.nan], r"item 2 is not a finite number", "range"),
        ([8, 80], r"temperatures = \[80\]: item 2 is too large .* each -10 to 40 C", "range"),
        ([80] * 8, r"item 5 is too large; and 3 more", "range"),
        ([], r"holds no values", "value"),
        (8, r"temperatures = 8.0: is one value, not several", "value"),
        (None, r"temperatures = None: is blank", "value"),
    ],
)
def test_sum_names_the_place_of_what_it_cannot_use(temperatures: Any, sentence: str, kind: str) -> None:
    with pytest.raises(ArgumentError, match=sentence) as caught:
        hold.sum(temperatures)
    assert caught.value.kind == kind


def test_sum_reads_no_guess_into_text() -> None:
    with pytest.raises(ArgumentError, match=r"item 2: .*has a comma"):
        call("HOLD.SUM", [8, "9,5"])


@pytest.mark.parametrize(
    ("function", "arguments", "sentence"),
    [
        (hold.date, (46082.5, 21), r"last day = 46082.5: is not a whole number"),
        (hold.date, (46082, 20.5), r"days = 20.5: is not a whole number"),
        (hold.date, (46082, -1), r"days = -1.0: is negative"),
        (hold.date, (None, 21), r"last day = None: is blank"),
        (hold.date, (0, 21), r"last day = 0.0: is zero"),
        (hold.date, (True, 21), r"last day = True: is TRUE or FALSE"),
        (hold.degree_days, (500, 0), r"mean temperature = 0.0: is zero"),
        (hold.degree_days, (500, 80), r"mean temperature = 80.0: is too large"),
        (hold.degree_days, (500, 0.1), "in water so cold it would take more than ten years"),
        (hold.degree_days, (1e308, 8), r"degree days = 1e\+308: is too large"),
    ],
)
def test_bad_input(function: Any, arguments: tuple[Any, ...], sentence: str) -> None:
    with pytest.raises(ArgumentError, match=sentence):
        function(*arguments)
