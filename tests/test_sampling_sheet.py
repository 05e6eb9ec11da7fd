"""The Sampling form of the bench workbook settles the exact sample size without a search."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import hypergeom

from workbook_tools.functions.formulas import sample
from workbook_tools.layout import load
from workbook_tools.layout.compute import compute_form

LAYOUT = load("bench")
FORM = LAYOUT.forms["sampling"][1]


@settings(max_examples=200, deadline=None)
@given(
    population=st.integers(1, 30_000),
    prevalence=st.sampled_from([0.001, 0.01, 0.02, 0.05, 0.1, 0.25, 0.5, 0.75, 1.0]),
    confidence=st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99, 0.999]),
)
def test_size_equals_the_function(population: int, prevalence: float, confidence: float) -> None:
    typed = {"population": population, "prevalence": prevalence, "confidence": confidence}
    exact = sample.size(population, prevalence, confidence)
    assert compute_form(FORM, LAYOUT, typed)["size"] == exact
    assert 0 <= sample.about(population, prevalence, confidence) - exact <= (1 if prevalence <= 0.5 else 3)


@pytest.mark.parametrize(
    ("population", "sampled", "prevalence"), [(500, 56, 0.05), (100, 7, 0.07), (30_000, 300, 0.01)]
)
def test_perfect_equals_scipy(population: int, sampled: int, prevalence: float) -> None:
    """scipy.stats.hypergeom: chance of none among the sampled."""
    infected = round(population * prevalence)
    expected = 1 - hypergeom.pmf(0, population, infected, sampled)
    assert sample.perfect(population, sampled, prevalence) == pytest.approx(expected, rel=1e-9)


def test_more_sampled_than_there_are_is_said() -> None:
    answers = compute_form(FORM, LAYOUT, {"population": 20, "prevalence": 0.1, "sampled": 30})
    assert answers["proof"] is None
    assert "More fish were looked at than there are." in answers["check"]
