"""Bath arithmetic: published values, round trips, mass balances, and every argument at and past its edges."""

from __future__ import annotations

import itertools
import math
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from tests.formulas.test_vessel import (
    Edge,
    check_left_out,
    check_limit,
    check_pair,
    check_published,
    check_refused,
    edges,
    limits,
    of_topic,
    pairs,
)
from tests.support.published import Case, published
from workbook_tools.errors import ArgumentError
from workbook_tools.functions.catalogue import Entry
from workbook_tools.functions.formulas import bath, vessel

volumes = st.floats(0.1, 1e5)
doses = st.floats(0.01, 1e4)
shares = st.floats(0.01, 1)
flows = st.floats(0.01, 1e5)


@pytest.mark.parametrize("case", published("BATH"), ids=lambda case: case.case)
def test_published(case: Case) -> None:
    check_published(case)


def test_the_rows_of_common_practice_are_among_them() -> None:
    """40 L: 3.2 g for 80 mg/L, buffer twice that, 0.8 g for each further 20 mg/L (common practice, no source)."""
    rows = {case.case: case.expected for case in published("BATH") if case.how_known == "common practice, no source"}
    assert rows == {"cp_80": 3.2, "cp_buffer": 6.4, "cp_topup": 0.8, "cp_topup2": 0.8}


@pytest.mark.parametrize("edge", edges("bath"), ids=str)
def test_refused(edge: Edge) -> None:
    check_refused(edge)


@pytest.mark.parametrize("edge", limits("bath"), ids=str)
def test_limits_are_taken(edge: Edge) -> None:
    check_limit(edge)


@pytest.mark.parametrize("pair", pairs("bath"), ids=lambda pair: f"{pair[0]}-{pair[1]}")
def test_two_bad_arguments_are_both_named(pair: tuple[Edge, Edge]) -> None:
    check_pair(*pair)


@pytest.mark.parametrize("function", [e for e in of_topic("bath") if e.parameters[-1].optional], ids=lambda e: e.name)
def test_optional_arguments_may_be_left_out(function: Entry) -> None:
    check_left_out(function)


@pytest.mark.parametrize(
    ("function", "arguments", "sentence"),
    [
        (bath.stock, (10, 80, 0.08), "dose and stock = (80.0, 0.08): the stock is no stronger than the dose"),
        (bath.stock, (10, 80, 0.01), "the stock is no stronger than the dose"),
        (bath.top_up, (40, 80, 79.9), "now and target = (80.0, 79.9): the target is below the present dose"),
        (bath.step_count, (80, 20, 79), "start and limit = (80.0, 79.0): the limit is below the start dose"),
        (bath.step_dose, (80, 20, 79, 1), "the limit is below the start dose"),
        (bath.steps, (40, 80, 20, 79), "the limit is below the start dose"),
        (bath.steps, (40, 1, 1, 101.5), "start and step and limit = (1.0, 1.0, 101.5): there would be more than 100"),
        (bath.replace, (40, 80, 81), "now and target = (80.0, 81.0): the target is above the present dose"),
        (bath.flush_time, (80, 81, 40, 4), "the target is above the present dose"),
        (bath.salt, (400, 5, 4), "now and target = (5.0, 4.0): the target is below the present salinity"),
    ],
)
def test_arguments_that_contradict_each_other(function: Any, arguments: tuple[float, ...], sentence: str) -> None:
    with pytest.raises(ArgumentError) as caught:
        function(*arguments)
    assert sentence in str(caught.value)
    assert caught.value.kind == "range"


def test_the_hundredth_top_up_is_the_last() -> None:
    assert len(bath.steps(40, 1, 1, 101)) == 101
    with pytest.raises(ArgumentError, match="more than 100 top-ups"):
        bath.steps(40, 1, 1, 101.001)


def test_steps_speak_of_their_own_arguments() -> None:
    """More drug than any packet holds is an answer, as it is for `mass`; no function within speaks in its own words."""
    volume, start, step, limit, active = 1e10, 99_000, 1_000, 100_000, 0.01
    rows = bath.steps(volume, start, step, limit, active)
    assert rows[-1][4] == bath.mass(volume, limit, active)
    with pytest.raises(ArgumentError, match=r"^bath\.steps: limit = 100001\.0: is too large"):
        bath.steps(volume, start, step, 100_001, active)


def test_a_percent_typed_for_a_share_is_named() -> None:
    with pytest.raises(ArgumentError, match=r"active = 80.0: is too large; for 80 % write 0.8 \(allowed: above 0 up"):
        bath.mass(40, 80, 80)


@given(volumes, doses, shares)
def test_mass_and_dose_undo_each_other(volume: float, dose: float, active: float) -> None:
    assert bath.dose(bath.mass(volume, dose, active), volume, active) == pytest.approx(dose, rel=1e-12)


@given(volumes, doses, doses, shares)
def test_top_up_takes_the_first_dose_to_the_second(volume: float, now: float, rise: float, active: float) -> None:
    """What is weighed at first and what is added make, together, the mass for the second dose."""
    target = now + rise
    weighed = bath.mass(volume, now, active) + bath.top_up(volume, now, target, active)
    assert weighed == pytest.approx(bath.mass(volume, target, active), rel=1e-12)


@given(volumes, doses, st.floats(0.05, 5e3), doses, shares, st.floats(0.5, 5))
def test_steps_end_on_the_limit_exactly(
    volume: float, start: float, step: float, rise: float, active: float, ratio: float
) -> None:
    limit = start + rise
    assume(rise / step <= 100)
    rows = bath.steps(volume, start, step, limit, active, ratio)
    doses_reached = [row[1] for row in rows]
    assert [row[0] for row in rows] == list(range(1, len(rows) + 1))
    assert len(rows) == bath.step_count(start, step, limit)
    assert doses_reached == [bath.step_dose(start, step, limit, number) for number in range(1, len(rows) + 1)]
    assert doses_reached[-1] == limit  # not nearly: a dose past the limit is what the limit forbids
    if len(rows) > 1:
        assert doses_reached[0] == start
    for before, after in itertools.pairwise(doses_reached):
        assert before < after <= limit
        assert after - before <= step * (1 + 1e-9) + 1e-9 * limit
    assert sum(row[2] for row in rows) == pytest.approx(bath.mass(volume, limit, active), rel=1e-12)
    assert rows[-1][4] == pytest.approx(bath.mass(volume, limit, active), rel=1e-12)
    for row in rows:
        assert row[3] == pytest.approx(ratio * row[2], rel=1e-12)


@pytest.mark.parametrize(
    ("start", "step", "limit", "expected"),
    [
        (80, 20, 80, [80]),
        (80, 20, 120, [80, 100, 120]),
        (80, 20, 119, [80, 100, 119]),
        (80, 20, 80.5, [80, 80.5]),
        (0.1, 0.1, 0.3, [0.1, 0.2, 0.3]),  # 0.3 - 0.1 is a hair less than 0.2 in binary; no third packet of nothing
        (10, 0.1, 10.7, [10 + 0.1 * n for n in range(8)]),
    ],
)
def test_steps_by_hand(start: float, step: float, limit: float, expected: list[float]) -> None:
    assert [row[1] for row in bath.steps(40, start, step, limit)] == pytest.approx(expected, rel=1e-12)


@given(volumes, st.floats(0.1, 5e3), st.floats(1, 900))
def test_stock_balances(volume: float, dose: float, stock: float) -> None:
    """Milligrams in the bath: dose times all the water, the stock's own included, is what the stock brought."""
    assume(dose < stock * 900)
    litres = bath.stock(volume, dose, stock) / 1000
    assert dose * (volume + litres) == pytest.approx(stock * 1000 * litres, rel=1e-9)


@given(doses, st.floats(1e-3, 1), volumes, flows)
def test_flushing_for_the_flush_time_gives_the_target(now: float, share: float, volume: float, flow: float) -> None:
    minutes = bath.flush_time(now, now * share, volume, flow)
    assert bath.flushed(now, volume, flow, minutes) == pytest.approx(now * share, rel=1e-9)


def test_flushing_by_hand() -> None:
    """Wash-out of a mixed vessel: one exchange of water leaves 1/e, no time leaves all, ln 2 exchanges leave half."""
    assert bath.flushed(80, 40, 4, 10) == pytest.approx(80 / math.e, rel=1e-12)
    assert bath.flushed(80, 40, 4, 0) == 80
    assert bath.flush_time(80, 40, 40, 4) == pytest.approx(10 * math.log(2), rel=1e-12)
    assert bath.flush_time(80, 80, 40, 4) == 0


@given(volumes, doses, st.floats(0, 1))
def test_replacing_water_lightens_by_what_is_drained(volume: float, now: float, share: float) -> None:
    """Mass balance: what stays in the vessel, thinned again to the full volume, has the target dose."""
    drained = bath.replace(volume, now, now * share)
    assert (volume - drained) * now == pytest.approx(volume * now * share, rel=1e-9, abs=1e-9 * volume * now)


@given(volumes, doses, st.floats(1, 1000))
def test_a_solution_holds_the_mass_of_its_strength(volume: float, dose: float, strength: float) -> None:
    """mL times mg/mL is the mg that `mass` gives in g."""
    assert bath.solution(volume, dose, strength) * strength == pytest.approx(bath.mass(volume, dose) * 1000, rel=1e-12)


@given(flows, doses, st.floats(0.1, 1e4), shares)
def test_a_drip_brings_the_mass_for_the_water_that_passes(
    flow: float, dose: float, minutes: float, active: float
) -> None:
    assert bath.drip(flow, dose, minutes, active) == pytest.approx(bath.mass(flow * minutes, dose, active), rel=1e-12)


@given(volumes, st.floats(0, 30), st.floats(0.1, 30))
def test_salt_is_found_again_by_the_salt_test(volume: float, now: float, rise: float) -> None:
    target = now + rise
    assert vessel.salt_test(bath.salt(volume, now, target), now, target) == pytest.approx(volume, rel=1e-12)


@given(volumes, doses)
def test_a_dose_by_volume(volume: float, dose: float) -> None:
    """A microlitre is a thousandth of a millilitre."""
    assert bath.liquid(volume, dose) * 1000 / dose == pytest.approx(volume, rel=1e-12)
