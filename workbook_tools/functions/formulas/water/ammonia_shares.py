"""Un-ionised ammonia in fresh and sea water."""

from __future__ import annotations

import math

from workbook_tools.functions.quantities import (
    Acidity,
    Salinity,
    ShareOrNone,
    TotalAmmonia,
    UnionisedAmmonia,
    WaterTemperature,
    checked,
)


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
