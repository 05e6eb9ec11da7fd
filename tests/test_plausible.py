"""What is not plausible is found: both sides of each limit of the Reference sheet, and times by stopwatch.

The limits are those of templates/reference/limits.csv (common practice, no source); the numbers past them are slips
that were seen to pass without a word.
"""

from __future__ import annotations

import datetime
from typing import Any

import pytest

from tests.test_check import clean, clock
from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.layout import case_log
from workbook_tools.layout.compute import Computed


def found(table: str, position: int = 0, reference: list[dict[str, Any]] | None = None, **typed: Any) -> set[str]:
    """Codes of one row of the clean log with other cells."""
    data = clean()
    data[table][position] |= typed
    if reference is not None:
        data["limits"] = reference
    return codes(data, table, position)


def codes(data: dict[str, list[dict[str, Any]]], table: str, position: int = 0) -> set[str]:
    computed = Computed(case_log(), data)
    return {rule.code for one, place, rule in computed.findings if (one.key, place) == (table, position)}


def severity(code: str) -> set[str]:
    return {rule.severity for table in case_log().tables.values() for rule in table.rules if rule.code == code}


# ------------------------------------------------------------------------------------------------- one number


@pytest.mark.parametrize(
    ("table", "typed", "code", "wanted"),
    [
        # 60 m at most and 0.02 m at least, whatever the unit
        ("vessels", {"unit": "m", "length": 120, "breadth": 60, "depth": 50}, "dimension-unlikely", True),
        ("vessels", {"unit": "m", "length": 60, "breadth": 3, "depth": 1}, "dimension-unlikely", False),
        ("vessels", {"unit": "m", "length": 60.01, "breadth": 3, "depth": 1}, "dimension-unlikely", True),
        ("vessels", {"unit": "cm", "length": 120, "breadth": 60, "depth": 50}, "dimension-unlikely", False),
        ("vessels", {"unit": "cm", "length": 1.2, "breadth": 0.6, "depth": 0.5}, "dimension-unlikely", True),
        ("vessels", {"unit": "cm", "length": 20, "breadth": 2, "depth": 2}, "dimension-unlikely", False),
        ("vessels", {"unit": "cm", "length": 20, "breadth": 2, "depth": 1.9}, "dimension-unlikely", True),
        # 50 kg at most
        ("stocks", {"mean_weight": 50_000}, "weight-unlikely", False),
        ("stocks", {"mean_weight": 50_001}, "weight-unlikely", True),
        ("fish", {"weight": 50_000}, "weight-unlikely", False),
        ("fish", {"weight": 99_900}, "weight-unlikely", True),
        ("treatments", {"weight": 50_001}, "weight-unlikely", True),
        ("treatments", {"weight": 50_000}, "weight-unlikely", False),
        # an active share of 0.1 at least
        ("baths", {"active": 0.1}, "strength-unlikely", False),
        ("baths", {"active": 0.099}, "strength-unlikely", True),
        ("baths", {"active": 1e-6}, "strength-unlikely", True),
        ("treatments", {"active": 0.1}, "strength-unlikely", False),
        ("treatments", {"active": 0.099}, "strength-unlikely", True),
        # a buffer ratio of 0.5 to 4
        ("baths", {"ratio": 0.02}, "buffer-unlikely", True),
        ("baths", {"ratio": 0.49}, "buffer-unlikely", True),
        ("baths", {"ratio": 0.5}, "buffer-unlikely", False),
        ("baths", {"ratio": 4}, "buffer-unlikely", False),
        ("baths", {"ratio": 4.01}, "buffer-unlikely", True),
        ("baths", {"ratio": 100}, "buffer-unlikely", True),
        # 20,000 L at most and 0.5 L at least for anaesthesia; ten million for a treatment
        ("baths", {"used": 20_000}, "litres-unlikely", False),
        ("baths", {"used": 20_001}, "litres-unlikely", True),
        ("baths", {"used": 0.5}, "litres-unlikely", False),
        ("baths", {"used": 0.49}, "litres-unlikely", True),
        ("baths", {"used": 20_001, "use": "treatment"}, "litres-unlikely", False),
        ("baths", {"used": 10_000_001, "use": "treatment"}, "litres-unlikely", True),
        ("baths", {"used": 20_001, "use": "euthanasia"}, "litres-unlikely", True),
        # 80 mg/L, two steps of 20 reach 120; a step of 15 takes three, the last one cut at the limit
        ("baths", {"topups": 2}, "top-ups-too-many", False),
        ("baths", {"topups": 3}, "top-ups-too-many", True),
        ("baths", {"topups": 50}, "top-ups-too-many", True),
        ("baths", {"topups": 3, "step": 15}, "top-ups-too-many", False),
        ("baths", {"topups": 4, "step": 15}, "top-ups-too-many", True),
        # 0.7 - 0.1 is not quite six times 0.1 in binary numbers
        ("baths", {"topups": 6, "start_dose": 0.1, "limit": 0.7, "step": 0.1}, "top-ups-too-many", False),
        ("baths", {"topups": 7, "start_dose": 0.1, "limit": 0.7, "step": 0.1}, "top-ups-too-many", True),
        # rows of S02 at a visit to S01
        ("baths", {"vessel": "T03"}, "vessel-of-another-site", True),
        ("baths", {"vessel": "T02"}, "vessel-of-another-site", False),
        ("water", {"vessel": "T03"}, "vessel-of-another-site", True),
        ("water", {"vessel": "T02"}, "vessel-of-another-site", False),
        ("baths", {"reading": "W002"}, "reading-of-another-site", True),
        ("baths", {"reading": "W001"}, "reading-of-another-site", False),
    ],
)
def test_each_side_of_a_limit(table: str, typed: dict[str, Any], code: str, wanted: bool) -> None:
    assert (code in found(table, **typed)) is wanted


def test_a_fish_too_large_for_the_water_of_its_bath() -> None:
    """0.5 kg in a litre at most: in 100 L a fish of 50 kg, not one of 99.9 kg."""
    for grams, wanted in ((50_000, False), (50_001, True), (99_900, True)):
        data = clean()
        data["baths"][0]["used"] = 100
        data["fish"][0]["weight"] = grams
        assert ("weight-for-bath" in codes(data, "fish")) is wanted, grams


def test_the_limits_can_be_edited() -> None:
    """A practice that keeps large sturgeon types its own limit on the Reference sheet."""
    own = [{"limit": "weight at most, fish", "value": 150_000}]
    assert "weight-unlikely" in found("fish", weight=99_900)
    assert "weight-unlikely" not in found("fish", weight=99_900, reference=own)


def test_only_what_is_surely_wrong_is_a_fault() -> None:
    sure = {"vessel-of-another-site", "reading-of-another-site", "top-ups-too-many", "after-bath", "clock-on-stopwatch"}
    likely = {"dimension-unlikely", "weight-unlikely", "weight-for-bath", "litres-unlikely", "strength-unlikely"}
    assert {code: severity(code) for code in sure} == {code: {"fault"} for code in sure}
    assert {code: severity(code) for code in likely} == {code: {"notice"} for code in likely}
    assert severity("buffer-unlikely") == {"notice"}


# --------------------------------------------------------------------------------------------------- stopwatch


def watch(text: str) -> float:
    """A stopwatch time typed m:ss, as a spreadsheet stores it: hours and minutes."""
    minutes, seconds = text.split(":")
    return (int(minutes) + int(seconds) / 60) / 24


def timed(ended: float, use: str = "anaesthesia", **fish: float) -> dict[str, list[dict[str, Any]]]:
    """A bath by stopwatch with one fish."""
    data = clean()
    data["baths"][0] |= {"times": "stopwatch", "first_topup": watch("4:00"), "ended": ended, "use": use}
    data["watch"] = []
    data["fish"] = [{"fish": "F0001", "bath": "B001", "outcome": "recovered", **fish}]
    data["samples"] = []
    return data


def test_a_bath_of_twelve_minutes_typed_with_hours_is_found() -> None:
    """0:12:00 is stored as 12 min of the day, which the sheet reads as 12 s."""
    slip = serial(datetime.time(0, 12, 0))
    data = timed(slip, working=watch("2:10"), out=watch("6:00"), recovered=watch("9:00"))
    (row, *_) = Computed(case_log(), data).data["baths"]
    assert row["seconds"] == pytest.approx(12)
    assert "stopwatch-short" in codes(data, "baths")
    assert "after-bath" in codes(data, "fish")


@pytest.mark.parametrize(
    ("ended", "use", "wanted"),
    [("0:59", "anaesthesia", True), ("1:00", "anaesthesia", False), ("0:59", "treatment", False),
     ("0:10", "treatment", False), ("0:09", "treatment", True)],
)  # fmt: skip
def test_how_short_a_bath_may_be(ended: str, use: str, wanted: bool) -> None:
    data = timed(watch(ended), use)
    data["baths"][0] |= {"topups": 0, "first_topup": None}
    assert ("stopwatch-short" in codes(data, "baths")) is wanted


def test_a_fish_that_is_out_with_the_end_of_the_bath_is_in_order() -> None:
    """The bath ends when the last fish comes out: the same second is right, one more is not."""
    for out, wanted in (("12:00", False), ("12:01", True)):
        data = timed(watch("12:00"), working=watch("2:10"), out=watch(out), recovered=watch("15:00"))
        assert ("after-bath" in codes(data, "fish")) is wanted


@pytest.mark.parametrize(
    ("times", "wanted"),
    [
        ({"out": clock("14:05"), "recovered": clock("14:09")}, True),  # read as 4 s
        ({"into": clock("14:00"), "working": clock("14:03")}, True),  # read as 3 s
        ({"into": clock("14:00"), "balance": clock("14:01")}, True),  # read as 1 s
        ({"out": watch("6:00"), "recovered": watch("6:09")}, True),
        ({"out": watch("6:00"), "recovered": watch("6:10")}, False),
        ({"working": watch("0:10")}, False),
        ({"balance": watch("0:05")}, False),
        ({"balance": watch("0:04")}, True),
    ],
)
def test_clock_times_in_a_bath_by_stopwatch(times: dict[str, float], wanted: bool) -> None:
    assert ("clock-on-stopwatch" in codes(timed(watch("18:00"), **times), "fish")) is wanted


def test_clock_times_of_a_bath_by_the_clock_are_left_alone() -> None:
    data = clean()
    data["fish"][0] |= {"out": clock("10:06"), "recovered": clock("10:06:04")}
    assert not codes(data, "fish") & {"clock-on-stopwatch", "after-bath"}
