"""pH of a bath: published values, PyCO2SYS, and the way back."""

from __future__ import annotations

import math
import random
import warnings
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.formulas.cases import Case, attempt, check, published
from workbook_tools.errors import ArgumentError
from workbook_tools.functions.formulas import bath, carbonate, ph
from workbook_tools.functions.formulas.ph.prediction import MOST_BICARBONATE
from workbook_tools.functions.quantities import Quantity

# what the trade meets: pH, alkalinity mg/L CaCO3, temperature C, tricaine mg/L, bicarbonate mg/L
WATERS = [
    (start, alkalinity, temperature, tricaine, bicarbonate)
    for start in (6, 7, 8, 9)
    for alkalinity in (10, 40, 150, 400)
    for temperature in (2, 12, 30)
    for tricaine in (0, 80, 300)
    for bicarbonate in (0, 160, 600)
]


def reference(**arguments: Any) -> dict[str, Any]:
    """PyCO2SYS with the constants of Millero 1979 for fresh water."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # autograd, which it loads, is older than the numpy installed
        import PyCO2SYS

        return PyCO2SYS.sys(salinity=0, opt_k_carbonic=8, par1_type=1, **arguments)  # type: ignore[no-any-return]


@pytest.mark.parametrize("case", published("PH"), ids=lambda case: case.case)
def test_published(case: Case) -> None:
    check(case)


def test_after_agrees_with_pyco2sys() -> None:
    """PyCO2SYS 1.8, opt_k_carbonic=8, salinity 0: within 0.002 pH over every water of the trade (0.02 is asked)."""
    waters = np.array(WATERS)
    alkalinity = waters[:, 1] * 2e6 / 100_087
    before = reference(par1=alkalinity, par2=waters[:, 0], par2_type=3, temperature=waters[:, 2])
    added = waters[:, 4] * 1e6 / 84_007
    after = reference(
        par1=alkalinity - waters[:, 3] * 1e6 / 261_292 + added,
        par2=before["dic"] + added,
        par2_type=2,
        temperature=waters[:, 2],
    )
    ours = np.array([ph.after(*water) for water in WATERS])
    assert np.max(np.abs(ours - after["pH"])) < 0.002
    assert min(ours) < 4  # mineral acid took part
    assert not np.any(np.isnan(after["pH"]))


@pytest.mark.parametrize(
    ("alkalinity", "carbon", "temperature", "expected"),
    [
        (500, 600, 5, 7.2148),
        (1000, 1020, 10, 8.0774),
        (100, 150, 12, 6.7484),
        (2000, 2050, 15, 7.9607),
        (3000, 3300, 20, 7.3768),
        (2000, 2000, 25, 8.3179),
    ],
)
def test_balance_agrees_with_values_of_pyco2sys(
    alkalinity: float, carbon: float, temperature: float, expected: float
) -> None:
    """Alkalinity and carbon in umol/kg; values computed with PyCO2SYS, opt_k_carbonic=8, salinity 0."""
    assert by_cells(alkalinity / 2e6 * 100_087, carbon / 1000, temperature) == pytest.approx(expected, abs=0.0013)


def by_cells(alkalinity_left: float, carbon: float, temperature: float) -> float:
    """The route that cells take, once alkalinity and carbon of the bath are known."""
    constants = ph.first_pk(temperature), ph.second_pk(temperature), ph.water_pk(temperature)
    guess = ph.estimate(alkalinity_left, carbon, *constants)
    for _ in range(4):
        guess = ph.refine(guess, alkalinity_left, carbon, *constants)
    return guess


@pytest.mark.parametrize("water", random.Random(1).sample(WATERS, 60))
def test_route_of_cells_is_the_same(water: tuple[float, float, float, float, float]) -> None:
    start, alkalinity, temperature, tricaine, bicarbonate = water
    left = ph.alkalinity_left(alkalinity, tricaine, bicarbonate)
    carbon = ph.carbon(start, alkalinity, temperature, bicarbonate)
    assert by_cells(left, carbon, temperature) == pytest.approx(ph.after(*water), abs=1e-11)


starts = st.floats(3, 11)
alkalinities = st.one_of(st.just(0.0), st.floats(0.1, 5000))
temperatures = st.floats(0, 40)
additions = st.one_of(st.just(0.0), st.floats(0.01, 10_000))


@given(starts, alkalinities, temperatures, additions, additions)
def test_after_balances_the_charges(
    start: float, alkalinity: float, temperature: float, tricaine: float, bicarbonate: float
) -> None:
    """The balance, halved between two pH until nothing is left to halve, meets the answer to 1e-9 pH."""
    answer = attempt("PH.AFTER", start, alkalinity, temperature, tricaine, bicarbonate)
    if isinstance(answer, ArgumentError):
        assert "contradict each other" in str(answer)
        return
    left = alkalinity * 2 / 100_087 - tricaine / 261_292 + bicarbonate / 84_007
    carbon = carbonate.carbon_before(start, alkalinity, temperature) + bicarbonate / 84_007
    low, high = 0.0, 14.0
    for _ in range(100):
        middle = (low + high) / 2
        held = carbon * carbonate.carbon_alkalinity(middle, temperature)
        if held + carbonate.water_alkalinity(middle, temperature) < left:
            low = middle
        else:
            high = middle
    assert answer == pytest.approx(low, abs=1e-9)


@given(st.floats(0, 14), st.floats(-5000, 20_000), st.one_of(st.just(0.0), st.floats(1e-9, 1000)), temperatures)
def test_any_guess_gives_a_number(guess: float, left: float, carbon: float, temperature: float) -> None:
    """A step from anywhere in the ranges is a number, moves 2 at most, and goes towards the balance."""
    constants = ph.first_pk(temperature), ph.second_pk(temperature), ph.water_pk(temperature)
    assert -2 <= ph.estimate(left, carbon, *constants) <= 16
    step = ph.refine(guess, left, carbon, *constants) - guess
    assert abs(step) <= 2 + 1e-12
    lacking = left * 2 / 100_087 - carbonate.water_alkalinity(guess, temperature)
    lacking -= carbon / 1000 * carbonate.carbon_alkalinity(guess, temperature)
    if abs(lacking) > 1e-9 * max(1, abs(carbonate.water_alkalinity(guess, temperature))):
        assert step * lacking > 0


@given(st.floats(6, 9), st.floats(1, 1000), temperatures, st.floats(0, 1000))
def test_nothing_added_changes_nothing(start: float, alkalinity: float, temperature: float, tricaine: float) -> None:
    unchanged = attempt("PH.AFTER", start, alkalinity, temperature, 0, 0)
    if isinstance(unchanged, ArgumentError):
        assert "contradict each other" in str(unchanged)
        return
    assert unchanged == pytest.approx(start, abs=1e-9)
    assert ph.after(start, alkalinity, temperature, tricaine, 0) <= start + 1e-9


@given(st.floats(6, 9), st.floats(1, 1000), temperatures, st.floats(0, 1000), st.floats(5, 9))
def test_bicarbonate_reaches_the_target(
    start: float, alkalinity: float, temperature: float, tricaine: float, target: float
) -> None:
    added = attempt("PH.BICARBONATE", start, alkalinity, temperature, tricaine, target)
    if isinstance(added, ArgumentError):
        known = ("contradict each other", "already above the target", "cannot reach the target")
        assert any(words in str(added) for words in known)
        return
    assert 0 <= added <= 10_000 * (1 + 1e-9)
    assert ph.after(start, alkalinity, temperature, tricaine, min(added, 10_000)) == pytest.approx(target, abs=1e-7)


def test_bicarbonate_refuses_what_it_cannot_reach() -> None:
    with pytest.raises(ArgumentError, match=r"cannot reach the target: alone it approaches about pH 8.3"):
        ph.bicarbonate(7.4, 40, 12, 80, 8.6)
    with pytest.raises(ArgumentError, match="already above the target, with no bicarbonate at all"):
        ph.bicarbonate(8.2, 300, 12, 20, 7.5)
    assert ph.bicarbonate(7.4, 40, 12, 0, 7.4) == pytest.approx(0, abs=1e-6)


def test_pure_bicarbonate_solution_lies_near_8_3() -> None:
    """Half of pK1 + pK2 (6.352 and 10.329 at 25 C, Plummer & Busenberg 1982) is 8.34."""
    assert ph.after(7, 1, 25, 0, 9000) == pytest.approx(8.34, abs=0.01)


def test_constants_at_25_degrees() -> None:
    """Plummer & Busenberg 1982 print log K1 -6.352, log K2 -10.329, log KH -1.468 at 25 C (from memory)."""
    assert ph.first_pk(25) == pytest.approx(6.352, abs=6e-4)
    assert ph.second_pk(25) == pytest.approx(10.329, abs=6e-4)
    assert carbonate.gas_exponent(25) == pytest.approx(1.468, abs=6e-4)
    assert ph.water_pk(25) == pytest.approx(14.0, abs=0.006)


def test_buffer_by_weight_is_not_buffer_by_need() -> None:
    """Molar masses: twice the drug's weight is 6.2 mol a mole, equal weights 3.1; the acid needs 0.3215 g/g."""
    molar = 261.292 / 84.007
    assert bath.buffer(1) * molar == pytest.approx(6.2, abs=0.05)
    assert bath.buffer(1, 1) * molar == pytest.approx(3.1, abs=0.05)
    acid_alone = 1000 * 0.3215
    assert ph.alkalinity_left(50, 1000, acid_alone) == pytest.approx(50, abs=0.01)
    # carbon dioxide set free holds the pH down: the acid's need alone does not bring the pH back in a closed bath
    assert ph.after(7.4, 50, 12, 100, 32.15) < 7.0
    assert ph.bicarbonate(7.4, 50, 12, 100, 7.4) > 100


def test_alkalinity_may_end_below_zero() -> None:
    assert ph.alkalinity_left(10, 300, 0) < 0
    # mineral acid: hydrogen ion is the alkalinity missing, within the 0.3 % that bicarbonate still holds
    missing = (300 / 261_292) - 10 * 2 / 100_087
    assert ph.after(7, 10, 12, 300, 0) == pytest.approx(-math.log10(missing), abs=0.002)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ((15, 40, 12, 80, 0), r"pH = 15.0: is too large \(allowed: 3 to 11\)"),
        ((7, -1, 12, 80, 0), r"alkalinity = -1.0: is negative \(allowed: 0 to 5000 mg/L CaCO3\)"),
        ((7, 40, 80, 80, 0), r"temperature = 80.0: is too large \(allowed: 0 to 40 C\)"),
        ((7, 40, 12, None, 0), r"tricaine = None: is blank"),
        ((7, 40, 12, 80, True), r"bicarbonate = True: is TRUE or FALSE, not a number"),
        ((7, 40, math.nan, 80, 0), r"temperature = nan: is not a finite number"),
        ((7, 1e308, 12, 80, 0), r"alkalinity = 1e\+308: is too large"),
        (("", 40, 12, 80, 0), r"pH = '': is blank"),
        ((10.9, 5, 12, 80, 0), r"pH and alkalinity and temperature = \(10.9, 5.0, 12.0\): contradict each other"),
        ((4, 300, 12, 80, 0), r"more carbon dioxide than water holds"),
    ],
)
def test_bad_input(arguments: tuple[Any, ...], sentence: str) -> None:
    with pytest.raises(ArgumentError, match=sentence):
        ph.after(*arguments)


def test_every_bad_argument_is_named_at_once() -> None:
    with pytest.raises(ArgumentError) as caught:
        ph.after(15, 40, 80, None, 0)  # type: ignore[arg-type]
    assert [problem.argument for problem in caught.value.problems] == ["pH", "temperature", "tricaine"]
    assert caught.value.kind == "value"


def test_bicarbonate_ranges_agree() -> None:
    """The limit inside the reach test is the range of the argument that PH.AFTER takes."""
    kinds = {parameter.name: parameter.kind for parameter in ph.after.checked.parameters}  # type: ignore[attr-defined]
    kind = kinds["bicarbonate"]
    assert isinstance(kind, Quantity)
    assert kind.high / 84_007 == pytest.approx(MOST_BICARBONATE)
