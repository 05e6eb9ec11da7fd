"""What water that is replaced or flows through does to a bath."""

from __future__ import annotations

import math

from workbook_tools.functions.quantities import (
    ConcentrationNow,
    Flow,
    Fraction,
    Grams,
    Litres,
    LitresOrNone,
    MilligramsPerLitre,
    Minutes,
    MinutesOrNone,
    checked,
    requires,
)


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
