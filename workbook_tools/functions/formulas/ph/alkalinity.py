"""Alkalinity that the drug uses and the bath keeps, and the carbon of the water."""

from __future__ import annotations

from workbook_tools.functions.formulas.carbonate import (
    ALKALINITY_UNIT,
    BICARBONATE_UNIT,
    DRUG_UNIT,
    NEEDS_ALKALINITY,
    NEEDS_GAS,
    carbon_before,
)
from workbook_tools.functions.quantities import (
    Alkalinity,
    AlkalinityLeft,
    BicarbonateOrNone,
    FreshWaterTemperature,
    InorganicCarbon,
    TricaineOrNone,
    WaterAcidity,
    checked,
    requires,
)


@checked
def alkalinity_used(tricaine: TricaineOrNone) -> Alkalinity:
    """Alkalinity that tricaine takes out of the water.

    Parameters
    ----------
    tricaine : tricaine methanesulfonate added. [mg/L]

    Returns
    -------
    Alkalinity used up. [mg/L CaCO3]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    tricaine / 261.292 * 100.087 / 2: one equivalent of acid a mole. A gram of drug wants 0.3215 g of sodium
    bicarbonate for its acid alone; twice the weight is 6.2 mol a mole and leaves the rest as buffer.

    Examples
    --------
    >>> f"{alkalinity_used(250):.2f}"
    '47.88'

    References
    ----------
    Molar masses: tricaine methanesulfonate C10H15NO5S 261.292, calcium carbonate 100.087 g/mol.
    """
    return tricaine * DRUG_UNIT / ALKALINITY_UNIT


@checked
def alkalinity_left(alkalinity: Alkalinity, tricaine: TricaineOrNone, bicarbonate: BicarbonateOrNone) -> AlkalinityLeft:
    """Alkalinity of a bath after tricaine and sodium bicarbonate; below zero it holds mineral acid.

    Parameters
    ----------
    alkalinity : total alkalinity of the water before. [mg/L CaCO3]
    tricaine : tricaine methanesulfonate added; 0 for none. [mg/L]
    bicarbonate : sodium bicarbonate added; 0 for none. [mg/L]

    Returns
    -------
    Alkalinity of the bath. [mg/L CaCO3]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range.

    Notes
    -----
    alkalinity - tricaine / 261.292 * 50.0435 + bicarbonate / 84.007 * 50.0435. First step of PH.AFTER in cells.

    Examples
    --------
    >>> f"{alkalinity_left(40, 250, 0):.2f}"
    '-7.88'

    References
    ----------
    Molar masses as `alkalinity_used`; sodium bicarbonate 84.007 g/mol.
    """
    return alkalinity + (bicarbonate * BICARBONATE_UNIT - tricaine * DRUG_UNIT) / ALKALINITY_UNIT


@checked
@requires(*NEEDS_ALKALINITY)
@requires(*NEEDS_GAS)
def carbon(
    ph: WaterAcidity, alkalinity: Alkalinity, temperature: FreshWaterTemperature, bicarbonate: BicarbonateOrNone = 0
) -> InorganicCarbon:
    """Dissolved inorganic carbon of a fresh water, and of the sodium bicarbonate added to it.

    Parameters
    ----------
    ph : of the water before. [pH]
    alkalinity : total alkalinity of the water before. [mg/L CaCO3]
    temperature : of the water. [C]
    bicarbonate : sodium bicarbonate added. [mg/L]

    Returns
    -------
    Carbon dioxide, bicarbonate and carbonate together. [mmol/L]

    Raises
    ------
    ArgumentError : a value out of range, or a pH and an alkalinity that contradict each other.

    Notes
    -----
    (alkalinity - hydroxide + hydrogen) (1 + h / K1 + K2 / h) / (1 + 2 K2 / h), then the bicarbonate. Second step of
    PH.AFTER in cells. Assumptions of `after`.

    Examples
    --------
    >>> f"{carbon(7.4, 40, 12):.3f}"
    '0.887'

    References
    ----------
    As `after`.
    """
    return (carbon_before(ph, alkalinity, temperature) + bicarbonate * BICARBONATE_UNIT) * 1000
