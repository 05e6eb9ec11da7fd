"""Salinity from conductivity, and density."""

from __future__ import annotations

import math

from workbook_tools.functions.quantities import (
    Conductivity,
    PracticalSalinity,
    Salinity,
    WaterDensity,
    WaterTemperature,
    checked,
    requires,
)

STANDARD_CONDUCTIVITY = 42.914  # mS/cm of sea water of salinity 35 at 15 C (IPTS-68), Culkin & Smith 1980
OLD_SCALE = 1.00024  # degrees IPTS-68 in one of ITS-90


def conductivity_ratio(conductivity: float, warmth: float) -> float:
    """Conductivity over that of sea water of salinity 35 at the same temperature, IPTS-68."""
    standard = 0.6766097 + warmth * (0.0200564 + warmth * (1.104259e-4 + warmth * (-6.9698e-7 + warmth * 1.0031e-9)))
    return conductivity / STANDARD_CONDUCTIVITY / standard


def within_scale(conductivity: float, temperature: float) -> bool:
    """Whether the water is no saltier than 42: the ratio there is 1.174 at 40 C and 1.179 at -2 C."""
    return conductivity_ratio(conductivity, temperature * OLD_SCALE) <= 1.1792


@checked
@requires("within_scale(conductivity, temperature)", "the water is saltier than 42, where the scale ends", within_scale)
def salinity(conductivity: Conductivity, temperature: WaterTemperature) -> PracticalSalinity:
    """Practical salinity from conductivity, fresh to sea water.

    Parameters
    ----------
    conductivity : as it is at the water's temperature, not reduced to 25 C. [mS/cm]
    temperature : of the water. [C]

    Returns
    -------
    Practical salinity; near the grams of sea salt in a kilogram. [PSS-78]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range, or water saltier than 42.

    Notes
    -----
    PSS-78 at atmospheric pressure with the extension to low salinities, taken over the whole range so that there is no
    step at 2 (there it changes the answer by less than 0.0005, at 35 by less than 0.00002). Conductivity of salinity
    35 at 15 C: 42.914 mS/cm; temperatures turned into IPTS-68. Salinity 0 to 42, -2 to 35 C, to 40 C a little beyond
    the scale. Made for diluted sea water: other salts conduct otherwise.

    Examples
    --------
    >>> f"{salinity(5, 25):.2f}", f"{salinity(53.09, 25):.2f}"
    ('2.68', '35.01')

    References
    ----------
    UNESCO Technical Papers in Marine Science 44 (Fofonoff & Millard 1983); Hill, Dauphinee & Woods 1986, IEEE J.
    Oceanic Engineering 11:109 (coefficients as in public scientific code); Culkin & Smith 1980.
    """
    warmth = temperature * OLD_SCALE
    return practical_salinity(
        conductivity_ratio(conductivity, warmth),
        math.sqrt(conductivity_ratio(conductivity, warmth)),
        (warmth - 15) / (1 + 0.0162 * (warmth - 15)),
    )


def practical_salinity(ratio: float, root: float, warming: float) -> float:
    """PSS-78 of a conductivity ratio and its root; `warming` is the temperature term."""
    scale = 0.008 + root * (-0.1692 + root * (25.3851 + root * (14.0941 + root * (-7.0261 + root * 2.7081))))
    shift = 0.0005 + root * (-0.0056 + root * (-0.0066 + root * (-0.0375 + root * (0.0636 - root * 0.0144))))
    low = 0.008 / (1 + 600 * ratio + 160000 * ratio**2)
    low_shift = 0.0005 / (1 + 10 * root + 100 * ratio + 1000 * ratio * root)
    return scale - low + warming * (shift - low_shift)


@checked
def density(temperature: WaterTemperature, salinity: Salinity = 0) -> WaterDensity:
    """Density of water under one atmosphere.

    Parameters
    ----------
    temperature : of the water. [C]
    salinity : 0 for fresh water. [g/kg]

    Returns
    -------
    Density. [kg/m3]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    EOS-80 at one atmosphere, temperatures turned into IPTS-68; -2 to 40 C, salinity 0 to 42.

    Examples
    --------
    >>> f"{density(20):.2f}", f"{density(15, 35):.2f}"
    ('998.21', '1025.97')

    References
    ----------
    Millero & Poisson 1981, Deep-Sea Research 28A:625; UNESCO Technical Papers in Marine Science 44.
    """
    warmth = temperature * OLD_SCALE
    pure = 999.842594 + warmth * (
        0.06793952 + warmth * (-0.00909529 + warmth * (1.001685e-4 + warmth * (-1.120083e-6 + warmth * 6.536332e-9)))
    )
    first = 0.824493 + warmth * (-0.0040899 + warmth * (7.6438e-5 + warmth * (-8.2467e-7 + warmth * 5.3875e-9)))
    second = -0.00572466 + warmth * (1.0227e-4 - warmth * 1.6546e-6)
    return pure + salinity * (first + second * math.sqrt(salinity) + 0.00048314 * salinity)
