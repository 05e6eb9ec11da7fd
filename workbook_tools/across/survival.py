"""Kaplan-Meier curves of the time to the working stage, by lifelines.

lifelines comes with an extra and is loaded only when a curve is asked for; without it every function here raises
MissingLibraryError with the install step.
"""

from __future__ import annotations

import importlib.util
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from workbook_tools.errors import MissingLibraryError
from workbook_tools.functions.formulas import sample

LIBRARY = "lifelines"
EXTRA = "insight"
WORKING_TARGET = 180  # the working stage should be reached by then: common practice, no source [s]
CONFIDENCE = 0.95


@dataclass(frozen=True)
class Curve:
    """A curve and what is read off it. An end of an interval that the record leaves open is None.

    `times` and `left` are the steps, from (0, 1) on: share of the fish not yet at the stage. `ticks` are times at which
    fish went out of sight (topped up, or out of the bath). `median` is None where half of the fish never got there.
    `share` is the share at the stage within 180 s, None where the fish were not followed so long; `at_least` is what
    of it is sure then.
    """

    times: tuple[float, ...]
    left: tuple[float, ...]
    ticks: tuple[float, ...]
    median: float | None
    median_low: float | None
    median_high: float | None
    share: float | None
    share_low: float | None
    share_high: float | None
    at_least: float

    def left_at(self, second: float) -> float:
        """Share of the fish not yet at the stage at a time."""
        return next(left for time, left in zip(self.times[::-1], self.left[::-1], strict=True) if time <= second)


def installed() -> bool:
    """Whether the library is there."""
    return importlib.util.find_spec(LIBRARY) is not None


def curve(seconds: Sequence[float], reached: Sequence[bool]) -> Curve:
    """The curve of some fish.

    Parameters
    ----------
    seconds : time to the stage, or how long the fish was seen not to reach it; above 0. [s]
    reached : whether the stage was reached at that time.

    Returns
    -------
    The curve with its median and the share within 180 s, both with 95 % intervals.

    Raises
    ------
    MissingLibraryError : lifelines is not installed.

    Notes
    -----
    Product-limit estimate. Band: Greenwood's variance on the log(-log) scale, lifelines' own. The interval of the
    median holds the times at which the band is across one half. Where no fish is left Greenwood's variance is not
    defined; that last step of the band is not used, so that the upper end of the median may be open. Where none or all
    have reached the stage by 180 s the variance is 0, and Wilson's interval of the fish whose answer at 180 s is known
    stands instead. Fish of one bath are taken for independent; they are not quite, and the true intervals are wider.

    References
    ----------
    Kaplan & Meier 1958; Brookmeyer & Crowley 1982 for the interval of a median (both from memory); lifelines.
    """
    fitted = _fitted(seconds, reached)
    steps = fitted.survival_function_.iloc[:, 0]
    band = fitted.confidence_interval_survival_function_
    sure = band[steps > 0]  # at 0 the library writes 0 for what is not defined
    low, high = (_half(sure.iloc[:, side]) for side in (0, 1))
    share, share_low, share_high, at_least = _share(seconds, reached, fitted)
    return Curve(
        times=tuple(map(float, steps.index)),
        left=tuple(map(float, steps)),
        ticks=tuple(sorted(float(s) for s, there in zip(seconds, reached, strict=True) if not there)),
        median=_finite(fitted.median_survival_time_),
        median_low=low,
        median_high=high,
        share=share,
        share_low=share_low,
        share_high=share_high,
        at_least=at_least,
    )


def share_within(seconds: Sequence[float], reached: Sequence[bool], within: float = WORKING_TARGET) -> float:
    """Share at the stage within a time [1]; where the fish were not followed so long, the share that is sure."""
    return 1 - float(_fitted(seconds, reached).survival_function_at_times(within).iloc[0])


def _share(
    seconds: Sequence[float], reached: Sequence[bool], fitted: Any
) -> tuple[float | None, float | None, float | None, float]:
    """Share within 180 s, the ends of its interval, and the share that is sure."""
    left = float(fitted.survival_function_at_times(WORKING_TARGET).iloc[0])
    if left > 0 and max(seconds) < WORKING_TARGET:
        return None, None, None, 1 - left
    if 0 < left < 1:
        low, high = fitted.confidence_interval_survival_function_.loc[:WORKING_TARGET].iloc[-1]
        return 1 - left, 1 - float(high), 1 - float(low), 1 - left
    pairs = list(zip(seconds, reached, strict=True))
    there = sum(there and second <= WORKING_TARGET for second, there in pairs)
    known = there + sum(second > WORKING_TARGET or (second == WORKING_TARGET and not there) for second, there in pairs)
    return 1 - left, sample.low(there, known), sample.high(there, known), 1 - left


def _fitted(seconds: Sequence[float], reached: Sequence[bool]) -> Any:
    try:
        from lifelines import KaplanMeierFitter
    except ImportError as error:
        raise MissingLibraryError(LIBRARY, EXTRA, "The time to the working stage") from error
    return KaplanMeierFitter(alpha=1 - CONFIDENCE).fit(list(seconds), list(reached))


def _half(bound: Any) -> float | None:
    """First time at which a bound of the band is at one half or below."""
    crossed = bound[bound <= 0.5]
    return None if crossed.empty else float(crossed.index[0])


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
