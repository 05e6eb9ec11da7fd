"""Doses by body weight, medicated feed and dechlorination."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.formulas.cases import Case, attempt, check, published
from workbook_tools.errors import ArgumentError
from workbook_tools.functions.formulas import bath, clean, dose, feed

CASES = [*published("FEED"), *published("CLEAN")]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.case)
def test_published(case: Case) -> None:
    check(case)


@pytest.mark.parametrize(
    ("answer", "expected"),
    [
        (dose.injection(500, 10, 100), 0.05),
        (dose.weight(30, 0.01, 3), 270),
        (dose.biomass(2000, 45), 90),
        (dose.biomass(0, 45), 0),
        (dose.condition(270, 30), 1),
        (dose.density(90, 4000), 22.5),
    ],
)
def test_dose_by_hand(answer: float, expected: float) -> None:
    """Worked by hand from the definitions: 500 g at 10 mg/kg is 5 mg, 0.05 mL of 100 mg/mL; and so on."""
    assert answer == pytest.approx(expected, rel=1e-12)


@given(st.floats(1, 1e6), st.floats(0.1, 1e4), st.floats(0.01, 1))
def test_bath_mass_there_and_back(volume: float, concentration: float, active: float) -> None:
    mass = bath.mass(volume, concentration, active)
    assert bath.dose(mass, volume, active) == pytest.approx(concentration, rel=1e-12)


@given(st.floats(0.01, 500), st.floats(0.1, 20, exclude_min=True), st.floats(0.05, 1))
def test_inclusion_there_and_back(daily: float, ration: float, active: float) -> None:
    inclusion = attempt("FEED.INCLUSION", daily, ration, active)
    if isinstance(inclusion, ArgumentError):
        assert daily / (ration * 10 * active) > 1000
        assert "more than all drug" in str(inclusion)
        return
    assert feed.received(inclusion, ration, active) == pytest.approx(daily, rel=1e-12)


def test_drug_in_feed_is_the_drug_the_fish_need() -> None:
    """The same grams by two routes: by body weight, and by the feed they eat."""
    eaten = feed.ration(90, 1.5) * feed.inclusion(75, 1.5)
    assert eaten * 10 == pytest.approx(feed.drug(90, 75, 10))


def test_thiosulfate_ratio_is_that_of_the_pentahydrate() -> None:
    """Two moles of pentahydrate (248.184 g/mol) or of the anhydrous salt (158.11) for one of chlorine (70.906)."""
    assert clean.thiosulfate(1000, 1) == pytest.approx(2 * 248.184 / 70.906, abs=0.001)
    assert clean.thiosulfate(1000, 1, 4.46) == pytest.approx(2 * 158.11 / 70.906, abs=0.001)
    assert "pentahydrate" in (clean.thiosulfate.__doc__ or "").splitlines()[0]


@pytest.mark.parametrize(
    ("function", "arguments", "sentence"),
    [
        (dose.injection, (0, 10, 100), r"weight = 0.0: is zero"),
        (dose.injection, (500, None, 100), r"dose = None: is blank"),
        (dose.injection, (500, 10, 0), r"strength = 0.0: is zero"),
        (dose.weight, (30, 0.01, 7), r"b = 7.0: is too large \(allowed: 1 to 5\)"),
        (dose.biomass, (2.5, 45), r"count = 2.5: is not a whole number"),
        (dose.biomass, (True, 45), r"count = True: is TRUE or FALSE, not a number"),
        (dose.condition, (270, 1e308), r"length = 1e\+308: is too large"),
        (dose.density, (math.nan, 100), r"biomass = nan: is not a finite number"),
        (feed.drug, (90, 75, 1.5), r"days = 1.5: is not a whole number"),
        (feed.drug, (90, "75 mg", 1), r"dose = '75 mg': is text, not a number"),
        (feed.inclusion, (75, 0), r"ration = 0.0: is zero"),
        (feed.inclusion, (75, 1, 50), r"active = 50.0: is too large; for 50 % write 0.5"),
        (feed.inclusion, (10000, 0.5), "the feed would have to be more than all drug"),
        (feed.ration, (90, 101), r"ration = 101.0: is too large \(allowed: above 0.1 up to 100 %\)"),
        (feed.ration, (90, 0.02), r"ration = 0.02: is too small"),  # 2 % typed with its sign
        (feed.received, (1001, 1), r"inclusion = 1001.0: is too large"),
        (clean.thiosulfate, (100, 0), r"chlorine = 0.0: is zero"),
        (clean.thiosulfate, (100, 2, -1), r"ratio = -1.0: is negative"),
    ],
)
def test_bad_input(function: Any, arguments: tuple[Any, ...], sentence: str) -> None:
    with pytest.raises(ArgumentError, match=sentence):
        function(*arguments)
