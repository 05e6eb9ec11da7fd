"""The search for the pH in single cells: constants, a first estimate, and an estimate made nearer."""

from __future__ import annotations

from workbook_tools.functions.formulas.carbonate import (
    ALKALINITY_UNIT,
    first_estimate,
    first_exponent,
    nearer,
    second_exponent,
    water_exponent,
)
from workbook_tools.functions.quantities import (
    AlkalinityLeft,
    BathAcidity,
    FirstExponent,
    FreshWaterTemperature,
    InorganicCarbon,
    SecondExponent,
    WaterExponent,
    checked,
)


@checked
def first_pk(temperature: FreshWaterTemperature) -> FirstExponent:
    """pK1 of carbonic acid: the pH at which carbon dioxide and bicarbonate are equal.

    Parameters
    ----------
    temperature : of the water. [C]

    Returns
    -------
    pK1. [1]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    356.3094 + 0.06091964 T - 21834.37 / T - 126.8339 log10 T + 1684915 / T^2, T = t + 273.15; infinite dilution, 0 to
    90 C. For PH.ESTIMATE and PH.REFINE.

    Examples
    --------
    >>> f"{first_pk(25):.3f}"
    '6.352'

    References
    ----------
    Plummer & Busenberg 1982, Geochimica et Cosmochimica Acta 46:1011.
    """
    return first_exponent(temperature)


@checked
def second_pk(temperature: FreshWaterTemperature) -> SecondExponent:
    """pK2 of carbonic acid: the pH at which bicarbonate and carbonate are equal.

    Parameters
    ----------
    temperature : of the water. [C]

    Returns
    -------
    pK2. [1]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    107.8871 + 0.03252849 T - 5151.79 / T - 38.92561 log10 T + 563713.9 / T^2, T = t + 273.15; infinite dilution, 0 to
    90 C. For PH.ESTIMATE and PH.REFINE.

    Examples
    --------
    >>> f"{second_pk(25):.3f}"
    '10.329'

    References
    ----------
    Plummer & Busenberg 1982, Geochimica et Cosmochimica Acta 46:1011.
    """
    return second_exponent(temperature)


@checked
def water_pk(temperature: FreshWaterTemperature) -> WaterExponent:
    """pK of water: twice the pH of pure water at that temperature.

    Parameters
    ----------
    temperature : of the water. [C]

    Returns
    -------
    pK of the ion product. [1]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    283.971 + 0.05069842 T - 13323 / T - 102.24447 log10 T + 1119669 / T^2, T = t + 273.15; infinite dilution, 0 to 90
    C. For PH.ESTIMATE and PH.REFINE.

    Examples
    --------
    >>> f"{water_pk(25):.3f}"
    '14.000'

    References
    ----------
    Constants used with Plummer & Busenberg 1982, Geochimica et Cosmochimica Acta 46:1011.
    """
    return water_exponent(temperature)


@checked
def estimate(
    alkalinity_left: AlkalinityLeft,
    carbon: InorganicCarbon,
    first: FirstExponent,
    second: SecondExponent,
    water: WaterExponent,
) -> BathAcidity:
    """Rough pH of a bath from its alkalinity and carbon, for PH.REFINE to start from.

    Parameters
    ----------
    alkalinity_left : of the bath, as PH.ALKALINITYLEFT gives it. [mg/L CaCO3]
    carbon : of the bath, as PH.CARBON gives it. [mmol/L]
    first : pK1, as PH.FIRSTPK gives it. [1]
    second : pK2, as PH.SECONDPK gives it. [1]
    water : pK of water, as PH.WATERPK gives it. [1]

    Returns
    -------
    pH, often within 0.1, in water nearly without ions up to 1 off. [pH]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    The positive root of a quadratic that leaves out what is small on its side of half neutralisation. Third step of
    PH.AFTER in cells. Not an answer by itself.

    Examples
    --------
    >>> f"{estimate(40, 0.892, 6.45, 10.46, 14.44):.1f}"
    '7.4'

    References
    ----------
    As `after`.
    """
    return first_estimate(alkalinity_left * ALKALINITY_UNIT, carbon / 1000, 10**-first, 10**-second, 10**-water)


@checked
def refine(
    guess: BathAcidity,
    alkalinity_left: AlkalinityLeft,
    carbon: InorganicCarbon,
    first: FirstExponent,
    second: SecondExponent,
    water: WaterExponent,
) -> BathAcidity:
    """A pH nearer to the balance of alkalinity and carbon than the one given.

    Parameters
    ----------
    guess : pH from PH.ESTIMATE or from PH.REFINE before. [pH]
    alkalinity_left : of the bath, as PH.ALKALINITYLEFT gives it. [mg/L CaCO3]
    carbon : of the bath, as PH.CARBON gives it. [mmol/L]
    first : pK1, as PH.FIRSTPK gives it. [1]
    second : pK2, as PH.SECONDPK gives it. [1]
    water : pK of water, as PH.WATERPK gives it. [1]

    Returns
    -------
    pH after one step of Newton's method. [pH]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    A step on the logarithm of acids over bases, in the pH; 2 at most, for a guess far off. Four steps from PH.ESTIMATE
    leave less than 1e-9 pH wherever PH.AFTER answers. Last steps of PH.AFTER in cells.

    Examples
    --------
    >>> f"{refine(7.0, 40, 0.892, 6.45, 10.46, 14.44):.2f}"
    '7.41'

    References
    ----------
    As `after`; Newton's method.
    """
    left = alkalinity_left * ALKALINITY_UNIT
    return nearer(guess, left, carbon / 1000, 10**-first, 10**-second, 10**-water)
