"""What the log has learned about each species: how each start dose worked, and the next start dose it supports."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from workbook_tools.across.observations import RECOVERY_TARGET, Fish, anaesthetised, band_words
from workbook_tools.across.suggestion import Suggestion, suggested
from workbook_tools.across.survival import Curve, curve
from workbook_tools.functions.formulas import sample
from workbook_tools.layout.compute import Computed
from workbook_tools.layout.ids import id_key
from workbook_tools.layout.shown_values import EPOCH

COLUMNS = (
    *("species", "agent", "band", "dose", "fish", "baths", "median", "low", "high"),
    *("quick", "soon", "adverse", "suggested", "words", "on"),
)


@dataclass(frozen=True)
class DoseResponse:
    """How one start dose worked in one temperature band.

    `fish` and `baths` are those with a usable time, `seen` counts all fish of the dose. `recovered` of
    `recovery_known` fish were recovered within 300 s; a fish that died before it recovered counts as not recovered.
    `adverse` counts the events by kind over all fish seen, `died` the deaths among them. Days are day numbers.
    """

    dose: float  # [mg/L]
    fish: int
    baths: int
    seen: int
    curve: Curve | None  # None where no fish has a usable time
    recovered: int
    recovery_known: int
    adverse: dict[str, int]
    died: int
    first: float | None
    last: float | None

    @property
    def events(self) -> int:
        """Fish with an adverse event or dead."""
        return sum(self.adverse.values())

    @property
    def recovered_share(self) -> float | None:
        return self.recovered / self.recovery_known if self.recovery_known else None

    @property
    def recovered_interval(self) -> tuple[float | None, float | None]:
        """Wilson's 95 % interval of the share recovered."""
        if not self.recovery_known:
            return None, None
        pair = self.recovered, self.recovery_known
        return sample.low(*pair), sample.high(*pair)

    def as_dict(self) -> dict[str, Any]:
        """Plain data; shares from 0 to 1, times in seconds."""
        low, high = self.recovered_interval
        shape = self.curve
        return {
            "dose mg/L": self.dose,
            "fish": self.fish,
            "baths": self.baths,
            "fish seen": self.seen,
            "median s": shape and shape.median,
            "median low": shape and shape.median_low,
            "median high": shape and shape.median_high,
            "share in 3 min": shape and shape.share,
            "share in 3 min at least": shape and shape.at_least,
            "share in 3 min low": shape and shape.share_low,
            "share in 3 min high": shape and shape.share_high,
            "recovered in 5 min": self.recovered,
            "recovery known": self.recovery_known,
            "recovered low": low,
            "recovered high": high,
            "adverse": self.adverse,
            "died": self.died,
            "from": day_words(self.first),
            "to": day_words(self.last),
        }


@dataclass(frozen=True)
class Lesson:
    """One species, agent and temperature band: every dose tried, and the suggestion.

    `adverse` and `seen` are over all doses and bands of the species and agent.
    """

    species: str
    agent: str
    band: int  # lower edge [C]
    responses: tuple[DoseResponse, ...]
    suggestion: Suggestion
    adverse: dict[str, int]
    seen: int

    @property
    def title(self) -> str:
        return f"{self.species}, {self.agent}, {band_words(self.band)}"

    @property
    def harm(self) -> str:
        """Adverse events of the species and agent at any dose and temperature, in words."""
        kinds = ", ".join(f"{kind} {count}" for kind, count in self.adverse.items())
        said = f"{sum(self.adverse.values())} of {self.seen} fish"
        return f"Adverse events at any dose and temperature: {said}{f' ({kinds})' if kinds else ''}."

    @property
    def words(self) -> str:
        """Suggestion, harm and caution in whole sentences."""
        return f"{self.suggestion.words} {self.harm} {self.suggestion.caution}"

    def as_dict(self) -> dict[str, Any]:
        return {
            "species": self.species,
            "agent": self.agent,
            "band": band_words(self.band),
            "doses": [response.as_dict() for response in self.responses],
            "suggested start dose mg/L": self.suggestion.dose,
            "words": self.words,
        }


@dataclass(frozen=True)
class Learned:
    """All lessons, and how many fish say nothing of the time to the working stage, by reason."""

    lessons: tuple[Lesson, ...]
    left_out: dict[str, int]

    def as_dict(self) -> dict[str, Any]:
        return {"lessons": [lesson.as_dict() for lesson in self.lessons], "left out": self.left_out}

    def only(self, species: str | None = None, agent: str | None = None) -> Learned:
        """The lessons of a species, an agent or both; upper and lower case are alike."""
        wanted = [
            lesson
            for lesson in self.lessons
            if (species is None or id_key(lesson.species) == id_key(species))
            and (agent is None or id_key(lesson.agent) == id_key(agent))
        ]
        return Learned(tuple(wanted), self.left_out)


def responses(computed: Computed) -> Learned:
    """What the log has learned, by species, agent and temperature band.

    Parameters
    ----------
    computed : a log that was read and computed.

    Returns
    -------
    A lesson for each species, agent and band of 5 C with a fish in it, in that order. Only baths for anaesthesia count.

    Raises
    ------
    MissingLibraryError : lifelines is not installed.

    Notes
    -----
    Which fish counts how: `observations`. Curves and intervals: `survival`. The suggestion: `suggestion`. Fish in
    trouble whose bath has no temperature count for the harm of their dose in every band; where the dose is not known
    either, they show in the adverse events at any dose alone.
    """
    fish = anaesthetised(computed)
    left_out = Counter(one.left_out for one in fish if one.left_out)
    pairs = sorted({(one.species, one.agent) for one in fish if one.species and one.agent})
    lessons: list[Lesson] = []
    for species, agent in pairs:
        own = [one for one in fish if (one.species, one.agent) == (species, agent)]
        lessons += lessons_of(own, reference_range(computed, agent))
    return Learned(tuple(lessons), dict(left_out.most_common()))


def lessons_of(fish: Sequence[Fish], limits: tuple[float | None, float | None]) -> list[Lesson]:
    """A lesson for each temperature band from all fish of one species and agent; no fish gives none.

    `limits` is the agent's reference range for anaesthesia [mg/L], None where it has none. Raises MissingLibraryError.
    """
    bands = sorted({one.band for one in fish if one.band is not None})
    return [_lesson(fish, fish[0].species, fish[0].agent, band, limits) for band in bands]


def learned_rows(computed: Computed, today: datetime.date) -> list[dict[str, Any]]:
    """Rows for the Learned table of the Summary sheet: one for each species, agent, temperature band and start dose.

    Parameters
    ----------
    computed : a log that was read and computed.
    today : the day it was computed on.

    Returns
    -------
    A dictionary for each row with the keys of COLUMNS: low and high belong to the median [s]; shares from 0 to 1;
    `adverse` is the number of fish; the suggested start dose [mg/L] and its words are those of the whole band and stand
    in each of its rows; `computed on` is a day number. A blank is None.

    Raises
    ------
    MissingLibraryError : lifelines is not installed.
    """
    day = float((datetime.datetime.combine(today, datetime.time()) - EPOCH).days)
    rows = []
    for lesson in responses(computed).lessons:
        for one in lesson.responses:
            figures = one.as_dict()
            values = (
                *(lesson.species, lesson.agent, band_words(lesson.band), one.dose, one.fish, one.baths),
                *(figures[key] for key in ("median s", "median low", "median high", "share in 3 min")),
                *(one.recovered_share, one.events, lesson.suggestion.dose, lesson.words, day),
            )
            rows.append(dict(zip(COLUMNS, values, strict=True)))
    return rows


def day_words(day: float | None) -> str | None:
    """A day number as 2026-11-25."""
    return None if day is None else f"{EPOCH + datetime.timedelta(days=day):%Y-%m-%d}"


def _lesson(
    own: Sequence[Fish], species: str, agent: str, band: int, limits: tuple[float | None, float | None]
) -> Lesson:
    """One lesson from all fish of a species and agent."""
    here = [one for one in own if one.band == band or (one.band is None and one.troubled)]
    doses = sorted({one.dose for one in own if one.band == band and one.dose is not None})
    rows = tuple(_response([one for one in own if one.band == band and one.dose == dose], dose) for dose in doses)
    return Lesson(species, agent, band, rows, suggested(here, *limits), _events(own), len(own))


def _response(fish: Sequence[Fish], dose: float) -> DoseResponse:
    """One dose from its fish."""
    pairs = [(one.seconds, one.reached) for one in fish if one.seconds is not None]
    days = [one.day for one in fish if one.day is not None]
    recoveries = [one.recovery for one in fish if one.recovery is not None or one.died]
    return DoseResponse(
        dose=dose,
        fish=len(pairs),
        baths=len({one.bath for one in fish if one.seconds is not None}),
        seen=len(fish),
        curve=curve([seconds for seconds, _ in pairs], [reached for _, reached in pairs]) if pairs else None,
        recovered=sum(second is not None and second <= RECOVERY_TARGET for second in recoveries),
        recovery_known=len(recoveries),
        adverse=_events(fish),
        died=sum(one.died for one in fish),
        first=min(days, default=None),
        last=max(days, default=None),
    )


def _events(fish: Sequence[Fish]) -> dict[str, int]:
    """Adverse events by kind, the most frequent first; a death of which no event was noted is one."""
    return dict(Counter(one.adverse or "died" for one in fish if one.adverse or one.died).most_common())


def reference_range(computed: Computed, agent: str) -> tuple[float | None, float | None]:
    """Range of an agent for anaesthesia on the Reference sheet [mg/L]; None where there is none."""
    row = computed.find("agents", agent)
    low, high = row.get("low"), row.get("high")
    numbers = all(isinstance(end, int | float) and not isinstance(end, bool) for end in (low, high))
    if not numbers or row.get("use") != "anaesthesia":
        return None, None
    return low, high
