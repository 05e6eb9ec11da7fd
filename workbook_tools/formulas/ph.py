"""pH of an anaesthetic bath: what tricaine takes from the alkalinity, what sodium bicarbonate gives back.

Fresh water, closed to the air, only the carbonate system and the drug's acid. The equations stand in carbonate.py.
"""

from __future__ import annotations

from workbook_tools.formulas.carbonate import (
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
from workbook_tools.quantities import (
    Alkalinity,
    AlkalinityLeft,
    BathAcidity,
    BicarbonateOrNone,
    FirstExponent,
    FreshWaterTemperature,
    InorganicCarbon,
    SecondExponent,
    TricaineOrNone,
    WaterAcidity,
    WaterExponent,
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


def room(target: float, temperature: float) -> float:
    """Alkalinity that a mole of bicarbonate leaves over at the target pH, its own carbon served. [eq/mol]"""
    return 1 - carbon_alkalinity(target, temperature)


def drug_leaves_less(ph: float, alkalinity: float, temperature: float, tricaine: float, target: float) -> bool:
    """Whether the drug alone leaves the bath at or below the target."""
    return shortfall(ph, alkalinity, temperature, tricaine, target) >= -ROUNDING


def bicarbonate_reaches(ph: float, alkalinity: float, temperature: float, tricaine: float, target: float) -> bool:
    """Whether the most bicarbonate that any argument allows makes up the shortfall."""
    return shortfall(ph, alkalinity, temperature, tricaine, target) <= MOST_BICARBONATE * room(target, temperature)


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
    needed = shortfall(ph, alkalinity, temperature, tricaine, target) / room(target, temperature)
    return max(needed, 0) / BICARBONATE_UNIT


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
