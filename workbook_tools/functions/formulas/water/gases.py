"""Oxygen, carbon dioxide and the pressure of the air above them."""

from __future__ import annotations

import math

from workbook_tools.functions.formulas.carbonate import (
    CARBON_DIOXIDE_WEIGHT,
    NEEDS_ALKALINITY,
    NEEDS_GAS,
    free_carbon_dioxide,
)
from workbook_tools.functions.quantities import (
    Alkalinity,
    Altitude,
    CarbonDioxide,
    FreshWaterTemperature,
    Oxygen,
    OxygenPercent,
    OxygenSaturation,
    Pressure,
    Salinity,
    WaterAcidity,
    WaterTemperature,
    checked,
    requires,
)

STANDARD_PRESSURE = 101.325  # kPa


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
