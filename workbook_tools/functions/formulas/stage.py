"""Stages of anaesthesia: level from the signs, opercular rate, seconds between two times.

Stage numbers are not standard; the ones here are 0 to 6 after the table of Summerfelt & Smith 1990 (after McFarland
1959), as reprinted by Keene 1998, and the reference sheet of each workbook names that scheme.
"""

from __future__ import annotations

from workbook_tools.functions.formulas.rounding import nearest
from workbook_tools.functions.quantities import (
    Count,
    DateTimeSerial,
    Equilibrium,
    PerMinute,
    Response,
    Seconds,
    SecondsOrNone,
    StageLevel,
    StopwatchReading,
    Ventilation,
    checked,
    requires,
)


@checked
def level(equilibrium: Equilibrium, response: Response, ventilation: Ventilation) -> StageLevel:
    """Stage of anaesthesia from three signs; the gravest sign decides.

    Parameters
    ----------
    equilibrium : kept, partly lost, lost. [word]
    response : to touch and pressure: normal, slightly reduced, strong pressure only, none. [word]
    ventilation : normal, slightly slow, fast, slow and regular, slow and irregular, stopped. [word]

    Returns
    -------
    0 normal, 1 light sedation, 2 deep sedation, 3 partial loss of equilibrium, 4 total loss of equilibrium, 5 loss of
    reflex reactivity, 6 medullary collapse. [0 to 6]

    Raises
    ------
    ArgumentError : a word blank or not on its list.

    Notes
    -----
    Each word stands for the lowest stage that shows it; the answer is the highest of the three. From 5 on take the
    fish out and run clean water over the gills.

    Examples
    --------
    >>> level("lost", "none", "slow and regular")
    4.0

    References
    ----------
    Summerfelt & Smith 1990, Anesthesia, surgery and related techniques, Methods for Fish Biology; Keene 1998. The
    stage table was seen as quoted; that the gravest sign decides is common practice, no source.
    """
    balance = 4 if equilibrium == "lost" else 3 if equilibrium == "partly lost" else 0
    reaction = (
        4
        if response == "none"
        else 2
        if response == "strong pressure only"
        else 1
        if response == "slightly reduced"
        else 0
    )
    breathing = (
        6
        if ventilation == "stopped"
        else 5
        if ventilation == "slow and irregular"
        else 4
        if ventilation == "slow and regular"
        else 3
        if ventilation == "fast"
        else 2
        if ventilation == "slightly slow"
        else 0
    )
    return max(balance, reaction, breathing)


@checked
def rate(count: Count, seconds: Seconds) -> PerMinute:
    """Opercular rate from a count over a time.

    Parameters
    ----------
    count : opercular movements seen; 0 when breathing has stopped. [1]
    seconds : time counted over. [s]

    Returns
    -------
    Opercular rate. [/min]

    Raises
    ------
    ArgumentError : a value blank, not a number, negative, or a time of zero.

    Notes
    -----
    60 * count / seconds.

    Examples
    --------
    >>> rate(14, 15)
    56.0

    References
    ----------
    Definition of a rate.
    """
    return count * 60 / seconds


@checked
@requires("(start < 1 and end < 1) or (start >= 1 and end >= 1)", "one of the two has a date and the other has none")
@requires("start < 1 or end >= start", "the end is before the start")
def seconds(start: DateTimeSerial, end: DateTimeSerial) -> SecondsOrNone:
    """Seconds between two times of day, across midnight if need be, or between two date-times.

    Parameters
    ----------
    start : time of day, or date and time, as a spreadsheet stores it. [d]
    end : the same kind, later. [d]

    Returns
    -------
    Time between them. [s]

    Raises
    ------
    ArgumentError : a value out of range, one with a date and one without, or dated ones in the wrong order.

    Notes
    -----
    86400 * (end - start), a day added when two times of day run backwards: then under 24 h are assumed. Rounded to
    the millisecond, since a date-time in days carries no more.

    Examples
    --------
    >>> seconds(0.5, 0.5 + 200 / 86400), seconds(0.999, 0.001)
    (200.0, 172.8)

    References
    ----------
    86,400 s in a day; day numbers as in ECMA-376 Part 1, 18.17.4.
    """
    past_midnight = 1 if start < 1 and end < start else 0
    return nearest((end - start + past_midnight) * 86400, 3)


@checked
@requires(
    "-0.001 < nearest(reading * 1440, 0) - reading * 1440 < 0.001",
    "the reading has seconds beyond m:ss: type 3:20, not 0:03:20",
    nearest,
)
def elapsed(reading: StopwatchReading) -> SecondsOrNone:
    """Seconds on a stopwatch whose reading was typed as m:ss into a spreadsheet.

    Parameters
    ----------
    reading : minutes and seconds typed with one colon, which a spreadsheet stores as hours and minutes. [d]

    Returns
    -------
    Time since the stopwatch was started. [s]

    Raises
    ------
    ArgumentError : a value out of range, or one with a third part, such as 0:03:20.

    Notes
    -----
    1440 * reading: a spreadsheet takes 3:20 for three hours and twenty minutes, and 1440 minutes are a day. A reading
    with hours cannot be told from minutes and is refused where its seconds show.

    Examples
    --------
    >>> elapsed((3 + 20 / 60) / 24)
    200.0

    References
    ----------
    Day fractions as in ECMA-376 Part 1, 18.17.4.
    """
    return nearest(reading * 1440, 0)
