"""The trade's formulas, each written down from its source; plain Python, nothing of the package that is tested."""

from __future__ import annotations

import math
from statistics import NormalDist

METRES = {"m": 1.0, "cm": 0.01, "ft": 0.3048, "in": 0.0254}  # international foot and inch, 1959


def litres(shape: str, long: float, wide: float, deep: float, cone: float) -> float:
    """Water in a vessel measured in metres: areas and solids of school geometry, 1000 L to a cubic metre."""
    circle = math.pi * (long / 2) ** 2
    floor = {
        "rectangle": long * wide,
        "round": circle,
        "round with cone": circle,
        "oval": math.pi * (long / 2) * (wide / 2),
        "straight sides, round ends": (long - wide) * wide + math.pi * (wide / 2) ** 2,
    }[shape]
    return (floor * deep + (circle * cone / 3 if "cone" in shape else 0)) * 1000


def grams(water: float, dose: float, active: float) -> float:
    """Product for a dose: L x mg/L is mg of active substance; SRAC 410, Calculating Treatments for Ponds and Tanks."""
    return water * dose / active / 1000


def unionised(total: float, ph: float, celsius: float) -> float:
    """Un-ionised ammonia of fresh water: Emerson, Russo, Lund & Thurston 1975, J. Fish. Res. Board Can. 32:2379."""
    acidity = 0.09018 + 2729.92 / (celsius + 273.15)
    return total / (1 + 10 ** (acidity - ph))


def kilopascals(altitude: float) -> float:
    """Air pressure at an altitude: ISO 2533:1975, standard atmosphere up to 11 km."""
    lapse, gravity, gas = 0.0065, 9.80665, 287.05287
    return 101.325 * ((288.15 - lapse * altitude) / 288.15) ** (gravity / (gas * lapse))


def saturated(celsius: float, salinity: float, pressure: float) -> float:
    """Oxygen at saturation: Benson & Krause 1984, Limnology and Oceanography 29:620; Standard Methods 4500-O."""
    kelvin = celsius + 273.15
    logarithm = (
        -139.34411
        + 1.575701e5 / kelvin
        - 6.642308e7 / kelvin**2
        + 1.243800e10 / kelvin**3
        - 8.621949e11 / kelvin**4
        - salinity * (1.7674e-2 - 10.754 / kelvin + 2140.7 / kelvin**2)
    )
    atmospheres = pressure / 101.325
    vapour = math.exp(11.8571 - 3840.70 / kelvin - 216961 / kelvin**2)
    theta = 0.000975 - 1.426e-5 * celsius + 6.436e-8 * celsius**2
    moist = (1 - vapour / atmospheres) * (1 - theta * atmospheres) / ((1 - vapour) * (1 - theta))
    return math.exp(logarithm) * atmospheres * moist


def carbon_dioxide(ph: float, alkalinity: float, celsius: float) -> float:
    """Free carbon dioxide of fresh water from pH and alkalinity (Stumm & Morgan, Aquatic Chemistry).

    Constants: Plummer & Busenberg 1982, Geochimica et Cosmochimica Acta 46:1011.
    """
    kelvin = celsius + 273.15

    def constant(a: float, b: float, c: float, d: float, e: float) -> float:
        return float(10 ** (a + b * kelvin + c / kelvin + d * math.log10(kelvin) + e / kelvin**2))

    first = constant(-356.3094, -0.06091964, 21834.37, 126.8339, -1684915)
    second = constant(-107.8871, -0.03252849, 5151.79, 38.92561, -563713.9)
    water = constant(-283.971, -0.05069842, 13323, 102.24447, -1119669)
    hydrogen = 10**-ph
    equivalents = alkalinity / (100.087 / 2) / 1000
    bicarbonate = (equivalents - water / hydrogen + hydrogen) / (1 + 2 * second / hydrogen)
    return bicarbonate * hydrogen / first * 44.0095 * 1000


def wilson(positive: float, sampled: float) -> tuple[float, float]:
    """95 % interval of a share: Wilson 1927; Newcombe 1998, Statistics in Medicine 17:857, method 3."""
    z = NormalDist().inv_cdf(0.975)
    share = positive / sampled
    middle = share + z * z / (2 * sampled)
    half = z * math.sqrt(share * (1 - share) / sampled + z * z / (4 * sampled**2))
    low, high = ((middle + sign * half) / (1 + z * z / sampled) for sign in (-1, 1))
    return (0.0 if positive == 0 else low), (1.0 if positive == sampled else high)
