"""pH after drug and bicarbonate, and the bicarbonate that reaches a pH."""

from __future__ import annotations

from workbook_tools.functions.formulas.carbonate import (
    ALKALINITY_UNIT,
    BICARBONATE_UNIT,
    DRUG_UNIT,
    NEEDS_ALKALINITY,
    NEEDS_GAS,
    ROUNDING,
    carbon_alkalinity,
    carbon_before,
    first_estimate,
    first_exponent,
    nearer,
    second_exponent,
    water_alkalinity,
    water_exponent,
)
from workbook_tools.functions.quantities import (
    Alkalinity,
    BathAcidity,
    BicarbonateOrNone,
    FreshWaterTemperature,
    TricaineOrNone,
    WaterAcidity,
    checked,
    requires,
)

MOST_BICARBONATE = 10_000 * BICARBONATE_UNIT  # mol/L; the range of every bicarbonate argument


@checked
@requires(*NEEDS_ALKALINITY)
@requires(*NEEDS_GAS)
def after(
    ph: WaterAcidity,
    alkalinity: Alkalinity,
    temperature: FreshWaterTemperature,
    tricaine: TricaineOrNone,
    bicarbonate: BicarbonateOrNone,
) -> BathAcidity:
    """pH of a fresh water bath after tricaine and sodium bicarbonate are dissolved in it.

    Parameters
    ----------
    ph : of the water before. [pH]
    alkalinity : total alkalinity of the water before. [mg/L CaCO3]
    temperature : of the water. [C]
    tricaine : tricaine methanesulfonate added; 0 for none. [mg/L]
    bicarbonate : sodium bicarbonate added; 0 for none. [mg/L]

    Returns
    -------
    pH once mixed, before air has taken or given carbon dioxide. [pH]

    Raises
    ------
    ArgumentError : a value blank, not a number or out of range, or a pH and an alkalinity that contradict each other.

    Notes
    -----
    Inorganic carbon comes from the measured pH and alkalinity. The drug takes 1 equivalent of alkalinity a mole (taken
    as a strong acid), bicarbonate adds 1 equivalent and 1 mole of carbon; the pH that balances the new alkalinity and
    carbon follows by four steps of Newton's method, which leave less than 1e-9 pH. The alkalinity may end below zero:
    mineral acid. Assumed: fresh water, no buffer but carbonate (humic water and test solutions have others), closed
    to the air (aeration drives carbon dioxide out and lifts the pH within minutes to hours), activities equal to
    concentrations as in the reference tables for salinity 0. Within 0.002 pH of those tables. Left out is the salt
    that drug and bicarbonate bring: at 1 g/L of it some hundredths of a pH, by the Davies equation. An estimate
    for the bench: measure the bath.

    No single cell holds this formula. Cell by cell: PH.FIRSTPK, PH.SECONDPK, PH.WATERPK, PH.ALKALINITYLEFT and
    PH.CARBON, then PH.ESTIMATE of these five, then PH.REFINE four times, each from the cell before; these are the
    steps taken here. (Three are enough below 1e-9 where the water starts at pH 10 or less.)

    Examples
    --------
    >>> f"{after(7.4, 40, 12, 80, 0):.2f}", f"{after(7.4, 40, 12, 80, 160):.2f}"
    ('6.54', '7.23')

    References
    ----------
    Constants: Plummer & Busenberg 1982, Geochimica et Cosmochimica Acta 46:1011. Tricaine methanesulfonate 261.292,
    sodium bicarbonate 84.007, calcium carbonate 100.087 g/mol. Checked against PyCO2SYS (Millero 1979 constants).
    """
    left = alkalinity * ALKALINITY_UNIT - tricaine * DRUG_UNIT + bicarbonate * BICARBONATE_UNIT
    carbon = carbon_before(ph, alkalinity, temperature) + bicarbonate * BICARBONATE_UNIT
    k1 = 10 ** -first_exponent(temperature)
    k2 = 10 ** -second_exponent(temperature)
    kw = 10 ** -water_exponent(temperature)
    answer = first_estimate(left, carbon, k1, k2, kw)
    answer = nearer(answer, left, carbon, k1, k2, kw)
    answer = nearer(answer, left, carbon, k1, k2, kw)
    answer = nearer(answer, left, carbon, k1, k2, kw)
    return nearer(answer, left, carbon, k1, k2, kw)


def shortfall(ph: float, alkalinity: float, temperature: float, tricaine: float, target: float) -> float:
    """Alkalinity that the bath lacks at the target pH before bicarbonate is added. [eq/L]"""
    needed = carbon_before(ph, alkalinity, temperature) * carbon_alkalinity(target, temperature)
    return needed + water_alkalinity(target, temperature) - alkalinity * ALKALINITY_UNIT + tricaine * DRUG_UNIT


def bicarbonate_yield(target: float, temperature: float) -> float:
    """Alkalinity that a mole of bicarbonate leaves over at the target pH, its own carbon served. [eq/mol]"""
    return 1 - carbon_alkalinity(target, temperature)


def drug_leaves_less(ph: float, alkalinity: float, temperature: float, tricaine: float, target: float) -> bool:
    """Whether the drug alone leaves the bath at or below the target."""
    return shortfall(ph, alkalinity, temperature, tricaine, target) >= -ROUNDING


def bicarbonate_reaches(ph: float, alkalinity: float, temperature: float, tricaine: float, target: float) -> bool:
    """Whether the most bicarbonate that any argument allows makes up the shortfall."""
    return shortfall(ph, alkalinity, temperature, tricaine, target) <= MOST_BICARBONATE * bicarbonate_yield(
        target, temperature
    )


@checked
@requires(*NEEDS_ALKALINITY)
@requires(*NEEDS_GAS)
@requires(
    "drug_leaves_less(ph, alkalinity, temperature, tricaine, target)",
    "the bath with the drug in it is already above the target, with no bicarbonate at all",
    drug_leaves_less,
)
@requires(
    "bicarbonate_reaches(ph, alkalinity, temperature, tricaine, target)",
    "bicarbonate cannot reach the target: alone it approaches about pH 8.3, and 10,000 mg/L would not be enough",
    bicarbonate_reaches,
)
def bicarbonate(
    ph: WaterAcidity,
    alkalinity: Alkalinity,
    temperature: FreshWaterTemperature,
    tricaine: TricaineOrNone,
    target: WaterAcidity,
) -> BicarbonateOrNone:
    """Sodium bicarbonate that brings a bath with tricaine to a pH; the inverse of `after`.

    Parameters
    ----------
    ph : of the water before. [pH]
    alkalinity : total alkalinity of the water before. [mg/L CaCO3]
    temperature : of the water. [C]
    tricaine : tricaine methanesulfonate in the bath; 0 for none. [mg/L]
    target : pH wanted; not below what the drug alone leaves. [pH]

    Returns
    -------
    Sodium bicarbonate to add. [mg/L]

    Raises
    ------
    ArgumentError : a value out of range, a pH and an alkalinity that contradict each other, a target that the bath is
    already above, or one that bicarbonate cannot reach.

    Notes
    -----
    At the target one mole of carbon carries a known alkalinity r, so the balance is linear in the bicarbonate:
    (r * carbon + alkalinity of the water's ions - alkalinity + acid) / (1 - r). Reaches no higher than about pH 8.3,
    where r is 1. Assumptions of `after`; closed to the air, so carbon dioxide set free by the drug holds the pH down:
    to regain the first pH takes far more than the 0.3215 g per g of the acid itself, or aeration. In a cell the text
    has about 4,800 characters over plain references; long table references would pass what a cell holds.

    Examples
    --------
    >>> f"{bicarbonate(7.4, 40, 12, 80, 7.4):.1f}"
    '260.1'

    References
    ----------
    As `after`.
    """
    needed = shortfall(ph, alkalinity, temperature, tricaine, target) / bicarbonate_yield(target, temperature)
    return max(needed, 0) / BICARBONATE_UNIT
