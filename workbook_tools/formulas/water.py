"""Water quality: un-ionised ammonia, oxygen, carbon dioxide, salinity, density and the pressure of the air.

Salinity is practical salinity; the g/kg of a salt meter is taken for it (they differ by half a percent in sea water).
"""

from __future__ import annotations

import math

from workbook_tools.formulas.carbonate import (
    CARBON_DIOXIDE_WEIGHT,
    NEEDS_ALKALINITY,
    NEEDS_GAS,
    free_carbon_dioxide,
)
from workbook_tools.quantities import (
    Acidity,
    Alkalinity,
    Altitude,
    CarbonDioxide,
    Conductivity,
    FreshWaterTemperature,
    Oxygen,
    OxygenPercent,
    OxygenSaturation,
    PracticalSalinity,
    Pressure,
    Salinity,
    ShareOrNone,
    TotalAmmonia,
    UnionisedAmmonia,
    WaterAcidity,
    WaterDensity,
    WaterTemperature,
    checked,
    requires,
)

STANDARD_PRESSURE = 101.325  # kPa
STANDARD_CONDUCTIVITY = 42.914  # mS/cm of sea water of salinity 35 at 15 C (IPTS-68), Culkin & Smith 1980
OLD_SCALE = 1.00024  # degrees IPTS-68 in one of ITS-90


@checked
def ammonia_fraction(ph: Acidity, temperature: WaterTemperature, salinity: Salinity = 0) -> ShareOrNone:
    """Share of total ammonia that is un-ionised, the form toxic to fish; pH as a meter set in NBS buffers reads it.

    Parameters
    ----------
    ph : as measured; with a salinity it is taken for the free scale, near which such a meter reads. [pH]
    temperature : of the water. [C]
    salinity : 0 for fresh water. [g/kg]

    Returns
    -------
    Un-ionised share. [1]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    1 / (1 + 10^(pKa - pH)). Salinity 0: pKa = 0.09018 + 2729.92 / (t + 273.15), fresh water 0 to 50 C. (The paper
    took zero as 273.2; the fraction differs by 0.3 %.) Above 0: the equation of Clegg & Whitfield with pH moved from
    their total to the free scale by the bisulfate constant of Dickson, -2 to 40 C, salinity 0 to 40; from salinity 0
    to just above it the fraction rises by 0.5 % at most. Within 5 % of the table of Bower & Bidwell 1978. A pH on the
    total scale (dye, or a meter set in sea-water buffers) goes to WATER.AMMONIAFRACTIONTOTAL: 25 C, salinity 35, pH 8
    is 0.0439 here and 0.0556 there.

    Examples
    --------
    >>> f"{ammonia_fraction(8, 24):.4f}", f"{ammonia_fraction(8, 25, 35):.4f}"
    ('0.0502', '0.0439')

    References
    ----------
    Emerson, Russo, Lund & Thurston 1975, J. Fish. Res. Board Can. 32:2379. Clegg & Whitfield 1995, Geochimica et
    Cosmochimica Acta 59:2403, equation 18 (coefficients as in PyCO2SYS). Dickson 1990, J. Chem. Thermodynamics
    22:113. The expression of Khoo et al. 1977 is in error (Bell et al. 2007) and is not used.
    """
    kelvin = temperature + 273.15
    sea = ammonium_in_sea_water(kelvin, math.sqrt(salinity)) + free_above_total(kelvin, salinity)
    exponent = 0.09018 + 2729.92 / kelvin if salinity == 0 else sea
    return 1 / (1 + 10 ** (exponent - ph))


@checked
def ammonia_fraction_total(ph: Acidity, temperature: WaterTemperature, salinity: Salinity) -> ShareOrNone:
    """Share of total ammonia that is un-ionised in sea water, for a pH on the total scale.

    Parameters
    ----------
    ph : on the total scale: by dye, or by a meter set in sea-water buffers. [pH]
    temperature : of the water. [C]
    salinity : of the water; 0 is fresh water, where the scales are one. [g/kg]

    Returns
    -------
    Un-ionised share. [1]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    As `ammonia_fraction`, pH not moved between scales. The reading of a meter set in NBS buffers would give up to a
    third more here than it should.

    Examples
    --------
    >>> f"{ammonia_fraction_total(8, 25, 35):.4f}"
    '0.0556'

    References
    ----------
    Clegg & Whitfield 1995, Geochimica et Cosmochimica Acta 59:2403, equation 18 (coefficients as in PyCO2SYS).
    """
    kelvin = temperature + 273.15
    exponent = 0.09018 + 2729.92 / kelvin if salinity == 0 else ammonium_in_sea_water(kelvin, math.sqrt(salinity))
    return 1 / (1 + 10 ** (exponent - ph))


def free_above_total(kelvin: float, salinity: float) -> float:
    """How far pH on the free scale lies above pH on the total scale: log10(1 + sulfate / bisulfate constant).

    Sulfate 0.02824 mol/kg at salinity 35 (Morris & Riley 1966); constant of Dickson 1990 in mol/kg of sea water.
    """
    ions = 19.924 * salinity / (1000 - 1.005 * salinity)
    constant = math.exp(
        -4276.1 / kelvin
        + 141.328
        - 23.093 * math.log(kelvin)
        + (-13856 / kelvin + 324.57 - 47.986 * math.log(kelvin)) * math.sqrt(ions)
        + (35474 / kelvin - 771.54 + 114.723 * math.log(kelvin)) * ions
        - 2698 / kelvin * ions**1.5
        + 1776 / kelvin * ions**2
        + math.log(1 - 0.001005 * salinity)
    )
    return math.log10(1 + 0.02824 * salinity / 35 / constant)


def ammonium_in_sea_water(kelvin: float, root: float) -> float:
    """pKa of ammonium on the total scale, mol/kg of water; `root` is the square root of salinity."""
    return (
        9.244605
        - 2729.33 * (1 / 298.15 - 1 / kelvin)
        + (0.04203362 - 11.24742 / kelvin) * math.sqrt(root)
        + (-13.6416 + 1.176949 * math.sqrt(kelvin) - 0.02860785 * kelvin + 545.4834 / kelvin) * root
        + (-0.1462507 + 0.0090226468 * math.sqrt(kelvin) - 0.0001471361 * kelvin + 10.5425 / kelvin) * root**3
        + (0.004669309 - 0.0001691742 * math.sqrt(kelvin) - 0.5677934 / kelvin) * root**4
        + (-2.354039e-05 + 0.009698623 / kelvin) * root**5
    )


@checked
def ammonia(
    total: TotalAmmonia, ph: Acidity, temperature: WaterTemperature, salinity: Salinity = 0
) -> UnionisedAmmonia:
    """Un-ionised ammonia nitrogen, from the total that a test kit reads.

    Parameters
    ----------
    total : total ammonia, as nitrogen. [mg/L]
    ph : as measured; with a salinity it is taken for the free scale, near which a meter set in NBS buffers reads. [pH]
    temperature : of the water. [C]
    salinity : 0 for fresh water. [g/kg]

    Returns
    -------
    Un-ionised ammonia, as nitrogen. [mg/L]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    total * ammonia_fraction. A kit that reads NH3 or NH4 is first multiplied by 0.822 or 0.776 to have nitrogen.

    Examples
    --------
    >>> f"{ammonia(1, 8, 24):.4f}"
    '0.0502'

    References
    ----------
    As `ammonia_fraction`.
    """
    return total * ammonia_fraction(ph, temperature, salinity)


@checked
def oxygen(
    temperature: WaterTemperature, salinity: Salinity = 0, pressure: Pressure = STANDARD_PRESSURE
) -> OxygenSaturation:
    """Oxygen in water that is saturated with air.

    Parameters
    ----------
    temperature : of the water. [C]
    salinity : 0 for fresh water. [g/kg]
    pressure : of the air at the site, not reduced to sea level. [kPa]

    Returns
    -------
    Oxygen at saturation, moist air. [mg/L]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    ln C = -139.34411 + 1.575701e5 / T - 6.642308e7 / T^2 + 1.2438e10 / T^3 - 8.621949e11 / T^4 - S (0.017674 - 10.754
    / T + 2140.7 / T^2), then P (1 - w / P)(1 - theta P) / ((1 - w)(1 - theta)) with P in atmospheres, w the pressure
    of water vapour and theta of the non-ideal gas. 0 to 40 C, salinity 0 to 40. WATER.PRESSURE gives the pressure of
    an altitude.

    Examples
    --------
    >>> f"{oxygen(20):.2f}", f"{oxygen(20, 0, 84.56):.2f}"
    ('9.09', '7.55')

    References
    ----------
    Benson & Krause 1984, Limnology and Oceanography 29:620, as in Standard Methods (APHA) 4500-O.
    """
    return sea_level_oxygen(temperature + 273.15, salinity) * pressure_effect(temperature, pressure / STANDARD_PRESSURE)


def sea_level_oxygen(kelvin: float, salinity: float) -> float:
    """Oxygen at saturation under one atmosphere. [mg/L]"""
    return math.exp(
        -139.34411
        + (157570.1 + (-6.642308e7 + (1.2438e10 - 8.621949e11 / kelvin) / kelvin) / kelvin) / kelvin
        - salinity * (0.017674 + (-10.754 + 2140.7 / kelvin) / kelvin)
    )


def pressure_effect(temperature: float, atmospheres: float) -> float:
    """Saturation under a pressure, over that under one atmosphere. [1]"""
    kelvin = temperature + 273.15
    vapour = math.exp(11.8571 - 3840.70 / kelvin - 216961 / kelvin**2)
    theta = 0.000975 - 1.426e-5 * temperature + 6.436e-8 * temperature**2
    return (atmospheres - vapour) * (1 - theta * atmospheres) / ((1 - vapour) * (1 - theta))


@checked
def oxygen_percent(
    oxygen_now: Oxygen,
    temperature: WaterTemperature,
    salinity: Salinity = 0,
    pressure: Pressure = STANDARD_PRESSURE,
) -> OxygenPercent:
    """Oxygen as a percentage of what the water would hold in balance with the air.

    Parameters
    ----------
    oxygen_now : as measured. [mg/L]
    temperature : of the water. [C]
    salinity : 0 for fresh water. [g/kg]
    pressure : of the air at the site, not reduced to sea level. [kPa]

    Returns
    -------
    Saturation. [%]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    100 * oxygen_now / WATER.OXYGEN. Above about 110 look for gas bubbles in the gills.

    Examples
    --------
    >>> f"{oxygen_percent(7, 20):.1f}"
    '77.0'

    References
    ----------
    As `oxygen`.
    """
    return oxygen_now * 100 / oxygen(temperature, salinity, pressure)


@checked
def pressure(altitude: Altitude) -> Pressure:
    """Mean air pressure at an altitude.

    Parameters
    ----------
    altitude : above sea level; below it negative. [m]

    Returns
    -------
    Pressure of the standard atmosphere. [kPa]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    101.325 (1 - 0.0065 h / 288.15)^(9.80665 / (0.0065 * 287.05287)), h taken as geopotential altitude. The weather
    moves it by up to 4 %; a barometer at the site is better.

    Examples
    --------
    >>> f"{pressure(1000):.2f}"
    '89.87'

    References
    ----------
    ISO 2533:1975, Standard atmosphere.
    """
    share = (1 - 0.0065 * altitude / 288.15) ** (9.80665 / (0.0065 * 287.05287))
    return STANDARD_PRESSURE * share  # type: ignore[no-any-return] # float ** float


@checked
@requires(*NEEDS_ALKALINITY)
@requires(*NEEDS_GAS)
def co2(ph: WaterAcidity, alkalinity: Alkalinity, temperature: FreshWaterTemperature) -> CarbonDioxide:
    """Dissolved carbon dioxide of a fresh water, from its pH and alkalinity.

    Parameters
    ----------
    ph : of the water, measured before it has stood in air. [pH]
    alkalinity : total alkalinity. [mg/L CaCO3]
    temperature : of the water. [C]

    Returns
    -------
    Free carbon dioxide. [mg/L]

    Raises
    ------
    ArgumentError : a value out of range, or a pH and an alkalinity that contradict each other.

    Notes
    -----
    Bicarbonate, from alkalinity less carbonate and hydroxide, times h / K1, times 44.0095 g/mol. Constants and
    assumptions of PH.AFTER: all alkalinity is carbonate's, no activity corrections. An error of 0.1 pH is one of 26 %.

    Examples
    --------
    >>> f"{co2(7, 100, 15):.1f}"
    '23.1'

    References
    ----------
    Constants: Plummer & Busenberg 1982, Geochimica et Cosmochimica Acta 46:1011.
    """
    return free_carbon_dioxide(ph, alkalinity, temperature) * CARBON_DIOXIDE_WEIGHT


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
