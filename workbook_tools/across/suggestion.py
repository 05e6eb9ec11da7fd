"""The next start dose that a record supports, or silence and why. It is a ladder, climbed from the lowest dose tried.

At each dose, from the lowest up:

1. Fewer than 5 fish in 2 baths with a known time and ending: the dose is passed over; its harm still counts above.
2. Too much harm there, or at all doses so far together, or too few fish known to be well: the ladder ends. Risk is
   taken not to fall as the dose rises, so no higher dose is suggested either.
3. Enough fish reached the working stage within 3 min without trouble: this is the suggestion, if it stands inside the
   agent's reference range.
4. It would have been enough had the fish in trouble reached the stage: the ladder ends. A fish in trouble never speaks
   for a higher dose.
5. Otherwise the dose was too weak, and the next one is looked at.

Silence where the ladder ends without a suggestion, also where no dose tried was strong enough: a dose that did not work
is no answer, and a dose that was not tried has no record. The words name the strongest dose that did no harm.

What follows, and is tested. More harm in the record never raises the suggestion, and never brings one where there was
silence: an adverse event, a death, a recovery past 5 min, at any dose, in a fish already there or in one more fish,
fast or slow. Slower fish may raise it, which is right, but only to a dose that passed 1 to 3 with all doses below it.
A fish that turns out slower than 3 min never lowers it.

The share within 3 min is the estimate and not the lower end of its interval: asking for proof of strength would pass
over a dose that works for a stronger one with more fish. Harm is judged by its plain share among the fish it befell and
those that came through well.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from workbook_tools.across.observations import LONGEST, Fish
from workbook_tools.across.survival import WORKING_TARGET, share_within

MINIMUM_FISH = 5  # at a dose, with a known time and ending; all six limits are our own choice, no source
MINIMUM_BATHS = 2
SHARE_TARGET = 0.8  # share to be at the working stage within 180 s [1]
SLOW_LIMIT = 0.2  # most fish with a recovery over 300 s, an adverse event or a death, of them and those well [1]
HURT_LIMIT = 0.1  # most fish with an adverse event other than a slow recovery, or a death; likewise [1]
DEATH_LIMIT = 0.01  # most fish dead, likewise: none where fewer than 99 came through well [1]
ROUNDING = 1e-9
CAUTION = "reference values; the label in force, local law and the prescribing veterinarian decide."


@dataclass(frozen=True)
class Suggestion:
    """A start dose [mg/L] or None, the reason in words, and the caution that belongs to every suggestion."""

    dose: float | None
    words: str
    caution: str

    @property
    def sentence(self) -> str:
        """Words and caution together."""
        return f"{self.words} {self.caution}"


@dataclass(frozen=True)
class Step:
    """What one dose of the ladder says: "thin", "harm", "enough", "held" or "weak", and why in words."""

    dose: float
    verdict: str
    words: str


def suggested(fish: Sequence[Fish], low: float | None, high: float | None) -> Suggestion:
    """Suggested start dose for one species, agent and temperature band.

    Parameters
    ----------
    fish : every fish of them, also those without a time; and fish in trouble whose band is not known.
    low, high : reference range of the agent, None where it has none for anaesthesia. [mg/L]

    Returns
    -------
    The suggestion.

    Raises
    ------
    MissingLibraryError : lifelines is not installed and a dose has fish enough to be judged.
    """
    caution = f"{counted_fish(_timed(fish))}; {CAUTION}"
    if low is None or high is None or low > high:
        return Suggestion(None, "No dose is suggested: the Reference sheet has no range of this agent for it.", caution)
    passed: list[Step] = []
    for dose in sorted({one.dose for one in fish if one.dose is not None and one.dose <= high}):
        step = judged(fish, dose)
        if step.verdict == "enough" and dose >= low:
            words = f"{dose:g} mg/L, the lowest dose tried that worked in 3 min without much harm: {step.words}."
            return Suggestion(dose, words, f"{counted_fish(_timed(fish, dose))} at this dose; {CAUTION}")
        if step.verdict in ("harm", "held"):
            return Suggestion(None, f"No dose is suggested from {dose:g} mg/L up: {step.words}.", caution)
        passed.append(step)
    return Suggestion(None, _silence(passed, low, high), caution)


def judged(fish: Sequence[Fish], dose: float) -> Step:
    """What the fish at a dose, and the harm up to it, say of it."""
    here = [one for one in fish if one.dose == dose]
    timed = _timed(fish, dose)
    known = [one for one in timed if one.ending_known]
    if not enough(known):
        return Step(dose, "thin", f"{counted_fish(known)} with a known time and ending")
    upward = [one for one in fish if one.dose is not None and one.dose <= dose]
    harm = _harm(here, f"at {dose:g} mg/L") or _harm(upward, f"up to {dose:g} mg/L")
    if harm:
        return Step(dose, "harm", harm)
    well = _well(timed)
    if not enough(well):
        return Step(dose, "harm", f"{counted_fish(well)} known to have come through well, fewer than {_minimum()}")
    share = _share(timed, troubled_reached=False)
    words = f"{_percent(share)} of {counted_fish(timed)} without trouble, {_percent(SHARE_TARGET)} wanted"
    if share >= SHARE_TARGET - ROUNDING:
        return Step(dose, "enough", words)
    if _share(timed, troubled_reached=True) >= SHARE_TARGET - ROUNDING:
        held = "it would be enough but for fish in trouble, and those never speak for a higher dose"
        return Step(dose, "held", f"{words}; {held}")
    return Step(dose, "weak", words)


def enough(fish: Sequence[Fish]) -> bool:
    """Whether there are fish and baths enough to judge a dose."""
    return len(fish) >= MINIMUM_FISH and len({one.bath for one in fish}) >= MINIMUM_BATHS


def counted_fish(fish: Sequence[Fish]) -> str:
    """So many fish in so many baths."""
    baths = len({one.bath for one in fish})
    return f"{len(fish)} fish in {baths} bath{'' if baths == 1 else 's'}"


def _share(timed: Sequence[Fish], troubled_reached: bool) -> float:
    """Share within 180 s with the fish in trouble counted as never reaching the stage, or as reaching it in time.

    In time means at their own time, at the latest at 180 s. Both are chosen so that more harm can only lower the first
    and raise the second, whatever was censored in between.
    """
    seconds, reached = [], []
    for one in timed:
        assert one.seconds is not None
        if not one.troubled:
            second, there = one.seconds, one.reached
        elif troubled_reached:
            second, there = min(one.seconds, WORKING_TARGET), True
        else:
            second, there = LONGEST + 1, False
        seconds.append(second)
        reached.append(there)
    return share_within(seconds, reached)


def _timed(fish: Sequence[Fish], dose: float | None = None) -> list[Fish]:
    """Fish with a usable time, at one dose or at all."""
    return [one for one in fish if one.seconds is not None and dose in (None, one.dose)]


def _harm(fish: Sequence[Fish], where: str) -> str:
    """Why the harm among fish is too much, in words; '' where it is not.

    Each grade of harm is held against the fish that came through well. A lesser harm stays out of the denominator of a
    graver one: otherwise one more slow recovery would make a death look rarer.
    """
    well = len(_well(fish))
    tests = (
        (sum(one.died for one in fish), DEATH_LIMIT, "died"),
        (sum(one.hurt for one in fish), HURT_LIMIT, "died or had an adverse event"),
        (sum(one.troubled for one in fish), SLOW_LIMIT, "had an adverse event or took over 5 min to recover"),
    )
    for number, limit, what in tests:
        if number > limit * (number + well) + ROUNDING:
            return f"{where} {number} fish {what} and {well} came through well: over {_percent(limit)} of these"
    return ""


def _well(fish: Sequence[Fish]) -> list[Fish]:
    """Fish known to have come through well."""
    return [one for one in fish if one.ending_known and not one.troubled]


def _silence(passed: Sequence[Step], low: float, high: float) -> str:
    """Why a ladder climbed to its end gave no dose."""
    weak = [step for step in passed if step.verdict == "weak" and step.dose >= low]
    if weak:
        best = weak[-1]
        return (
            "No dose is suggested: none that was tried brought enough fish to the working stage in 3 min. The highest "
            f"that could be judged is {best.dose:g} mg/L, with little enough harm: {best.words}."
        )
    inside = [step for step in passed if step.dose >= low]
    if inside:
        each = "; ".join(f"{step.dose:g} mg/L: {step.words}" for step in inside)
        return f"No dose is suggested: too few fish yet, a dose is judged from {_minimum()} on. So far {each}."
    return f"No dose is suggested: none was tried inside the reference range of {low:g} to {high:g} mg/L."


def _minimum() -> str:
    return f"{MINIMUM_FISH} fish in {MINIMUM_BATHS} baths"


def _percent(share: float) -> str:
    return f"{math.floor(share * 1000 + ROUNDING) / 10:g} %"  # down: 79.96 % must not read as the 80 % wanted
