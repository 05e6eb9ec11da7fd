"""Bath arithmetic: what to weigh, what to add, how to lighten, how fast a bath flushes out."""

from __future__ import annotations

import math

from workbook_tools.quantities import (
    ConcentrationNow,
    Flow,
    Fraction,
    Grams,
    GramsOrNone,
    GramsPerLitre,
    GramsPerLitreOrNone,
    Litres,
    LitresOrNone,
    MicrolitresPerLitre,
    MilligramsPerLitre,
    MilligramsPerMillilitre,
    Millilitres,
    Minutes,
    MinutesOrNone,
    Number,
    Ratio,
    StepTable,
    checked,
    requires,
)


@checked
def mass(volume: Litres, dose: MilligramsPerLitre, active: Fraction = 1) -> Grams:
    """Mass of product that brings a volume of water to a dose.

    Parameters
    ----------
    volume : water in the vessel, fish displacement taken off. [L]
    dose : wanted concentration of the active substance. [mg/L]
    active : share of the product that is active. [1]

    Returns
    -------
    Product to weigh. [g]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    volume * dose / 1000 / active. Full mixing, none present before. The label in force decides the dose.

    Examples
    --------
    >>> mass(40, 80)
    3.2

    References
    ----------
    Definition of concentration; factors as in SRAC 410, Calculating Treatments for Ponds and Tanks.
    """
    return volume * dose / 1000 / active


@checked
@requires("dose < stock * 1000", "the stock is no stronger than the dose")
def stock(volume: Litres, dose: MilligramsPerLitre, stock: GramsPerLitre) -> Millilitres:
    """Stock solution to add to a volume of water, the added stock diluting too.

    Parameters
    ----------
    volume : water before the stock is added. [L]
    dose : wanted concentration after it is added. [mg/L]
    stock : concentration of the stock solution; stronger than the dose. [g/L]

    Returns
    -------
    Stock to add. [mL]

    Raises
    ------
    ArgumentError : a value out of range, or a stock no stronger than the dose.

    Notes
    -----
    1000 * dose * volume / (1000 * stock - dose): exact, where dose * volume / stock alone leaves the bath too weak.

    Examples
    --------
    >>> f"{stock(10, 80, 10):.2f}"
    '80.65'

    References
    ----------
    Mass balance.
    """
    return dose * volume / (stock * 1000 - dose) * 1000


@checked
def dose(mass: Grams, volume: Litres, active: Fraction = 1) -> MilligramsPerLitre:
    """Dose that a mass of product gives in a volume of water; the inverse of `mass`.

    Parameters
    ----------
    mass : product weighed. [g]
    volume : water in the vessel. [L]
    active : share of the product that is active. [1]

    Returns
    -------
    Concentration of the active substance. [mg/L]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    1000 * mass * active / volume.

    Examples
    --------
    >>> dose(3.2, 40)
    80.0

    References
    ----------
    Definition of concentration.
    """
    return mass * 1000 * active / volume


@checked
def buffer(drug: Grams, ratio: Ratio = 2) -> Grams:
    """Sodium bicarbonate to weigh for a mass of acid drug.

    Parameters
    ----------
    drug : tricaine methanesulfonate weighed. [g]
    ratio : grams of bicarbonate for a gram of drug. [g/g]

    Returns
    -------
    Sodium bicarbonate. [g]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    drug * ratio. Twice the weight is common practice; soft water can need it all, hard water less. Measure the pH.

    Examples
    --------
    >>> buffer(3.2)
    6.4

    References
    ----------
    Twice the drug's weight: common practice, no source.
    """
    return drug * ratio


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


@checked
@requires("target <= now", "the target is above the present dose; add drug with BATH.TOPUP instead")
def replace(volume: Litres, now: MilligramsPerLitre, target: ConcentrationNow) -> LitresOrNone:
    """Bath water to drain and replace with clean water to lighten a bath.

    Parameters
    ----------
    volume : water in the vessel. [L]
    now : concentration in the bath. [mg/L]
    target : wanted concentration; not above the present one. [mg/L]

    Returns
    -------
    Water to drain, then refill. [L]

    Raises
    ------
    ArgumentError : a value out of range, or the target above the present dose.

    Notes
    -----
    volume * (1 - target / now). Mixed bath; drain first, then refill with clean water of the same temperature.

    Examples
    --------
    >>> replace(40, 100, 80)
    8.0

    References
    ----------
    Mass balance.
    """
    return volume * (now - target) / now


@checked
def flushed(now: ConcentrationNow, volume: Litres, flow: Flow, minutes: MinutesOrNone) -> ConcentrationNow:
    """Dose left after clean water has run through a mixed vessel for a time.

    Parameters
    ----------
    now : concentration when the flow starts. [mg/L]
    volume : water in the vessel. [L]
    flow : clean water in, and the same out. [L/min]
    minutes : time since the flow started. [min]

    Returns
    -------
    Concentration left. [mg/L]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    now * exp(-flow * minutes / volume). Full mixing; a raceway that flows as a plug clears sooner and then at once.

    Examples
    --------
    >>> f"{flushed(80, 40, 4, 10):.2f}"
    '29.43'

    References
    ----------
    Wash-out of a completely mixed vessel (mass balance).
    """
    return now * math.exp(-flow * minutes / volume)


@checked
@requires("target <= now", "the target is above the present dose")
def flush_time(now: MilligramsPerLitre, target: MilligramsPerLitre, volume: Litres, flow: Flow) -> MinutesOrNone:
    """Time for clean water through a mixed vessel to bring the dose down; the inverse of `flushed`.

    Parameters
    ----------
    now : concentration when the flow starts. [mg/L]
    target : concentration to reach; above 0 and not above the present one. [mg/L]
    volume : water in the vessel. [L]
    flow : clean water in, and the same out. [L/min]

    Returns
    -------
    Time from the start of the flow. [min]

    Raises
    ------
    ArgumentError : a value out of range, or the target above the present dose.

    Notes
    -----
    volume / flow * ln(now / target). Full mixing.

    Examples
    --------
    >>> f"{flush_time(80, 8, 40, 4):.2f}"
    '23.03'

    References
    ----------
    Wash-out of a completely mixed vessel (mass balance).
    """
    return volume / flow * math.log(now / target)


@checked
def drip(flow: Flow, dose: MilligramsPerLitre, minutes: Minutes, active: Fraction = 1) -> Grams:
    """Product to feed in at a constant rate so that the inflow carries a dose for a time.

    Parameters
    ----------
    flow : water through the unit. [L/min]
    dose : wanted concentration of the active substance. [mg/L]
    minutes : length of the treatment. [min]
    active : share of the product that is active. [1]

    Returns
    -------
    Product for the whole treatment. [g]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    flow * dose * minutes / 1000 / active. The unit itself must be charged to the dose at the start.

    Examples
    --------
    >>> drip(100, 100, 60)
    600.0

    References
    ----------
    Form of SRAC 410, Calculating Treatments for Ponds and Tanks (from memory).
    """
    return flow * dose * minutes / 1000 / active


@checked
def liquid(volume: Litres, dose: MicrolitresPerLitre) -> Millilitres:
    """Liquid product for a dose given by volume.

    Parameters
    ----------
    volume : water in the vessel. [L]
    dose : product by volume of water, as labels of formalin give it. [uL/L]

    Returns
    -------
    Product to measure. [mL]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    volume * dose / 1000. By volume; a dose by weight of the same figure is another amount (8 % apart for formalin).

    Examples
    --------
    >>> liquid(1000, 167)
    167.0

    References
    ----------
    Definition of a dose by volume.
    """
    return volume * dose / 1000


@checked
def solution(volume: Litres, dose: MilligramsPerLitre, strength: MilligramsPerMillilitre) -> Millilitres:
    """Liquid product for a dose given by mass, from the strength on its label.

    Parameters
    ----------
    volume : water in the vessel. [L]
    dose : wanted concentration of the active substance. [mg/L]
    strength : active substance in the product. [mg/mL]

    Returns
    -------
    Product to measure. [mL]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    volume * dose / strength. The volume of the product itself is neglected.

    Examples
    --------
    >>> solution(100, 500, 400)
    125.0

    References
    ----------
    Definition of concentration; checked against Piper et al. 1982, Fish Hatchery Management.
    """
    return volume * dose / strength


@checked
@requires("target >= now", "the target is below the present salinity")
def salt(volume: Litres, now: GramsPerLitreOrNone, target: GramsPerLitre) -> GramsOrNone:
    """Salt that raises a volume of water to a salinity.

    Parameters
    ----------
    volume : water in the vessel. [L]
    now : salt in it already. [g/L]
    target : wanted; not below what is there. [g/L]

    Returns
    -------
    Salt to add. [g]

    Raises
    ------
    ArgumentError : a value out of range, or the target below the present salinity.

    Notes
    -----
    volume * (target - now). Plain sodium chloride without additives. 5 g/L is 0.5 %.

    Examples
    --------
    >>> salt(400, 0, 5)
    2000.0

    References
    ----------
    Definition of concentration.
    """
    return volume * (target - now)
