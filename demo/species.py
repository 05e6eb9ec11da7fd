"""Fish of the invented practice: sizes, and how fast a bath of tricaine takes hold.

Every number here is invented so that the records look like records. None is a dose, a time or a weight to rely on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random


@dataclass(frozen=True)
class Species:
    """What the generator knows of a species; the numbers are invented.

    `reference_seconds` is the usual time to the working stage in `reference_dose` at `reference_temperature`.
    """

    name: str
    length_factor: float  # weight [g] = factor * length [cm] ** power
    length_power: float
    reference_dose: float  # [mg/L]
    reference_temperature: float  # [C]
    reference_seconds: float  # [s]
    recovery_seconds: float  # [s]
    breathing: float  # opercular movements of a fish at rest [/min]
    least_dose: float  # below it an ordinary fish does not settle [mg/L]

    def weight(self, random: Random, length: float) -> float:
        """Weight of a fish of a length [g], fat or thin, as a scale would show it."""
        weight = self.length_factor * math.pow(length, self.length_power) * random.gauss(1, 0.07)
        step = 0.1 if weight < 100 else 1 if weight < 1000 else 10
        return round(round(weight / step) * step, 1)

    def speed(self, dose: float, temperature: float, tolerance: float) -> float:
        """Share of the way to the working stage that a fish goes in one second [1/s].

        Grows with the dose and with warmth; a tolerant fish (above 1) is slower and needs a stronger bath to settle.
        """
        if dose < self.least_dose * tolerance:
            return 0.0
        strength = math.pow(dose / self.reference_dose, 1.8)
        warmth = math.pow(1.05, temperature - self.reference_temperature)
        return strength * warmth / (self.reference_seconds * tolerance)

    def recovery(self, random: Random, dose: float, temperature: float, handled: float) -> float:
        """Time in the recovery bath until the fish swims upright [s]; longer after a strong, cold or long bath."""
        strength = math.pow(dose / self.reference_dose, 0.6)
        cold = math.pow(1.03, self.reference_temperature - temperature)
        return self.recovery_seconds * strength * cold * (1 + handled / 400) * random.lognormvariate(0, 0.2)


SPECIES = {
    species.name: species
    for species in (
        Species("rainbow trout", 0.0105, 3.02, 80, 12, 118, 125, 84, 42),
        Species("tilapia", 0.0195, 3.0, 100, 27, 132, 150, 72, 58),
        Species("sturgeon", 0.0035, 3.1, 120, 16, 205, 185, 52, 66),
        Species("goldfish", 0.022, 3.0, 100, 20, 140, 165, 92, 56),
        Species("carp", 0.016, 3.0, 100, 16, 165, 170, 60, 60),
    )
}
