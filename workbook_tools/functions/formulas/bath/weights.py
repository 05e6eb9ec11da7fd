"""What to weigh or measure for one bath."""

from __future__ import annotations

from workbook_tools.functions.quantities import (
    Fraction,
    Grams,
    GramsOrNone,
    GramsPerLitre,
    GramsPerLitreOrNone,
    Litres,
    MicrolitresPerLitre,
    MilligramsPerLitre,
    MilligramsPerMillilitre,
    Millilitres,
    Ratio,
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
