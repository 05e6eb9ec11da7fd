"""Carbonate balance of fresh water: constants, carbon from pH and alkalinity, and the search for the pH.

Amounts are in mol/L (alkalinity in eq/L), 1 L of fresh water taken as 1 kg. The constants are those at infinite
dilution and activities are taken as concentrations, as the reference tables for salinity 0 do; see formulas/ph.py.
Names in the equations: `h` hydrogen ion, `k1`, `k2`, `kw` the constants, `acid` h / k1 (carbon dioxide for one
bicarbonate), `base` k2 / h (carbonate for one bicarbonate).

Source of the constants: Plummer & Busenberg 1982, Geochimica et Cosmochimica Acta 46:1011.
"""

from __future__ import annotations

import math

ALKALINITY_UNIT = 2 / 100_087  # eq/L in 1 mg/L CaCO3 (100.087 g/mol, two equivalents)
DRUG_UNIT = 1 / 261_292  # eq/L of acid in 1 mg/L tricaine methanesulfonate (261.292 g/mol, one equivalent)
BICARBONATE_UNIT = 1 / 84_007  # mol/L in 1 mg/L sodium bicarbonate (84.007 g/mol)
CARBON_DIOXIDE_WEIGHT = 44_009.5  # mg/mol
ROUNDING = 1e-12  # eq/L; differences below it are rounding, not chemistry


def first_exponent(temperature: float) -> float:
    """pK1 of carbonic acid; 0 to 90 C."""
    kelvin = temperature + 273.15
    return 356.3094 + 0.06091964 * kelvin - (21834.37 - 1684915 / kelvin) / kelvin - 126.8339 * math.log10(kelvin)


def second_exponent(temperature: float) -> float:
    """pK2 of carbonic acid; 0 to 90 C."""
    kelvin = temperature + 273.15
    return 107.8871 + 0.03252849 * kelvin - (5151.79 - 563713.9 / kelvin) / kelvin - 38.92561 * math.log10(kelvin)


def gas_exponent(temperature: float) -> float:
    """pK of the solubility of carbon dioxide, mol/L under one atmosphere of it; 0 to 90 C."""
    kelvin = temperature + 273.15
    return -108.3865 - 0.01985076 * kelvin + (6919.53 - 669365 / kelvin) / kelvin + 40.45154 * math.log10(kelvin)


def water_exponent(temperature: float) -> float:
    """pK of the ion product of water; 0 to 90 C."""
    kelvin = temperature + 273.15
    return 283.971 + 0.05069842 * kelvin - (13323 - 1119669 / kelvin) / kelvin - 102.24447 * math.log10(kelvin)


def water_alkalinity(ph: float, temperature: float) -> float:
    """Alkalinity of the water's own ions, hydroxide less hydrogen. [eq/L]"""
    return 10 ** (ph - water_exponent(temperature)) - 10**-ph


def carbon_alkalinity(ph: float, temperature: float) -> float:
    """Alkalinity that one mole of inorganic carbon carries. [eq/mol]"""
    base = 10 ** (ph - second_exponent(temperature))
    return (1 + 2 * base) / (1 + 10 ** (first_exponent(temperature) - ph) + base)


def carbon_before(ph: float, alkalinity: float, temperature: float) -> float:
    """Inorganic carbon of a water from its pH and alkalinity in mg/L CaCO3. [mol/L]"""
    left = alkalinity * ALKALINITY_UNIT - water_alkalinity(ph, temperature)
    return left / carbon_alkalinity(ph, temperature)


def free_carbon_dioxide(ph: float, alkalinity: float, temperature: float) -> float:
    """Dissolved carbon dioxide of a water from its pH and alkalinity in mg/L CaCO3. [mol/L]"""
    acid = 10 ** (first_exponent(temperature) - ph)
    base = 10 ** (ph - second_exponent(temperature))
    return (alkalinity * ALKALINITY_UNIT - water_alkalinity(ph, temperature)) * acid / (1 + 2 * base)


def covers_hydroxide(ph: float, alkalinity: float, temperature: float) -> bool:
    """Whether the alkalinity is at least that of the water's own ions: less would be carbon below zero."""
    return water_alkalinity(ph, temperature) <= alkalinity * ALKALINITY_UNIT + ROUNDING


def stays_dissolved(ph: float, alkalinity: float, temperature: float) -> bool:
    """Whether the carbon dioxide of the water is no more than it holds under a whole atmosphere of it."""
    return free_carbon_dioxide(ph, alkalinity, temperature) <= 10 ** -gas_exponent(temperature)


NEEDS_ALKALINITY = (
    "covers_hydroxide(ph, alkalinity, temperature)",
    "contradict each other: at this pH hydroxide alone is more than the alkalinity; measure both again",
    covers_hydroxide,
)
NEEDS_GAS = (
    "stays_dissolved(ph, alkalinity, temperature)",
    "contradict each other: so much alkalinity at so low a pH means more carbon dioxide than water holds; measure "
    "both again",
    stays_dissolved,
)


def first_estimate(alkalinity: float, carbon: float, k1: float, k2: float, kw: float) -> float:
    """The pH, roughly: a quadratic that leaves out what is small on its side of half neutralisation."""
    if alkalinity < carbon / 2:
        return -math.log10(positive_root(1, alkalinity + k1, k1 * (alkalinity - carbon) - kw))
    bicarbonate = max(carbon - abs(alkalinity - carbon), 0)
    return -math.log10(positive_root(1 + bicarbonate / k1, alkalinity - carbon, -kw - bicarbonate * k2))


def positive_root(square: float, linear: float, constant: float) -> float:
    """The positive root of a quadratic whose constant is below zero, free of cancellation."""
    root = math.sqrt(linear * linear - 4 * square * constant)
    return (root - linear) / 2 / square if linear < 0 else -2 * constant / (linear + root)


def nearer(ph: float, alkalinity: float, carbon: float, k1: float, k2: float, kw: float) -> float:
    """A pH nearer to the balance than `ph`: one step of Newton's method, held to 2 so that a poor guess stays in reach.

    The balance is written as acids = bases, all terms positive, against bicarbonate as the zero level where most
    carbon is bicarbonate or carbonate and against carbon dioxide where most of it is that. The logarithm of acids /
    bases is then nearly straight in the pH, and few steps are enough.
    """
    h = 10**-ph
    acid = h / k1
    base = k2 / h
    bicarbonate = carbon / (1 + acid + base)
    hydroxide = kw / h
    if alkalinity < carbon / 2:
        acids = h + max(alkalinity, 0)
        bases = (1 + 2 * base) * bicarbonate + hydroxide + max(-alkalinity, 0)
        fall = (acid + base + 4 * acid * base) * bicarbonate / (1 + acid + base) + hydroxide
        return ph + max(-2, min(2, math.log10(acids / bases) / (h / acids + fall / bases)))
    acids = acid * bicarbonate + h + max(alkalinity - carbon, 0)
    bases = base * bicarbonate + hydroxide + max(carbon - alkalinity, 0)
    rise = acid * bicarbonate * (1 + 2 * base) / (1 + acid + base) + h
    fall = base * bicarbonate * (1 + 2 * acid) / (1 + acid + base) + hydroxide
    return ph + max(-2, min(2, math.log10(acids / bases) / (rise / acids + fall / bases)))
