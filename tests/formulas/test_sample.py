"""Sample sizes and intervals, against scipy and statsmodels."""

from __future__ import annotations

import itertools
import math
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import hypergeom
from statsmodels.stats.proportion import proportion_confint

from tests.formulas.cases import Case, attempt, check, published
from workbook_tools.errors import ArgumentError
from workbook_tools.functions.formulas import sample


@pytest.mark.parametrize("case", published("SAMPLE"), ids=lambda case: case.case)
def test_published(case: Case) -> None:
    check(case)


def missed(population: int, sampled: int, prevalence: float, sensitivity: float) -> float:
    """scipy: the chance of no positive, each infected fish in the sample missed by itself."""
    infected = math.ceil(Fraction(repr(prevalence)) * population)
    counts = np.arange(0, min(sampled, infected) + 1)
    return float(np.sum(hypergeom.pmf(counts, population, infected, sampled) * (1 - sensitivity) ** counts))


GRID = list(itertools.product((20, 137, 1000, 25_000), (0.01, 0.07, 0.3), (0.9, 0.95, 0.99), (1.0, 0.95, 0.6)))


@pytest.mark.parametrize(("population", "prevalence", "confidence", "sensitivity"), GRID)
def test_size_is_the_exact_answer(population: int, prevalence: float, confidence: float, sensitivity: float) -> None:
    """Not printed tables, which are rounded or a fish or two low: scipy.stats.hypergeom on both sides of the answer."""
    limit = 1 - confidence
    infected = math.ceil(Fraction(repr(prevalence)) * population)
    if (1 - sensitivity) ** infected > limit:
        with pytest.raises(ArgumentError, match="even a test of every fish would not reach the confidence"):
            sample.size(population, prevalence, confidence, sensitivity)
        return
    fewest = int(sample.size(population, prevalence, confidence, sensitivity))
    assert missed(population, fewest, prevalence, sensitivity) <= limit * (1 + 1e-8)
    assert fewest == 1 or missed(population, fewest - 1, prevalence, sensitivity) > limit
    answer = sample.detect(population, fewest, prevalence, sensitivity)
    assert answer == pytest.approx(1 - missed(population, fewest, prevalence, sensitivity), abs=1e-10)


@given(st.integers(1, 100_000), st.floats(1e-4, 1), st.floats(0.01, 0.999), st.one_of(st.just(1.0), st.floats(0.01, 1)))
def test_size_then_detect(population: int, prevalence: float, confidence: float, sensitivity: float) -> None:
    fewest = attempt("SAMPLE.SIZE", population, prevalence, confidence, sensitivity)
    if isinstance(fewest, ArgumentError):
        assert "even a test of every fish" in str(fewest)
        return
    assert sample.detect(population, fewest, prevalence, sensitivity) >= confidence - 2e-9
    if fewest > 1:
        assert sample.detect(population, fewest - 1, prevalence, sensitivity) < confidence


@given(st.integers(1, 300), st.data())
def test_detect_is_exact(population: int, data: st.DataObject) -> None:
    """Whole-number arithmetic: the sum over k of C(D, k) C(N - D, n - k) (1 - s)^k / C(N, n)."""
    sampled = data.draw(st.integers(1, population))
    infected = data.draw(st.integers(1, population))
    hundredths = data.draw(st.integers(1, 100))
    found = Fraction(hundredths, 100)
    ways = sum(
        math.comb(infected, k) * math.comb(population - infected, sampled - k) * (1 - found) ** k
        for k in range(min(sampled, infected) + 1)
        if sampled - k <= population - infected
    )
    expected = float(1 - ways / math.comb(population, sampled))
    answer = sample.detect(population, sampled, infected / population, hundredths / 100)
    assert answer == pytest.approx(expected, abs=1e-11)


def test_infected_fish_are_rounded_up() -> None:
    """Population times prevalence, rounded up, is stated and used; 100 * 0.07 in floats is a hair over 7."""
    assert 100 * 0.07 > 7
    assert sample.infected(100, 0.07) == 7
    assert sample.infected(1000, 0.0701) == 71
    assert sample.infected(50, 0.05) == 3
    assert sample.size(50, 0.05) == sample.size(50, 0.06)
    assert "population * prevalence, rounded up" in (sample.size.__doc__ or "")


def test_ties_count_as_reached() -> None:
    """One infected of 100: 95 fish leave it out with a chance of exactly 0.05, 90 of exactly 0.1."""
    assert sample.size(100, 0.01, 0.95) == 95
    assert sample.size(100, 0.01, 0.9) == 90


@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.95, 0.99])
def test_interval_agrees_with_statsmodels(confidence: float) -> None:
    for sampled in (1, 2, 29, 60, 1000):
        for positive in {0, 1, sampled // 3, sampled - 1, sampled}:
            low, high = proportion_confint(positive, sampled, alpha=1 - confidence, method="wilson")
            assert sample.low(positive, sampled, confidence) == pytest.approx(low, abs=1e-12)
            assert sample.high(positive, sampled, confidence) == pytest.approx(high, abs=1e-12)


def test_interval_ends_exactly_at_0_and_1() -> None:
    assert sample.low(0, 60) == 0
    assert sample.high(60, 60) == 1


@pytest.mark.parametrize(
    ("function", "arguments", "sentence"),
    [
        (sample.size, (500, 0), r"prevalence = 0.0: is zero \(allowed: above 0 up to 1\)"),
        (sample.size, (500, 1.2), r"prevalence = 1.2: is too large; for 1.2 % write 0.012"),
        (sample.size, (500, 5), r"for 5 % write 0.05"),
        (sample.size, (500.5, 0.05), r"population = 500.5: is not a whole number"),
        (sample.size, (None, 0.05), r"population = None: is blank"),
        (sample.size, (1e308, 0.05), r"population = 1e\+308: is too large"),
        (sample.size, (500, 0.05, 95), r"confidence = 95.0: is too large; for 95 % write 0.95"),
        (sample.size, (500, 0.05, 0.95, 0), r"sensitivity = 0.0: is zero"),
        (sample.size, (10, 0.1, 0.95, 0.9), "even a test of every fish would not reach the confidence"),
        (sample.detect, (100, 101, 0.05), "more fish are sampled than there are"),
        (sample.detect, (100, True, 0.05), r"sampled = True: is TRUE or FALSE"),
        (sample.low, (61, 60), "more fish are positive than were sampled"),
        (sample.low, (0, 0), r"sampled = 0.0: is zero"),
        (sample.high, (math.nan, 60), r"positive = nan: is not a finite number"),
        (sample.high, (1, 60, 1), r"confidence = 1.0: is too large"),
    ],
)
def test_bad_input(function: Any, arguments: tuple[Any, ...], sentence: str) -> None:
    with pytest.raises(ArgumentError, match=sentence):
        function(*arguments)
