"""Holding treated fish until they may be released: by days or by degree days.

No rule of any country is assumed here. Tricaine alone is 21 days in one and 70 degree days in another: the person who
fills in the sheet names the rule.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbook_tools.functions.quantities import (
    DailyTemperatures,
    Date,
    DegreeDays,
    DegreeDaysOrNone,
    HoldDays,
    MeanTemperature,
    checked,
    requires,
)


@checked
def date(last_day: Date, days: HoldDays) -> Date:
    """First day that treated fish may be released.

    Parameters
    ----------
    last_day : day of the last treatment, as a date. [d]
    days : days to hold, by the rule in force. [days]

    Returns
    -------
    Date of release, as the day number a spreadsheet shows as a date. [d]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range, a date with a time of day, or days that are not whole.

    Notes
    -----
    last_day + days: the day of the last treatment is day 0, and after 21 days the fish may go on day 21, not before
    the hour of that last treatment. Where a rule asks for full days free of treatment, give one day more.

    Examples
    --------
    >>> date(46082, 21)
    46103.0

    References
    ----------
    Counting of days; day numbers as in ECMA-376 Part 1, 18.17.4.
    """
    return last_day + days


@checked
@requires(
    "degree_days / mean_temperature <= 3650",
    "in water so cold it would take more than ten years; hold by days instead, or ask for another rule",
)
def degree_days(degree_days: DegreeDays, mean_temperature: MeanTemperature) -> HoldDays:
    """Whole days that make up a number of degree days at a mean temperature.

    Parameters
    ----------
    degree_days : to reach, by the rule in force. [degree days]
    mean_temperature : of the water over the time; above 0. [C]

    Returns
    -------
    Days, rounded up. [days]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range, or water so cold that it would take over ten years.

    Notes
    -----
    degree_days / mean_temperature, rounded up; a part of less than a billionth of a day is not counted. The sum is
    reached at the end of the last of these days: the fish may go on the day after. A forecast: add up the days as they
    were with HOLD.SUM before release.

    Examples
    --------
    >>> degree_days(500, 8)
    63.0

    References
    ----------
    Definition of degree days. An example of a rule: at least 500 for fish meat, UK SI 2006/2407 Schedule 4 paragraph
    2(3)(d), replaced since (SI 2013/2033, amended by SI 2024/567); read the law in force.
    """
    return math.ceil(degree_days / mean_temperature - 1e-9)


@checked
def sum(temperatures: DailyTemperatures) -> DegreeDaysOrNone:
    """Degree days reached, from the mean temperature of each day.

    Parameters
    ----------
    temperatures : one a day, without gaps. [C]

    Returns
    -------
    Degree days. [degree days]

    Raises
    ------
    ArgumentError : a temperature blank, not a number or out of range, named by its place in the range.

    Notes
    -----
    Sum of the temperatures above 0; a day below 0 counts 0. A missing day is an error, since guessing it high would
    release fish too early.

    Examples
    --------
    >>> sum([8, 9.5, -0.5, 10])
    27.5

    References
    ----------
    Definition of degree days.
    """
    return sum_above_zero(temperatures)


def sum_above_zero(values: Sequence[float]) -> float:
    """Sum of the values above 0, as SUMIF with ">0" adds them."""
    return math.fsum(value for value in values if value > 0)
