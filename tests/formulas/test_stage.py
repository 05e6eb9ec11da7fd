"""Stages of anaesthesia: the reference table, times across midnight, and every argument at and past its edges."""

from __future__ import annotations

import csv
import datetime
import itertools
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.formulas.test_vessel import Edge, check_limit, check_pair, check_refused, edges, limits, pairs
from workbook_tools.errors import ArgumentError
from workbook_tools.functions.catalogue import call
from workbook_tools.functions.formulas import stage
from workbook_tools.functions.quantities.boundary import serial

TABLE = Path(__file__).parents[2] / "templates" / "reference" / "stages.csv"
DAY = 86_400


def reference() -> list[dict[str, str]]:
    """The stage table with its sources: Summerfelt & Smith 1990, as each row says."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", reference(), ids=lambda row: row["name"])
def test_stage_of_the_reference_table(row: dict[str, str]) -> None:
    assert row["source"]
    answer = stage.level(row["equilibrium"], row["response"], row["ventilation"])
    assert answer == float(row["stage"]), f"{row['source']} ({row['how_known']})"


def test_the_table_has_every_stage_once() -> None:
    assert [row["stage"] for row in reference()] == [str(number) for number in range(7)]
    assert {row["scheme"] for row in reference()} == {"0 to 6"}


def test_the_gravest_sign_decides() -> None:
    """Each sign alone with the two others normal, and all together: the highest of the three."""
    kinds = [parameter.kind.words for parameter in stage.level.checked.parameters]  # type: ignore[attr-defined]
    alone = [
        {word: stage.level(*("kept", "normal", "normal")[:place], word, *("kept", "normal", "normal")[place + 1 :])
         for word in words}
        for place, words in enumerate(kinds)
    ]  # fmt: skip
    assert [sorted(levels.values()) for levels in alone] == [[0, 3, 4], [0, 1, 2, 4], [0, 2, 3, 4, 5, 6]]
    for words in itertools.product(*kinds):
        assert stage.level(*words) == max(levels[word] for levels, word in zip(alone, words, strict=True))
        assert stage.level(*(word.upper() for word in words)) == stage.level(*words)


@pytest.mark.parametrize("edge", edges("stage"), ids=str)
def test_refused(edge: Edge) -> None:
    check_refused(edge)


@pytest.mark.parametrize("edge", limits("stage"), ids=str)
def test_limits_are_taken(edge: Edge) -> None:
    check_limit(edge)


@pytest.mark.parametrize("pair", pairs("stage"), ids=lambda pair: f"{pair[0]}-{pair[1]}")
def test_two_bad_arguments_are_both_named(pair: tuple[Edge, Edge]) -> None:
    check_pair(*pair)


@given(st.integers(0, 10_000), st.floats(0.5, 1e5))
def test_rate_is_a_count_over_a_time(count: int, seconds: float) -> None:
    assert stage.rate(count, seconds) * seconds / 60 == pytest.approx(count, rel=1e-12)


@given(st.integers(0, DAY - 1), st.integers(0, DAY - 1))
def test_times_of_day(start: int, end: int) -> None:
    """Whole seconds, by integer arithmetic; a time of day that runs backwards has passed midnight once."""
    assert stage.seconds(start / DAY, end / DAY) == (end - start) % DAY


moments = st.datetimes(datetime.datetime(2000, 1, 1), datetime.datetime(2099, 12, 31))


@given(moments, st.integers(0, 10 * DAY))
def test_dated_times(start: datetime.datetime, seconds: int) -> None:
    """By the standard library's own calendar, to the millisecond that a day number carries."""
    start = start.replace(microsecond=0)
    end = start + datetime.timedelta(seconds=seconds)
    assert stage.seconds(serial(start), serial(end)) == pytest.approx(seconds, abs=2e-3)


def test_times_by_hand() -> None:
    assert call("STAGE.SECONDS", "14:05", "14:08:20") == 200
    assert call("STAGE.SECONDS", "23:58:30", "00:01:10") == 160
    assert call("STAGE.SECONDS", "2026-03-02 23:58:30", "2026-03-03 00:01:10") == pytest.approx(160, abs=2e-3)
    assert call("STAGE.SECONDS", "14:05", "14:05") == 0


@pytest.mark.parametrize(
    ("start", "end", "sentence"),
    [
        (0.5, 46_000.5, "one of the two has a date and the other has none"),
        (46_000.5, 0.5, "one of the two has a date and the other has none"),
        (46_000.5, 46_000.4, "the end is before the start"),
    ],
)
def test_times_that_contradict_each_other(start: float, end: float, sentence: str) -> None:
    with pytest.raises(ArgumentError) as caught:
        stage.seconds(start, end)
    assert f"start and end = ({start}, {end}): {sentence}" in str(caught.value)
    assert caught.value.kind == "range"
