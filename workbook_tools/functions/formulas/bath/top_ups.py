"""Top-ups: what a further step takes, and the packets of a whole ladder of steps."""

from __future__ import annotations

import math

from workbook_tools.functions.quantities import (
    ConcentrationNow,
    Fraction,
    GramsOrNone,
    Litres,
    MilligramsPerLitre,
    Number,
    Ratio,
    StepTable,
    checked,
    requires,
)


@checked
@requires("target >= now", "the target is below the present dose; lighten with BATH.REPLACE instead")
def top_up(volume: Litres, now: ConcentrationNow, target: MilligramsPerLitre, active: Fraction = 1) -> GramsOrNone:
    """Further product that raises a bath from its present dose to a higher one.

    Parameters
    ----------
    volume : water in the vessel. [L]
    now : concentration in the bath. [mg/L]
    target : wanted concentration; not below the present one. [mg/L]
    active : share of the product that is active. [1]

    Returns
    -------
    Product to add. [g]

    Raises
    ------
    ArgumentError : a value out of range, or the target below the present dose.

    Notes
    -----
    volume * (target - now) / 1000 / active. Nothing lost since the bath was made.

    Examples
    --------
    >>> top_up(40, 80, 100)
    0.8

    References
    ----------
    Definition of concentration. A further 20 mg/L at a time: common practice, no source.
    """
    return volume * (target - now) / 1000 / active


@checked
@requires("limit >= start", "the limit is below the start dose")
@requires("(limit - start) / step <= 100", "there would be more than 100 top-ups")
def step_count(start: MilligramsPerLitre, step: MilligramsPerLitre, limit: MilligramsPerLitre) -> Number:
    """How many rows `steps` has: the start bath and every top-up until the limit.

    Parameters
    ----------
    start : dose of the first bath. [mg/L]
    step : rise with each top-up. [mg/L]
    limit : dose not to be passed. [mg/L]

    Returns
    -------
    Rows, the start bath counted. [1]

    Raises
    ------
    ArgumentError : a value out of range, a limit below the start, or more than 100 top-ups.

    Notes
    -----
    1 + ceil((limit - start) / step); a last step of less than a billionth of one is not counted.

    Examples
    --------
    >>> step_count(80, 20, 120)
    3.0

    References
    ----------
    Counting.
    """
    return 1 + math.ceil((limit - start) / step - 1e-9)


@checked
@requires("limit >= start", "the limit is below the start dose")
@requires("(limit - start) / step <= 100", "there would be more than 100 top-ups")
def step_dose(
    start: MilligramsPerLitre, step: MilligramsPerLitre, limit: MilligramsPerLitre, number: Number
) -> MilligramsPerLitre:
    """Dose of one row of `steps`; rows past the last one stay at the limit.

    Parameters
    ----------
    start : dose of the first bath. [mg/L]
    step : rise with each top-up. [mg/L]
    limit : dose not to be passed. [mg/L]
    number : row, 1 for the start bath. [1]

    Returns
    -------
    Dose in the bath after that step. [mg/L]

    Raises
    ------
    ArgumentError : a value out of range, a limit below the start, or more than 100 top-ups.

    Notes
    -----
    start + (number - 1) * step, and the limit exactly from the last row on.

    Examples
    --------
    >>> step_dose(80, 20, 120, 2)
    100.0

    References
    ----------
    Counting.
    """
    last = 1 + math.ceil((limit - start) / step - 1e-9)
    return limit if number >= last else start + (number - 1) * step


@checked
@requires("limit >= start", "the limit is below the start dose")
@requires("(limit - start) / step <= 100", "there would be more than 100 top-ups")
def steps(
    volume: Litres,
    start: MilligramsPerLitre,
    step: MilligramsPerLitre,
    limit: MilligramsPerLitre,
    active: Fraction = 1,
    ratio: Ratio = 2,
) -> StepTable:
    """Packets to weigh before the bath: the start and each top-up, the last one landing on the limit exactly.

    Parameters
    ----------
    volume : water in the vessel. [L]
    start : dose of the first bath. [mg/L]
    step : rise with each top-up. [mg/L]
    limit : dose not to be passed; not below the start. [mg/L]
    active : share of the product that is active. [1]
    ratio : grams of sodium bicarbonate for a gram of drug. [g/g]

    Returns
    -------
    A row for the start (step 1) and one for each top-up: step, dose after it [mg/L], drug in the packet [g], buffer
    in the packet [g], drug in the bath so far [g].

    Raises
    ------
    ArgumentError : a value out of range, a limit below the start, or more than 100 top-ups.

    Notes
    -----
    Rows of `step_dose`; each packet is the `mass` of the rise, each buffer the `buffer` of the packet.

    Examples
    --------
    >>> for row in steps(40, 80, 20, 120):
    ...     print(*(f"{value:g}" for value in row))
    1 80 3.2 6.4 3.2
    2 100 0.8 1.6 4
    3 120 0.8 1.6 4.8

    References
    ----------
    Start near 80 mg/L, a further 20 mg/L weighed and waiting, some species at 120: common practice, no source.
    """
    rows = []
    before = 0.0
    for number in range(1, int(step_count(start, step, limit)) + 1):
        after = step_dose(start, step, limit, number)
        drug = volume * (after - before) / 1000 / active
        rows.append([float(number), after, drug, drug * ratio, volume * after / 1000 / active])
        before = after
    return rows
