"""Medicated feed: drug for a treatment, product per kilogram of feed, and what the fish receive."""

from __future__ import annotations

from workbook_tools.functions.quantities import (
    DailyDose,
    FeedDays,
    FeedPerDay,
    Fraction,
    Grams,
    Inclusion,
    Kilograms,
    Ration,
    checked,
    requires,
)


@checked
def drug(biomass: Kilograms, dose: DailyDose, days: FeedDays) -> Grams:
    """Active substance for a whole treatment in feed.

    Parameters
    ----------
    biomass : fish treated. [kg]
    dose : active substance by body weight a day. [mg/kg/day]
    days : length of the treatment. [days]

    Returns
    -------
    Active substance for all days. [g]

    Raises
    ------
    ArgumentError : a value blank, not a number, out of range, or days that are not whole.

    Notes
    -----
    biomass * dose * days / 1000. Growth during the treatment is left out.

    Examples
    --------
    >>> drug(90, 75, 10)
    67.5

    References
    ----------
    Definition of a dose by body weight.
    """
    return biomass * dose * days / 1000


@checked
@requires("dose / 10 / ration / active <= 1000", "the feed would have to be more than all drug; raise the ration")
def inclusion(dose: DailyDose, ration: Ration, active: Fraction = 1) -> Inclusion:
    """Product to mix into each kilogram of feed.

    Parameters
    ----------
    dose : active substance by body weight a day. [mg/kg/day]
    ration : feed by body weight a day. [%]
    active : share of the product that is active. [1]

    Returns
    -------
    Product in the feed. [g/kg]

    Raises
    ------
    ArgumentError : a value out of range, or a feed that would be more than all drug.

    Notes
    -----
    dose / (ration / 100) / 1000 / active. Sick fish eat less: use the ration they do eat.

    Examples
    --------
    >>> inclusion(75, 1)
    7.5

    References
    ----------
    Mass balance.
    """
    return dose / 10 / ration / active


@checked
def ration(biomass: Kilograms, ration: Ration) -> FeedPerDay:
    """Feed a day for a biomass.

    Parameters
    ----------
    biomass : fish fed. [kg]
    ration : feed by body weight a day. [%]

    Returns
    -------
    Feed. [kg/day]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    biomass * ration / 100.

    Examples
    --------
    >>> ration(90, 1)
    0.9

    References
    ----------
    Definition of a ration.
    """
    return biomass * ration / 100


@checked
def received(inclusion: Inclusion, ration: Ration, active: Fraction = 1) -> DailyDose:
    """Dose that fish receive from a feed; the inverse of `inclusion`.

    Parameters
    ----------
    inclusion : product in the feed. [g/kg]
    ration : feed eaten by body weight a day. [%]
    active : share of the product that is active. [1]

    Returns
    -------
    Active substance by body weight a day. [mg/kg/day]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    inclusion * 1000 * ration / 100 * active. All feed eaten, nothing leached.

    Examples
    --------
    >>> received(7.5, 1)
    75.0

    References
    ----------
    Mass balance.
    """
    return inclusion * 10 * ration * active
