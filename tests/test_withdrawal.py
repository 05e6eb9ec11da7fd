"""A wait never ends early: release dates by degree days against a count day by day, and against rows worked by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from random import Random
from typing import Any

import pytest

from tests.support.office import Office
from tests.test_check import Data, clean, day
from tests.test_log_agrees import check_log as check_agrees
from workbook_tools.functions.quantities import Quantity
from workbook_tools.layout import case_log
from workbook_tools.layout.compute import Computed
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.checking.log_check import check_log
from workbook_tools.producer.release import as_of

LOG = case_log()
FIRST = day(2026, 2, 1)  # the last day of every treatment here
Readings = Sequence[tuple[float, Any]]


def treated(stock: str, wait: float, **values: Any) -> dict[str, Any]:
    """A treatment that ends on FIRST and waits for degree days."""
    given = {"treatment": f"R{stock}", "stock": stock, "first": FIRST, "last": FIRST, "days": 1}
    rule = {"rule": "degree days", "wait": wait, "rule_source": "prescription"}
    return {**clean()["treatments"][0], **given, **rule, "mean": None, **values}


def log_of(records: Mapping[str, tuple[Readings, dict[str, Any]]]) -> Data:
    """A log with a group, its readings and its treatment for each record."""
    data = clean()
    model = {**data["stocks"][0], "harvested": None}
    data["stocks"] = [{**model, "stock": stock} for stock in records]
    data["losses"], data["treatments"], data["follow_ups"] = [], [], []
    data["samples"] = []
    for stock, (readings, values) in records.items():
        data["treatments"].append(treated(stock, **values))
        for date, temperature in readings:
            name = f"D{len(data['losses']):05d}"
            data["losses"].append({"day": name, "date": date, "stock": stock, "temperature": temperature})
    return data


def released(readings: Readings, **values: Any) -> dict[str, Any]:
    """The computed treatment row of one record."""
    return Computed(LOG, log_of({"K01": (readings, values)})).data["treatments"][0]


# ------------------------------------------------------------------------------------------- rows worked by hand


def test_weekly_readings_add_nothing_between_them() -> None:
    """500 degree days from 1 February, read every 7th day, 5 C on the 8th and 1 C warmer each week up to 20 C.

    16 readings add 5 + 6 + ... + 20 = 200: no date.
    """
    weekly = [(FIRST + 7 * week, 4.0 + week) for week in range(1, 17)]
    row = released(weekly, wait=500)
    assert (row["so_far"], row["missing"], row["release"]) == (200, 300, None)
    assert row["basis"] == "no date is known: do not sell or eat"
    assert row["check"].startswith("No date is known: do not sell or eat.") or "No date is known" in row["check"]


def test_weekly_readings_by_the_lower_neighbour() -> None:
    """The same readings. The first adds 5, the gap before it straddles the last day. The n-th adds itself and six times
    the one before: (4 + n) + 6 (3 + n) = 22 + 7 n.

    Readings  2   3   4   5   6   7   8   9  10
    add      36  43  50  57  64  71  78  85  92
    to date  41  84 134 191 255 326 404 489 581, so 500 lies in the gap that the tenth reading closes, on 12 April (1
    February + 70 days): from 13 April. Counted day by day it would be 6 April (489 + 13), from 7 April: not earlier.
    """
    weekly = [(FIRST + 7 * week, 4.0 + week) for week in range(1, 17)]
    row = released(weekly, wait=500, gaps="lower neighbour")
    assert row["release"] == day(2026, 4, 13)
    assert row["basis"] == "daily readings, gaps by the lower neighbour"
    assert released(weekly[:9], wait=489, gaps="lower neighbour")["release"] == day(2026, 4, 6)  # exact, on 5 April
    assert released(weekly[:9], wait=489.1, gaps="lower neighbour")["release"] is None


def test_a_day_counts_when_it_is_over() -> None:
    """One day of 0.1 C and 30 of 13 C make 390.1 of 400: not there. The 32nd day makes 403.1, so from the 33rd."""
    daily = [(FIRST + 1, 0.1), *((FIRST + number, 13.0) for number in range(2, 32))]
    assert released(daily, wait=400)["release"] is None
    row = released([*daily, (FIRST + 32, 13.0)], wait=400)
    assert (row["hold_days"], row["release"], row["basis"]) == (33, FIRST + 33, "daily readings")
    assert row["check"] == "ok"


@pytest.mark.parametrize(("first", "held"), [(10.0, 41), (9.9, 42), (10.1, 41)])
def test_both_sides_of_the_sum(first: float, held: float) -> None:
    """40 days of 10 C are 400 at the end of the 40th: from the 41st. 0.1 below, and it takes the 41st day too."""
    daily = [(FIRST + 1, first), *((FIRST + number, 10.0) for number in range(2, 60))]
    assert released(daily, wait=400)["hold_days"] == held


def test_tenths_that_binary_numbers_cannot_hold() -> None:
    """100 days of 0.1 C are 10 degree days, not 9.99999: from the 101st day."""
    assert released([(FIRST + n, 0.1) for n in range(1, 130)], wait=10)["hold_days"] == 101


def test_without_readings() -> None:
    assert released([], wait=500)["release"] is None
    # 500 / 8 = 62.5: reached at the end of the 63rd day, so from the 64th
    row = released([], wait=500, mean=8.0)
    assert (row["hold_days"], row["basis"]) == (64, "estimate: the mean typed")


def test_the_mean_is_never_taken_from_the_readings() -> None:
    """10 days of 10 C and 400 at 8 C ahead: 50 days more, from the 61st; no mean, no date."""
    daily = [(FIRST + number, 10.0) for number in range(1, 11)]
    assert released(daily, wait=500)["release"] is None
    row = released(daily, wait=500, mean=8.0)
    assert (row["hold_days"], row["basis"]) == (61, "estimate: readings, then the mean typed")


def test_readings_long_after_the_last_day() -> None:
    """From day 91 on, 10 C a day: 500 are reached at the end of day 140."""
    row = released([(FIRST + number, 10.0) for number in range(91, 200)], wait=500)
    assert (row["hold_days"], row["unread"]) == (141, 90)
    assert "some days have no temperature" in row["check"]


def test_refused_temperatures_add_nothing() -> None:
    """10 C a day would reach 100 on day 10; 54 typed on four of the days is refused: four days more."""
    daily = [(FIRST + number, 54.0 if number in (3, 4, 5, 6) else 10.0) for number in range(1, 30)]
    assert released(daily, wait=100)["hold_days"] == 15
    data = log_of({"K01": (daily, {"wait": 100})})
    codes = [rule.code for table, _, rule in Computed(LOG, data).findings if table.key == "losses"]
    assert codes == ["out-of-range"] * 4


def test_the_limits_of_a_reading_are_those_of_its_column() -> None:
    quantity = LOG.tables["losses"].by_key["temperature"].quantity
    assert isinstance(quantity, Quantity)
    for temperature, read in (
        (quantity.low, 1),
        (quantity.low - 0.1, 0),
        (quantity.high, 1),
        (quantity.high + 0.1, 0),
    ):
        assert released([(FIRST + 1, temperature)], wait=100)["read"] == read


def test_two_readings_of_a_day_count_once_the_lower() -> None:
    twice = [(FIRST + 1, 12.0), (FIRST + 1, 8.0), (FIRST + 1, 8.0), (FIRST + 2, 5.0)]
    row = released(twice, wait=13)
    assert (row["so_far"], row["hold_days"]) == (13, 3)
    assert released(twice, wait=13.1)["release"] is None


def test_days_that_end_elsewhere_than_the_last_day(tmp_path: Path) -> None:
    data = clean()
    data["treatments"] = [treated("K01", 10, rule="days", first=day(2026, 5, 1), last=day(2026, 5, 1), days=10)]
    row = Computed(LOG, data).data["treatments"][0]
    assert (row["ends"], row["release"]) == (day(2026, 5, 10), None)
    path = tmp_path / "log.xlsx"
    path.write_bytes(build_log(LOG, data, rows=4))
    said = {f.code: (f.severity, f.reason) for f in check_log(path, LOG).findings}
    assert said["days-last-day"] == ("fault", "10 days from 2026-05-01 end on 2026-05-10, not on 2026-05-01.")
    data["treatments"][0]["last"] = day(2026, 5, 10)
    assert Computed(LOG, data).data["treatments"][0]["release"] == day(2026, 5, 20)
    data["treatments"][0]["last"] = day(2026, 5, 11)  # as on alternate days: a notice, and the later day counts
    later = Computed(LOG, data)
    assert later.data["treatments"][0]["release"] == day(2026, 5, 21)
    assert {rule.code for _, _, rule in later.findings} & {"days-last-day", "days-spread"} == {"days-spread"}


def test_days_that_have_not_come_yet(tmp_path: Path) -> None:
    """10 C for 30 days; on the 20th day of the record 20 have come: 200 of 250."""
    daily = [(FIRST + number, 10.0) for number in range(1, 31)]
    computed = Computed(LOG, log_of({"K01": (daily, {"wait": 250})}))
    assert computed.data["treatments"][0]["hold_days"] == 26  # a cell cannot know today
    row = as_of(computed, FIRST + 20).data["treatments"][0]
    assert (row["so_far"], row["release"]) == (200, None)
    assert as_of(computed, FIRST + 25).data["treatments"][0]["hold_days"] == 26
    assert as_of(computed, FIRST + 30) is computed
    import datetime

    path = tmp_path / "log.xlsx"
    path.write_bytes(build_log(LOG, log_of({"K01": (daily, {"wait": 250})}), rows=4))
    today = datetime.date(2026, 2, 21)
    ahead = [f.row for f in check_log(path, LOG, today).findings if f.code == "future-day"]
    assert ahead == [*range(26, 36)]  # 1 February + 21 is the reading of row 26
    assert "future-day" not in {f.code for f in check_log(path, LOG, datetime.date(2026, 3, 3)).findings}


# -------------------------------------------------------------------------------------------------- day by day


def day_by_day(
    rows: Readings, wait: Fraction, low: bool, mean: Fraction | None, today: float
) -> tuple[float | None, float | None]:
    """First day of release by walking the days one by one, and where only the reading that closes a gap may count.

    Shares nothing with the product: a dict by date, exact fractions.
    """
    read: dict[int, Fraction] = {}
    for date, temperature in rows:
        if isinstance(temperature, int | float) and -10 <= temperature <= 40 and date <= today:
            exact = max(Fraction(str(temperature)), Fraction(0))
            read[int(date)] = min(exact, read.get(int(date), exact))
    counting = sorted(date for date in read if date > FIRST)
    final = counting[-1] if counting else int(FIRST)
    total, date = Fraction(0), int(FIRST)
    while date < final:
        date += 1
        if date in read:
            total += read[date]
        elif low:
            before = max((d for d in counting if d < date), default=None)
            after = min(d for d in counting if d > date)
            if before is not None and after - before <= 7:
                total += min(read[before], read[after])
        if total >= wait:
            closes = min(d for d in counting if d >= date)
            return date + 1, closes + 1
    final = max([int(FIRST), *(d for d in read if d > FIRST)])
    if mean is None:
        return None, None
    while total < wait:
        final += 1
        total += mean
    return final + 1, final + 1


def record(random: Random) -> tuple[list[tuple[float, Any]], dict[str, Any]]:
    """A record as people keep them: daily, weekly or patchy, with slips."""
    every = random.choice((1, 1, 2, 7, 8, 0))
    warm = random.randint(-20, 180)
    rows: list[tuple[float, Any]] = []
    for number in range(-12, random.randint(0, 70)):
        if (every and number % every) or (not every and random.random() < 0.6):
            continue
        tenths = warm + random.randint(-30, 30)
        temperature: Any = tenths / 10
        if random.random() < 0.03:
            temperature = random.choice((54.0, 99.0, -30.0, 40.1, "12,5", None))
        rows.append((FIRST + number, temperature))
        if random.random() < 0.03:
            rows.append((FIRST + number, (tenths + random.randint(-20, 20)) / 10))
    random.shuffle(rows)
    values = {
        "wait": random.randint(1, 4000) / 10,
        "gaps": random.choice((None, "add nothing", "lower neighbour", "lower neighbour")),
        "mean": random.choice((None, None, random.randint(5, 200) / 10)),
    }
    return rows, values


GROUPS = 50


@pytest.mark.parametrize("seed", range(40))
def test_never_earlier_than_day_by_day(seed: int) -> None:
    """2,000 records: the date is that of the days, or that of the reading that closes the gap in which it lies."""
    random = Random(seed)
    records = {f"K{number:02d}": record(random) for number in range(GROUPS)}
    data = log_of(records)
    random.shuffle(data["losses"])
    today = FIRST + random.randint(10, 80)
    computed = as_of(Computed(LOG, data), today)
    kinds = set()
    for row, (readings, values) in zip(computed.data["treatments"], records.values(), strict=True):
        low = values["gaps"] == "lower neighbour"
        mean = None if values["mean"] is None else Fraction(str(values["mean"]))
        walked, closing = day_by_day(readings, Fraction(str(values["wait"])), low, mean, today)
        assert row["release"] == closing, (readings, values)
        assert (walked is None) == (row["release"] is None)
        assert walked is None or row["release"] >= walked
        kinds.add("none" if walked is None else "read" if row["missing"] <= 0 else "estimate")
    assert kinds == {"none", "read", "estimate"}


@pytest.mark.parametrize("seed", [0, 1])
def test_cells_count_the_same(seed: int, tmp_path: Path, office: Office) -> None:
    """The stored results, formualizer's and LibreOffice's, for records of every kind."""
    random = Random(seed)
    records = {f"K{number:02d}": record(random) for number in range(25)}
    data = log_of(records)
    random.shuffle(data["losses"])
    results = check_agrees(data, tmp_path, office)
    place = LOG.tables["treatments"].letters["release"]
    shown = [results["Treatments", f"{place}{row}"] for row in range(6, 31)]
    assert any(value == "" for value in shown)
    assert any(isinstance(value, float) for value in shown)
