"""How a bath runs: who settles when, when a packet is added, when each fish comes out and swims again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from random import Random

from demo.species import Species

PATIENCE = 215  # a packet is added when a fish has not settled for so long [s]
GIVEN_UP = 780  # a fish still unsettled is taken out [s]
LAST_SECOND = 2400


@dataclass
class FishCourse:
    """Seconds since the bath started, of one fish; None where it never happened."""

    tolerance: float
    into: int
    depth: float = 0.0  # 1 is the working stage
    balance: int | None = None
    working: int | None = None
    out: int = 0
    recovered: int = 0


@dataclass
class Course:
    """One bath from first fish in to last fish out; times in seconds since its start, dose in mg/L."""

    fish: list[FishCourse]
    dose: float
    top_ups: list[int] = field(default_factory=list)

    @property
    def ended(self) -> int:
        return max(fish.out for fish in self.fish)


def run(
    random: Random,
    species: Species,
    temperature: float,
    doses: tuple[float, float, float],
    tolerances: Sequence[float],
) -> Course:
    """Let fish go through a bath.

    Parameters
    ----------
    temperature : of the bath. [C]
    doses : start dose, step, limit. [mg/L]
    tolerances : one for each fish; 1 is an ordinary fish.
    """
    start, step, limit = doses
    course = Course([], start)
    into = 0
    for tolerance in tolerances:
        course.fish.append(FishCourse(tolerance, into))
        into += random.randint(20, 65)
    next_packet = PATIENCE + random.randint(0, 40)
    for second in range(LAST_SECOND):
        waiting = [fish for fish in course.fish if fish.working is None and 0 <= second - fish.into < GIVEN_UP]
        for fish in waiting:
            _deepen(fish, second, species.speed(course.dose, temperature, fish.tolerance), random)
        slow = any(fish.working is None and second - fish.into >= PATIENCE for fish in waiting)
        if slow and second >= next_packet and course.dose < limit:
            course.dose = min(course.dose + step, limit)
            course.top_ups.append(second)
            next_packet = second + random.randint(130, 190)
    _handle(random, species, temperature, course)
    return course


def _deepen(fish: FishCourse, second: int, speed: float, random: Random) -> None:
    fish.depth += speed
    if fish.balance is None and fish.depth >= 0.6 + 0.05 * random.random():
        fish.balance = second + 1
    if fish.depth >= 1:
        fish.working = second + 1


def _handle(random: Random, species: Species, temperature: float, course: Course) -> None:
    """One fish after the other is weighed, measured, looked at and scraped, then goes to the recovery bath."""
    free = 0
    for fish in sorted(course.fish, key=lambda fish: fish.working or fish.into + GIVEN_UP):
        ready = fish.working if fish.working is not None else fish.into + GIVEN_UP
        fish.out = max(ready, free) + (random.randint(38, 105) if fish.working is not None else 5)
        free = fish.out
        deep = fish.out - fish.working if fish.working is not None else 0
        fish.recovered = fish.out + round(species.recovery(random, course.dose, temperature, deep))
