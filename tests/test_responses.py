"""What the log has learned about each species: curves, intervals, censoring, suggested start dose and picture."""

from __future__ import annotations

import dataclasses
import datetime
import io
import itertools
import math
import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from random import Random
from statistics import NormalDist
from typing import Any

import numpy
import pytest
from click.testing import CliRunner
from defusedxml import ElementTree
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lifelines.datasets import load_leukemia
from PIL import Image
from statsmodels.duration.survfunc import SurvfuncRight

from demo.practice import practice
from workbook_tools.across import observations, suggestion
from workbook_tools.across.curves import APART, picture, spread
from workbook_tools.across.observations import Fish, anaesthetised, band_of
from workbook_tools.across.responses import COLUMNS, Learned, learned_rows, responses
from workbook_tools.across.suggestion import CAUTION, suggested
from workbook_tools.across.survival import Curve, curve, share_within
from workbook_tools.cli.main import cli
from workbook_tools.errors import DataError, MissingLibraryError, WorkbookToolsError
from workbook_tools.layout import case_log
from workbook_tools.layout.compute import Computed
from workbook_tools.log.building.log_workbook import build_log

TRICAINE = "tricaine methanesulfonate"
Record = tuple[Fish, ...]

# ------------------------------------------------------------------------------------------- curves and intervals

# Remission in weeks of the 21 children on 6-mercaptopurine, + for still in remission: Freireich et al. 1963, Blood
# 21:699, as printed in textbooks (Kleinbaum & Klein, Survival Analysis; Collett). From memory; equal to the data set
# that lifelines ships.
WEEKS = [
    "6", "6", "6", "6+", "7", "9+", "10", "10+", "11+", "13", "16", "17+",
    "19+", "20+", "22", "23", "25+", "32+", "32+", "34+", "35+",
]  # fmt: skip
SIX_MP = [float(week.rstrip("+")) for week in WEEKS]
RELAPSED = [not week.endswith("+") for week in WEEKS]
# Product-limit estimates in Kleinbaum & Klein's table of the same group, four digits (from memory).
PRINTED = {6: 0.8571, 7: 0.8067, 10: 0.7529, 13: 0.6902, 16: 0.6275, 22: 0.5378, 23: 0.4482}


def test_the_published_weeks_are_those_of_the_shipped_data_set() -> None:
    shipped = load_leukemia()
    treated = shipped[shipped.Rx == 0]
    assert sorted(zip(treated.t, treated.status, strict=True)) == sorted(zip(SIX_MP, RELAPSED, strict=True))


def test_published_curve_and_median() -> None:
    """Median 23 weeks (Kleinbaum & Klein, from memory)."""
    found = curve(SIX_MP, RELAPSED)
    for week, left in PRINTED.items():
        assert found.left_at(week) == pytest.approx(left, abs=5e-5)
    assert found.left_at(5.99) == 1
    assert found.median == 23
    assert found.ticks == (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)


def test_published_interval_of_the_median() -> None:
    """13 weeks, upper end open: the log(-log) interval that statistics packages print for this group (from memory)."""
    found = curve(SIX_MP, RELAPSED)
    assert (found.median_low, found.median_high) == (13, None)
    second = SurvfuncRight(numpy.array(SIX_MP), numpy.array(RELAPSED))
    assert second.quantile_ci(0.5, method="cloglog") == (13, math.inf)


def simulated(random: Random, number: int, seconds: float, watched: float) -> tuple[list[float], list[bool]]:
    """Exponential times with a mean, censored at exponential times with another."""
    pairs = [(random.expovariate(1 / seconds), random.expovariate(1 / watched)) for _ in range(number)]
    return [min(pair) for pair in pairs], [time <= censored for time, censored in pairs]


@pytest.mark.parametrize("seed", range(12))
def test_against_a_second_library(seed: int) -> None:
    """statsmodels' survival probabilities, their Greenwood errors and its interval of the median."""
    times, there = simulated(Random(seed), 25, 170, 400)
    times, there = [*times, max(times) + 1], [*there, False]  # the last one censored: statsmodels warns at a curve's 0
    found = curve(times, there)
    second = SurvfuncRight(numpy.array(times), numpy.array(there))
    for time, left in zip(second.surv_times, second.surv_prob, strict=True):
        assert found.left_at(time) == pytest.approx(left, rel=1e-9)
        assert not math.isclose(left, 0.5)  # where libraries differ in what they call the median
    assert (found.median or math.inf) == pytest.approx(second.quantile(0.5))
    ends = found.median_low or math.inf, found.median_high or math.inf
    assert ends == pytest.approx(second.quantile_ci(0.5, method="cloglog"))
    place = int(numpy.searchsorted(second.surv_times, 180, side="right")) - 1
    left, error = float(second.surv_prob[place]), float(second.surv_prob_se[place])
    spreading = NormalDist().inv_cdf(0.975) * error / (left * math.log(left))
    assert found.share == pytest.approx(1 - left, rel=1e-9)
    assert found.share_low == pytest.approx(1 - left ** math.exp(spreading), rel=1e-9)
    assert found.share_high == pytest.approx(1 - left ** math.exp(-spreading), rel=1e-9)


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """Known median (mean * ln 2) and known share within 180 s; 95 of 100 with the scatter of 400 draws and few fish."""
    random, mean, runs = Random(20261125), 170.0, 400
    median, share = mean * math.log(2), 1 - math.exp(-180 / mean)
    held = Counter[str]()
    for _ in range(runs):
        found = curve(*simulated(random, 40, mean, 500))
        held["median"] += (found.median_low or 0) <= median <= (found.median_high or math.inf)
        held["share"] += (found.share_low or 0) <= share <= (found.share_high or 1)
    # 3 standard errors of a share of 0.95 among 400 are 0.033
    assert held["median"] / runs == pytest.approx(0.95, abs=0.033)
    assert held["share"] / runs == pytest.approx(0.95, abs=0.033)


def test_wilson_stands_where_the_variance_is_nought() -> None:
    """Wilson's interval of 5 of 5 and of 0 of 4: lower end 5 / (5 + z^2), upper end z^2 / (4 + z^2), by hand."""
    square = NormalDist().inv_cdf(0.975) ** 2
    all_there = curve([100, 110, 120, 130, 140], [True] * 5)
    assert (all_there.share, all_there.share_high) == (1, 1)
    assert all_there.share_low == pytest.approx(5 / (5 + square))
    none_there = curve([60, 180, 185, 200, 200], [False, False, True, True, False])  # the first says nothing of 180 s
    assert (none_there.share, none_there.share_low) == (0, 0)
    assert none_there.share_high == pytest.approx(square / (4 + square))


def test_fish_not_followed_to_3_min_leave_the_share_unknown() -> None:
    """By hand: of 4 fish one reached the stage at 90 s, then the others went out of sight."""
    found = curve([90, 120, 150, 179], [True, False, False, False])
    assert (found.share, found.share_low, found.share_high, found.median) == (None, None, None, None)
    assert found.at_least == pytest.approx(0.25)
    assert curve([90, 120, 150, 180], [True, False, False, False]).share == pytest.approx(0.25)


def test_the_end_of_the_median_is_open_where_no_fish_is_left() -> None:
    """All at one time: the curve has a median and nothing to measure its spread by."""
    found = curve([100] * 6, [True] * 6)
    assert (found.median, found.median_low, found.median_high) == (100, None, None)


# ------------------------------------------------------------------------------------- which fish counts, and how


def clock(text: str) -> float:
    hours, minutes, *seconds = map(int, text.split(":"))
    return (hours * 3600 + minutes * 60 + sum(seconds)) / 86400


def log(fish: Sequence[dict[str, Any]], **bath: Any) -> Computed:
    """A log with one bath of 100 L at 12.5 C and some fish in it that went in at 10:00."""
    plain = {"bath": "B1", "visit": "V1", "vessel": "T1", "use": "anaesthesia", "species": "perch", "agent": TRICAINE}
    typed = {"bath": "B1", "into": clock("10:00")}
    return Computed(
        case_log(),
        {
            "vessels": [{"vessel": "T1", "shape": "known volume", "known": 100}],
            "visits": [{"visit": "V1", "date": 46000}],
            "baths": [plain | {"start_dose": 80, "temperature": 12.5} | bath],
            "fish": [typed | row for row in fish],
        },
    )


SETTLED = {"working": clock("10:02:20"), "out": clock("10:06")}  # 140 s, 360 s
UNSETTLED = {"settled": "no", "out": clock("10:10")}  # 600 s
AT_200 = {"topups": 1, "first_topup": clock("10:03:20")}


@pytest.mark.parametrize(
    ("fish", "bath", "seconds", "reached"),
    [
        (SETTLED, {}, 140, True),
        (SETTLED, {"topups": 0}, 140, True),
        (SETTLED, AT_200, 140, True),  # topped up after it had settled
        (SETTLED, {"topups": 1, "first_topup": clock("10:02:20")}, 140, True),  # at the very second
        (SETTLED, {"topups": 2, "first_topup": clock("10:02:19")}, 139, False),
        (SETTLED, {"first_topup": clock("10:01")}, 60, False),  # a time is a top-up, whatever the number says
        (UNSETTLED, {}, 600, False),
        (UNSETTLED, AT_200, 200, False),
        (UNSETTLED, {"topups": 1, "first_topup": clock("10:30")}, 600, False),  # after it had left
        ({"working": clock("10:02")}, {}, 120, True),  # nobody noted when it came out
        ({"into": clock("23:59"), "working": clock("0:01:30")}, {}, 150, True),
        ({"into": clock("23:59"), "working": clock("0:05")}, {"topups": 1, "first_topup": clock("0:02")}, 180, False),
    ],
)
def test_time_and_censoring_by_hand(fish: dict[str, Any], bath: dict[str, Any], seconds: float, reached: bool) -> None:
    (found,) = anaesthetised(log([fish], **bath))
    assert (found.seconds, found.reached, found.left_out) == (pytest.approx(seconds), reached, "")


@pytest.mark.parametrize(
    ("fish", "bath", "seconds", "reached"),
    [
        ({"into": None, "working": 140 / 1440, "out": 360 / 1440}, {}, 140, True),
        ({"into": 60 / 1440, "working": 200 / 1440}, {"first_topup": 240 / 1440, "topups": 1}, 140, True),
        ({"into": 60 / 1440, "working": 260 / 1440}, {"first_topup": 240 / 1440, "topups": 1}, 180, False),
        ({"into": None, "settled": "no", "out": 1500 / 1440}, {}, 1500, False),  # 25:00
    ],
)
def test_time_by_stopwatch(fish: dict[str, Any], bath: dict[str, Any], seconds: float, reached: bool) -> None:
    (found,) = anaesthetised(log([fish], times="stopwatch", **bath))
    assert (found.seconds, found.reached, found.left_out) == (pytest.approx(seconds), reached, "")


@pytest.mark.parametrize(
    ("fish", "top_up", "reason"),
    [
        ({"into": 60 / 1440, "working": 30 / 1440}, None, observations.IMPOSSIBLE),
        ({"into": 300 / 1440, "working": 400 / 1440}, 240 / 1440, observations.IN_AFTER_TOP_UP),
        ({"into": None, "working": 200 / 86400}, None, observations.IMPOSSIBLE),  # typed 0:03:20
    ],
)
def test_stopwatch_times_that_say_nothing(fish: dict[str, Any], top_up: float | None, reason: str) -> None:
    (found,) = anaesthetised(log([fish], times="stopwatch", first_topup=top_up))
    assert (found.seconds, found.left_out) == (None, reason)


@pytest.mark.parametrize(
    ("fish", "bath", "reason"),
    [
        ({"bath": "B9"} | SETTLED, {}, observations.NO_BATH),
        (SETTLED, {"species": None}, observations.NO_SPECIES),
        (SETTLED, {"use": None}, observations.NO_USE),
        (SETTLED, {"agent": None}, observations.NO_AGENT),
        (SETTLED, {"start_dose": None}, observations.NO_DOSE),
        (SETTLED, {"start_dose": "80"}, observations.NO_DOSE),
        (SETTLED, {"start_dose": 0}, observations.NO_DOSE),
        (SETTLED, {"drug_weighed": 8.41}, observations.OTHER_DOSE),  # 8 g for 80 mg/L in 100 L
        (SETTLED, {"drug_weighed": 7.59}, observations.OTHER_DOSE),
        (SETTLED, {"temperature": None}, observations.NO_TEMPERATURE),
        (SETTLED, {"temperature": 54}, observations.NO_TEMPERATURE),  # Fahrenheit
        ({"into": None} | SETTLED, {}, observations.NOT_TIMED),
        ({"settled": "yes", "out": clock("10:06")}, {}, observations.NOT_TIMED),
        ({"out": clock("10:06")}, {}, observations.NOT_TIMED),  # not said that it never settled
        ({"settled": "no"}, {}, observations.NOT_TIMED),
        ({"working": clock("9:59")}, {}, observations.IMPOSSIBLE),
        ({"working": clock("14:00:01")}, {}, observations.IMPOSSIBLE),
        ({"working": clock("10:00")}, {}, observations.IMPOSSIBLE),
        ({"working": "10:02"}, {}, observations.IMPOSSIBLE),
        ({"into": 46000.5, "working": 46000.5 + 130 / 86400}, {}, observations.IMPOSSIBLE),  # dates with times
        ({"balance": clock("9:59")} | UNSETTLED, {}, observations.IMPOSSIBLE),
        ({"balance": clock("10:03")} | SETTLED, {}, observations.IMPOSSIBLE),
        (SETTLED | {"out": clock("10:02")}, {}, observations.IMPOSSIBLE),
        (SETTLED | {"settled": "no"}, {}, observations.IMPOSSIBLE),
        (SETTLED, {"topups": 1}, observations.TOP_UP_NOT_TIMED),
        (SETTLED, {"topups": "one"}, observations.TOP_UP_NOT_TIMED),
        (SETTLED, {"topups": 1, "first_topup": "10:02"}, observations.TOP_UP_NOT_TIMED),
        (SETTLED, {"topups": 1, "first_topup": 46000.4}, observations.TOP_UP_NOT_TIMED),  # the fish has no date
        (SETTLED, {"topups": 1, "first_topup": clock("9:58")}, observations.IN_AFTER_TOP_UP),
        (SETTLED, {"topups": 1, "first_topup": clock("10:00")}, observations.IN_AFTER_TOP_UP),
    ],
)
def test_bad_rows_are_counted_with_their_reason_and_their_harm_stays(
    fish: dict[str, Any], bath: dict[str, Any], reason: str
) -> None:
    computed = log([fish | {"adverse": "injury in the bath"}], **bath)
    (found,) = anaesthetised(computed)
    assert (found.seconds, found.reached, found.left_out) == (None, False, reason)
    assert found.hurt
    assert responses(computed).left_out == {reason: 1}


@pytest.mark.parametrize("weighed", [None, 7.6, 8, 8.4])
def test_five_per_cent_of_weighing_error_is_the_start_dose(weighed: float | None) -> None:
    (found,) = anaesthetised(log([SETTLED], drug_weighed=weighed))
    assert found.left_out == ""


@pytest.mark.parametrize("use", ["treatment", "euthanasia"])
def test_baths_for_another_use_are_no_evidence(use: str) -> None:
    assert anaesthetised(log([SETTLED], use=use)) == []
    assert responses(log([SETTLED], use=use)) == Learned((), {})


@pytest.mark.parametrize(
    ("temperature", "band"),
    [(0, 0), (4.99, 0), (5, 5), (14.9, 10), (15, 15), (-0.1, -5), (40, 40), (40.1, None), (-2.1, None), (None, None),
     ("12", None), (True, None), (math.nan, None)],
)  # fmt: skip
def test_bands_of_5_degrees_from_0(temperature: object, band: int | None) -> None:
    assert band_of(temperature) == band


@pytest.mark.parametrize(
    ("row", "troubled", "hurt", "died", "known"),
    [
        ({}, False, False, False, False),
        ({"adverse": "none"}, False, False, False, True),
        ({"outcome": "recovered"}, False, False, False, True),
        ({"outcome": "kept for laboratory"}, False, False, False, True),
        ({"recovered": clock("10:11:00")}, False, False, False, True),  # 300 s
        ({"recovered": clock("10:11:01")}, True, False, False, True),
        ({"recovered": clock("10:05")}, False, False, False, False),  # before it came out: no time
        ({"adverse": "slow recovery"}, True, False, False, True),
        ({"adverse": "breathing stopped"}, True, True, False, True),
        ({"adverse": "jumped out"}, True, True, False, True),
        ({"outcome": "died"}, True, True, True, True),
        ({"adverse": "died later", "outcome": "recovered"}, True, True, True, True),
    ],
)
def test_what_counts_as_trouble(row: dict[str, Any], troubled: bool, hurt: bool, died: bool, known: bool) -> None:
    (found,) = anaesthetised(log([SETTLED | row]))
    assert (found.troubled, found.hurt, found.died, found.ending_known) == (troubled, hurt, died, known)


def test_recovered_in_5_min_counts_a_death_as_not_recovered() -> None:
    """By hand: 240 s, 301 s, a death, and one of which nothing was noted: 1 of 3."""
    rows = [{"recovered": clock("10:10")}, {"recovered": clock("10:11:01")}, {"outcome": "died"}, {}]
    ((one,),) = (lesson.responses for lesson in responses(log([SETTLED | row for row in rows])).lessons)
    assert (one.recovered, one.recovery_known, one.fish, one.seen, one.events, one.died) == (1, 3, 4, 4, 1, 1)
    assert one.adverse == {"died": 1}


# --------------------------------------------------------------------------------------------- the suggested dose


def fish(dose: float, seconds: float | None = 120, bath: str = "", reached: bool = True, **more: Any) -> Fish:
    plain = Fish("perch", TRICAINE, 10, dose, bath or f"{dose}a", 46000, seconds, reached, "", 200, "", False, True)
    return dataclasses.replace(plain, **more)


def group(dose: float, number: int, seconds: float = 120, **more: Any) -> list[Fish]:
    """Fish of two baths in turn."""
    return [fish(dose, seconds, f"{dose}{'ab'[place % 2]}", **more) for place in range(number)]


def dose_of(record: Sequence[Fish], low: float = 15, high: float = 330) -> float | None:
    return suggested(record, low, high).dose


def test_the_lowest_dose_that_worked() -> None:
    record = group(60, 6, 240) + group(80, 6) + group(100, 6, 80)
    found = suggested(record, 15, 330)
    assert found.dose == 80
    assert found.words.startswith("80 mg/L")
    assert "100 % of 6 fish in 2 baths" in found.words
    assert found.caution == f"6 fish in 2 baths at this dose; {CAUTION}"


def test_four_of_five_is_enough_and_three_is_not() -> None:
    assert dose_of([*group(80, 4), fish(80, 240, "80c")]) == 80
    assert dose_of([*group(80, 3), fish(80, 240, "80c"), fish(80, 240, "80c")]) is None


@pytest.mark.parametrize(
    ("record", "words"),
    [
        ([], "none was tried inside"),
        (group(80, 4), "too few fish yet"),
        ([fish(80, 120, "one bath")] * 9, "9 fish in 1 bath"),
        (group(80, 9, ending_known=False, recovery=None), "too few fish yet"),
        (group(60, 9, 240), "none that was tried brought enough fish"),
        (group(10, 9), "inside the reference range of 15 to 330 mg/L"),
        (group(340, 9), "inside the reference range"),
        (group(80, 99) + [fish(80, died=True)] * 2, "2 fish died and 99 came through well"),
        (
            [*group(80, 8), fish(80, adverse="breathing stopped")],
            "1 fish died or had an adverse event and 8 came through",
        ),
        (group(80, 8) + group(80, 3, recovery=301), "3 fish had an adverse event or took over 5 min"),
        (group(60, 9, 240, died=True) + group(80, 9), "from 60 mg/L up"),  # no dose above one that killed
        ([fish(60, None, died=True), *group(80, 9)], "up to 80 mg/L 1 fish died and 9 came"),
        (group(80, 8) + [fish(80, 240)] * 2 + [fish(80, 240, recovery=400)], "never speak for a higher dose"),
    ],
)
def test_silence_says_why(record: list[Fish], words: str) -> None:
    found = suggested(record, 15, 330)
    assert found.dose is None
    assert words in found.words
    assert found.caution.endswith(CAUTION)


SLOW_TO_RECOVER: dict[str, Any] = {"recovery": 301.0}
STOPPED: dict[str, Any] = {"adverse": "breathing stopped"}


@pytest.mark.parametrize(
    ("record", "more"),
    [
        # a slow recovery must not make a graver event look rarer: 1 hurt and 8 well at the weak dose end the ladder
        ([*group(60, 8, 240), fish(60, 240, **STOPPED), *group(80, 9)], fish(60, 240, **SLOW_TO_RECOVER)),
        # nor an event a death: 1 dead and 98 well
        ([*group(80, 98), fish(80, died=True)], fish(80, **STOPPED)),
        # a fast fish in trouble must not bring the share to 80 %: 15 of 19 are fast
        ([*group(80, 15), *group(80, 4, 240)], fish(80, 60, **SLOW_TO_RECOVER)),
        # nor one more bath of trouble, or one more fish, make a dose one that can be judged
        ([fish(80, 120, "80a")] * 19, fish(80, 120, "80b", **STOPPED)),
        (group(80, 4), fish(80, **SLOW_TO_RECOVER)),
    ],
)
def test_one_more_fish_in_trouble_brings_no_suggestion(record: list[Fish], more: Fish) -> None:
    assert dose_of(record) is None
    assert dose_of([*record, more]) is None
    well = dataclasses.replace(more, recovery=200, adverse="", seconds=120)
    assert dose_of([*record, *[well] * 99]) is not None  # so that the record alone is not what keeps it silent


@pytest.mark.parametrize(
    ("record", "words"),
    [
        # 4 of 5 well and fast: the share wanted, and harm within its limit, but too few fish known to be well
        ([*group(80, 4), fish(80, **SLOW_TO_RECOVER)], "4 fish in 2 baths known to have come through well"),
        # harm at the dose itself is not thinned out by a weaker one that did none
        ([*group(60, 30, 240), *group(80, 8), fish(80, **STOPPED)], "at 80 mg/L 1 fish died or had"),
        # a slow fish in trouble does not push up to the next dose
        ([*group(80, 8), *[fish(80, 240)] * 2, fish(80, 240, **SLOW_TO_RECOVER), *group(100, 9)], "never speak"),
    ],
)
def test_the_edges_of_the_ladder(record: list[Fish], words: str) -> None:
    found = suggested(record, 15, 330)
    assert found.dose is None
    assert words in found.words


def test_no_reference_range_no_suggestion() -> None:
    assert suggested(group(80, 9), None, None).dose is None
    assert suggested(group(80, 9), 330, 15).dose is None
    lasting = log([SETTLED] * 9, agent=f"{TRICAINE}, euthanasia", start_dose=300)
    assert "no range of this agent" in responses(lasting).lessons[0].words


def test_a_death_in_water_of_unknown_temperature_counts_in_every_band() -> None:
    """Nine fish that came through well at 12.5 C, and one that died at the same dose in water nobody measured."""
    well = SETTLED | {"outcome": "recovered", "recovered": clock("10:09")}
    computed = log([well | {"bath": f"B{place % 2 + 1}"} for place in range(9)] + [well | {"bath": "B3"}])
    baths = [computed.data["baths"][0] | {"bath": f"B{place}"} for place in (1, 2, 3)]
    baths[2]["temperature"] = None
    data = {key: computed.data[key] for key in ("vessels", "visits", "fish")}
    assert responses(Computed(case_log(), data | {"baths": baths})).lessons[0].suggestion.dose == 80
    data["fish"][9]["outcome"] = "died"
    (lesson,) = responses(Computed(case_log(), data | {"baths": baths})).lessons
    assert lesson.suggestion.dose is None
    assert lesson.adverse == {"died": 1}
    assert "1 of 10 fish" in lesson.harm


# A plain product limit, so that thousands of records can be tried; held against the library just below.


def product_limit(seconds: Sequence[float], reached: Sequence[bool], within: float = 180) -> float:
    left = 1.0
    for time in sorted({s for s, there in zip(seconds, reached, strict=True) if there and s <= within}):
        here = sum(s == time and there for s, there in zip(seconds, reached, strict=True))
        left *= 1 - here / sum(s >= time for s in seconds)
    return 1 - left


OUTCOMES = st.lists(st.tuples(st.integers(1, 40).map(lambda tens: tens * 10.0), st.booleans()), min_size=1, max_size=20)


@settings(max_examples=100, deadline=None)
@given(OUTCOMES)
def test_the_plain_product_limit_is_the_library_s(pairs: list[tuple[float, bool]]) -> None:
    seconds, reached = [pair[0] for pair in pairs], [pair[1] for pair in pairs]
    assert share_within(seconds, reached) == pytest.approx(product_limit(seconds, reached), abs=1e-9)


@pytest.fixture
def many_records(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(suggestion, "share_within", product_limit)


DOSES = (10.0, 60.0, 80.0, 100.0)
HARMS: tuple[dict[str, Any], ...] = (
    {"adverse": "breathing stopped", "ending_known": True},
    {"adverse": "slow recovery", "ending_known": True},
    {"died": True, "ending_known": True},
    {"recovery": 301.0, "ending_known": True},
)
ENDINGS = st.sampled_from([{}] * 24 + [{"ending_known": False, "recovery": None}, {"recovery": 301.0}, *HARMS])
TIMES = st.sampled_from([(60.0, True), (120.0, True), (120.0, True), (180.0, True), (240.0, True), (90.0, False),
                         (150.0, False), (300.0, False), (None, False)])  # fmt: skip
BATHS = st.sampled_from("abc")


def one_fish(endings: st.SearchStrategy[dict[str, Any]], dose: float | None = None) -> st.SearchStrategy[Fish]:
    doses = st.sampled_from(DOSES) if dose is None else st.just(dose)
    made = st.tuples(doses, TIMES, BATHS, endings)
    return made.map(lambda drawn: fish(drawn[0], drawn[1][0], f"{drawn[0]}{drawn[2]}", drawn[1][1], **drawn[3]))


@st.composite
def records(draw: st.DrawFn) -> Record:
    """For each dose a leaning to be fast or slow, so that all outcomes of the ladder turn up."""
    found: list[Fish] = []
    for dose in DOSES:
        usual = draw(st.sampled_from([60.0, 120.0, 240.0]))
        number = draw(st.sampled_from([0, 0, 4, 5, 8, 9, 15, 30]))
        found += [fish(dose, usual, f"{dose}{'abc'[place % 3]}") for place in range(number)]
        found += draw(st.lists(one_fish(ENDINGS, dose), max_size=4))
    return tuple(found)


def harmed(one: Fish, harm: dict[str, Any]) -> Fish:
    """The fish with one more harm; a slow recovery does not take the place of a graver event."""
    return one if one.adverse and harm.get("adverse") == observations.SLOW else dataclasses.replace(one, **harm)


@st.composite
def worse(draw: st.DrawFn) -> tuple[Record, Record]:
    """A record, and the same with more harm: in fish already there, in further fish, or both."""
    before = draw(records())
    after = list(before)
    for place in draw(st.lists(st.integers(0, max(len(after) - 1, 0)), max_size=3 if after else 0)):
        after[place] = harmed(after[place], draw(st.sampled_from(HARMS)))
    after += draw(st.lists(one_fish(st.sampled_from(HARMS)), max_size=3))
    return before, tuple(after)


def rank(dose: float | None) -> float:
    """Silence is below every dose."""
    return -1 if dose is None else dose


RANGES = st.sampled_from([(15.0, 330.0), (5.0, 90.0), (70.0, 330.0)])
MANY = settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@MANY
@given(worse(), RANGES)
def test_more_harm_never_raises_the_suggestion(
    many_records: None, pair: tuple[Record, Record], limits: tuple[float, float]
) -> None:
    before, after = (dose_of(record, *limits) for record in pair)
    assert rank(after) <= rank(before)


@MANY
@given(records(), RANGES, st.data())
def test_slower_fish_never_lower_the_suggestion(
    many_records: None, record: Record, limits: tuple[float, float], data: st.DataObject
) -> None:
    """Fish that reach the stage only past 3 min: the suggestion stays, rises or falls silent."""
    places = data.draw(st.sets(st.integers(0, len(record) - 1), max_size=6)) if record else set()
    slower = [
        dataclasses.replace(one, seconds=200.0) if place in places and one.seconds is not None else one
        for place, one in enumerate(record)
    ]
    before, after = dose_of(record, *limits), dose_of(slower, *limits)
    assert before is None or after is None or after >= before


@MANY
@given(records(), RANGES)
def test_whatever_the_times_a_suggestion_is_a_safe_dose_that_was_tried(
    many_records: None, record: Record, limits: tuple[float, float]
) -> None:
    """Counted anew: in the range, enough fish and baths, no more harm than allowed there and at all doses up to it."""
    dose = dose_of(record, *limits)
    if dose is None:
        return
    assert limits[0] <= dose <= limits[1]
    here = [one for one in record if one.dose == dose]
    well = [one for one in here if one.seconds is not None and one.ending_known and not one.troubled]
    assert len(well) >= 5
    assert len({one.bath for one in well}) >= 2
    assert sum(one.reached and (one.seconds or 999) <= 180 for one in well) > 0
    for these in (here, [one for one in record if (one.dose or 999) <= dose]):
        healthy = sum(one.ending_known and not one.troubled for one in these)
        died, hurt, troubled = (sum(getattr(one, grade) for one in these) for grade in ("died", "hurt", "troubled"))
        assert 99 * died <= healthy
        assert 9 * hurt <= healthy
        assert 4 * troubled <= healthy


def test_the_records_tried_reach_every_rung(many_records: None) -> None:
    """The properties above would be empty if the ladder always ended alike."""
    seen = Counter[str]()

    @settings(max_examples=400, deadline=None, database=None, derandomize=True)
    @given(records())
    def climb(record: Record) -> None:
        for dose in {one.dose for one in record if one.dose is not None}:
            seen[suggestion.judged(record, dose).verdict] += 1
        seen["suggested" if dose_of(record) else "silent"] += 1

    climb()
    assert all(seen[verdict] >= 10 for verdict in ("thin", "harm", "enough", "weak", "suggested", "silent")), seen
    assert seen["held"] >= 1, seen


# ------------------------------------------------------------------------------------------------- the demo's log


@pytest.fixture(scope="module")
def demo() -> Computed:
    return Computed(case_log(), practice())


@pytest.fixture(scope="module")
def learned(demo: Computed) -> Learned:
    return responses(demo)


def test_the_demo_s_fish_are_all_accounted_for(demo: Computed, learned: Learned) -> None:
    """Counted anew from the typed rows: fish of anaesthetic baths, and those of baths topped up at an unknown time."""
    baths = {row["bath"]: row for row in demo.data["baths"]}
    rows = [row for row in demo.data["fish"] if baths[row["bath"]]["use"] == "anaesthesia"]
    untimed = [row for row in rows if baths[row["bath"]]["topups"] and not baths[row["bath"]]["first_topup"]]
    shown = [one for lesson in learned.lessons for one in lesson.responses]
    assert sum(one.seen for one in shown) == len(rows)
    assert sum(one.fish for one in shown) + sum(learned.left_out.values()) == len(rows)
    assert len(untimed) == learned.left_out[observations.TOP_UP_NOT_TIMED] == 4
    assert sum(one.died for one in shown) == sum(row["outcome"] == "died" for row in rows) == 1


def test_the_demo_s_figures_are_sane(learned: Learned) -> None:
    """With no top-up nothing is censored, and the median is that of the sorted times."""
    tilapia = learned.only("Tilapia").lessons
    (lesson,) = tilapia
    plain = {one.dose: one for one in lesson.responses}
    assert list(plain) == [80, 100, 120]
    medians = [plain[dose].curve.median for dose in plain if plain[dose].curve]  # type: ignore[union-attr]
    assert medians == sorted(medians, reverse=True)  # a stronger bath is faster
    assert lesson.suggestion.dose == 100
    for other in learned.lessons:
        dose = other.suggestion.dose
        assert dose is None or dose in {one.dose for one in other.responses}
        assert CAUTION in other.words
        assert "Adverse events at any dose" in other.words
        for one in other.responses:
            assert_in_order(one.curve)


def assert_in_order(shape: Curve | None) -> None:
    """Every estimate inside its interval."""
    assert shape is not None
    if shape.median is not None:
        assert (shape.median_low or 0) <= shape.median <= (shape.median_high or math.inf)
    if shape.share is not None:
        assert (shape.share_low or 0) <= shape.share <= (shape.share_high or 1)


def test_the_median_without_censoring_is_the_middle_time(demo: Computed, learned: Learned) -> None:
    times = sorted(
        row["seconds_to_working"] for row in demo.data["fish"] if row["species"] == "tilapia" and row["dose"] == 100
    )
    (one,) = (one for one in learned.only("tilapia").lessons[0].responses if one.dose == 100)
    assert one.curve is not None
    assert not one.curve.ticks
    assert one.curve.median == times[math.ceil(len(times) / 2) - 1]


def test_rows_for_the_summary_sheet(demo: Computed, learned: Learned) -> None:
    """1 January 2000 is day 36526 in every spreadsheet."""
    rows = learned_rows(demo, datetime.date(2000, 1, 1))
    assert len(rows) == sum(len(lesson.responses) for lesson in learned.lessons)
    assert all(tuple(row) == COLUMNS for row in rows)
    assert {row["on"] for row in rows} == {36526}
    strong = next(row for row in rows if row["species"] == "tilapia" and row["dose"] == 100)
    assert (strong["band"], strong["fish"], strong["baths"]) == ("25 to under 30 C", 30, 8)
    assert strong["suggested"] == 100
    assert strong["low"] <= strong["median"] <= strong["high"]
    assert strong["words"].endswith(CAUTION)
    assert all(isinstance(value, str | int | float | None) for row in rows for value in row.values())


# -------------------------------------------------------------------------------------- picture and command line


def test_the_picture_is_grey_and_names_every_dose(learned: Learned) -> None:
    image = Image.open(io.BytesIO(picture(learned))).convert("RGB")
    bands = [band.tobytes() for band in image.split()]
    assert bands[0] == bands[1] == bands[2]  # no meaning in colour: there is none
    assert min(bands[0]) < 40
    drawing = picture(learned, "svg")
    few = learned.only("tilapia")
    text = " ".join(node.text or "" for node in ElementTree.fromstring(drawing).iter() if node.tag.endswith("text"))
    for lesson in learned.lessons:
        assert f"{lesson.species}, " in text
        for one in lesson.responses:
            assert f"{one.dose:g} mg/L, {one.fish} fish" in text
    assert picture(few, "svg") == picture(few, "svg")


@pytest.mark.parametrize(("empty", "kind"), [(True, "png"), (False, "gif")])
def test_a_picture_of_nothing_or_of_another_kind_is_refused(learned: Learned, empty: bool, kind: str) -> None:
    with pytest.raises(DataError):
        picture(Learned((), {}) if empty else learned, kind)


@given(st.lists(st.floats(0, 1), max_size=11).map(sorted))
def test_labels_stay_apart_and_in_order(heights: list[float]) -> None:
    placed = spread(heights)
    assert len(placed) == len(heights)
    assert all(above - below >= APART - 1e-9 for below, above in itertools.pairwise(placed))
    assert not placed or max(placed) <= 1 + 1e-9


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("log") / "practice.xlsx"
    path.write_bytes(build_log(case_log(), practice()))
    return path


def run(*words: str) -> tuple[int, str]:
    done = CliRunner().invoke(cli, words)
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    return done.exit_code, done.output


def test_the_command_prints_and_draws(file: Path, tmp_path: Path) -> None:
    target = tmp_path / "tilapia.png"
    code, said = run("responses", str(file), "--species", "TILAPIA", "--picture", str(target))
    assert code == 0
    assert "tilapia, tricaine methanesulfonate, 25 to under 30 C" in said
    assert "carp" not in said
    assert "30 fish in 8 baths at this dose; reference values" in " ".join(said.split())
    assert target.read_bytes().startswith(b"\x89PNG")
    code, said = run("responses", str(file), "--picture", str(target))
    assert code == 2
    assert "--replace" in said


@pytest.mark.parametrize("words", [("--species", "perch"), ("--agent", "none"), ("--picture", "x.gif")])
def test_the_command_refuses_what_is_not_there(file: Path, words: tuple[str, str]) -> None:
    assert run("responses", str(file), *words)[0] == 2


def test_the_summary_has_the_lessons_too(file: Path, learned: Learned) -> None:
    code, said = run("summary", str(file))
    assert code == 0
    assert all(lesson.title in said for lesson in learned.lessons)


@pytest.mark.parametrize("library", ["lifelines", "matplotlib"])
def test_an_absent_library_is_named_with_the_step(
    library: str, file: Path, tmp_path: Path, learned: Learned, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, library, None)
    with pytest.raises(MissingLibraryError, match=r"pip install 'workbook-tools\[insight\]'") as caught:
        curve([1], [True]) if library == "lifelines" else picture(learned)
    assert isinstance(caught.value, WorkbookToolsError | ImportError)
    code, said = run("responses", str(file), "--picture", str(tmp_path / "p.svg"))
    assert code == 2
    assert "pip install 'workbook-tools[insight]'" in said
    code, said = run("summary", str(file))
    assert code == 0
    assert ("adds them here" in said) == (library == "lifelines")
