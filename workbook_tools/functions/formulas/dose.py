"""Doses by body weight, and the weight, condition and density of fish they rest on."""

from __future__ import annotations

from workbook_tools.functions.quantities import (
    Centimetres,
    ConditionFactor,
    FishCount,
    Grams,
    KilogramsOrNone,
    LengthFactor,
    LengthPower,
    Litres,
    MilligramsPerKilogram,
    MilligramsPerMillilitre,
    Millilitres,
    StockingDensity,
    checked,
)


@checked
def injection(weight: Grams, dose: MilligramsPerKilogram, strength: MilligramsPerMillilitre) -> Millilitres:
    """Volume of an injectable product for a dose by body weight.

    Parameters
    ----------
    weight : of the fish. [g]
    dose : of the active substance. [mg/kg]
    strength : active substance in the product as injected. [mg/mL]

    Returns
    -------
    Product to inject. [mL]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    weight / 1000 * dose / strength. Dilute the product when the volume is too small to measure.

    Examples
    --------
    >>> injection(500, 10, 100)
    0.05

    References
    ----------
    Definition of a dose by body weight.
    """
    return weight * dose / 1000 / strength


@checked
def weight(length: Centimetres, a: LengthFactor, b: LengthPower) -> Grams:
    """Weight of a fish from its length.

    Parameters
    ----------
    length : in the measure that a and b were fitted to (total, fork or standard). [cm]
    a : factor of the species, for centimetres and grams. [1]
    b : power of the species, near 3. [1]

    Returns
    -------
    Weight. [g]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    a * length^b. A mean for the species: a fat or a starved fish differs by a third and more.

    Examples
    --------
    >>> weight(30, 0.01, 3)
    270.0

    References
    ----------
    Length-weight relation W = a L^b, common practice in fisheries.
    """
    return a * length**b  # type: ignore[no-any-return] # float ** float


@checked
def biomass(count: FishCount, mean_weight: Grams) -> KilogramsOrNone:
    """Mass of fish from their number and mean weight.

    Parameters
    ----------
    count : number of fish; 0 for an empty vessel. [1]
    mean_weight : of a sample of them. [g]

    Returns
    -------
    Biomass. [kg]

    Raises
    ------
    ArgumentError : a value blank, not a number, out of range, or a number of fish that is not whole.

    Notes
    -----
    count * mean_weight / 1000.

    Examples
    --------
    >>> biomass(2000, 45)
    90.0

    References
    ----------
    Definition of a mean.
    """
    return count * mean_weight / 1000


@checked
def condition(weight: Grams, length: Centimetres) -> ConditionFactor:
    """Condition factor of a fish after Fulton: how heavy it is for its length.

    Parameters
    ----------
    weight : of the fish. [g]
    length : of the fish; say which length with the number. [cm]

    Returns
    -------
    Condition factor, near 1 for a fish of trout shape. [1]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    100 * weight / length^3. Compare within a species and one measure of length.

    Examples
    --------
    >>> f"{condition(270, 30):.2f}"
    '1.00'

    References
    ----------
    Fulton's factor, K = 100 W / L^3 in grams and centimetres.
    """
    return weight * 100 / length**3


@checked
def density(biomass: KilogramsOrNone, volume: Litres) -> StockingDensity:
    """Stocking density of a vessel.

    Parameters
    ----------
    biomass : fish in it. [kg]
    volume : water in it. [L]

    Returns
    -------
    Stocking density. [kg/m3]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    1000 * biomass / volume.

    Examples
    --------
    >>> density(90, 4000)
    22.5

    References
    ----------
    Definition of density; 1 m3 is 1000 L (SI).
    """
    return biomass * 1000 / volume
