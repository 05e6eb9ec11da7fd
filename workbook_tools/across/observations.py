"""What each fish of the log says of its bath: time to the working stage, recovery and anything that went wrong.

Rules of the time to the working stage, all measured from when the fish went in:

- a fish that reached the stage is observed at its seconds to the working stage;
- where the bath got a top-up before that, the fish is censored at the top-up, since from there on it was in another
  dose; a top-up at or after the stage changes nothing;
- a fish that is said not to have settled is censored when it left the bath, or at the top-up if that came first;
- a fish whose times are missing, impossible or against each other says nothing of the time and is counted with its
  reason. It still counts for what went wrong: harm is never left out for want of a time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeGuard

from workbook_tools.errors import ArgumentError
from workbook_tools.functions.formulas import stage
from workbook_tools.layout.compute import Computed, Row
from workbook_tools.layout.ids import id_key

BAND_WIDTH = 5  # width of a temperature band, bands counted from 0 C on; own choice, no source [C]
LONGEST = 14400  # a longer time is a slip of the hand, as the Check column has it [s]
RECOVERY_TARGET = 300  # recovery should take no longer: common practice, no source [s]
WEIGHING_ERROR = 0.05  # beyond it the drug weighed was not the start dose, as the Check column has it [1]

NO_BATH = "its bath is not on the Baths sheet"
NO_USE = "the use of its bath is not said"
NO_SPECIES = "its species is missing"
NO_AGENT = "the agent of its bath is missing"
NO_DOSE = "the start dose of its bath is missing or no number above 0"
OTHER_DOSE = "the drug weighed for its bath differs from the drug to weigh by over 5 %"
NO_TEMPERATURE = "the temperature of its bath is missing or out of range"
IMPOSSIBLE = "its times are no times, impossible or against each other"
NOT_TIMED = "its time in, or its working stage or time out, is missing"
TOP_UP_NOT_TIMED = "its bath was topped up at a time that is missing or not usable"
IN_AFTER_TOP_UP = "it went in after the first top-up"

SLOW = "slow recovery"
DEATHS = ("died in the bath", "died later")


@dataclass(frozen=True)
class Fish:
    """One fish of an anaesthetic bath.

    `seconds` is the time to the working stage where `reached`, otherwise how long the fish was seen not to reach it;
    None where `left_out` gives the reason. `band` is the lower edge of the temperature band [C]. `adverse` is what
    went wrong, '' for nothing noted. `ending_known` says whether anything was noted of what became of the fish.
    """

    species: str
    agent: str
    band: int | None
    dose: float | None  # [mg/L]
    bath: str
    day: float | None  # day number
    seconds: float | None
    reached: bool
    left_out: str
    recovery: float | None  # [s]
    adverse: str
    died: bool
    ending_known: bool

    @property
    def troubled(self) -> bool:
        """Whether it had an adverse event, died or took longer than 300 s to recover."""
        return self.hurt or bool(self.adverse) or (self.recovery is not None and self.recovery > RECOVERY_TARGET)

    @property
    def hurt(self) -> bool:
        """Whether it died or had an adverse event other than a slow recovery."""
        return self.died or self.adverse not in ("", SLOW)


def anaesthetised(computed: Computed) -> list[Fish]:
    """Every fish of the log but those of baths for another use, in the order of the Fish sheet."""
    table = computed.layout.tables["fish"]
    found = []
    for row in computed.data["fish"]:
        if table.in_use(row):
            bath = computed.find("baths", row["bath"])
            use = id_key(bath.get("use"))
            if use in ("", "anaesthesia"):
                found.append(_fish(row, bath, computed))
    return found


def band_of(temperature: object) -> int | None:
    """Lower edge of the temperature band [C], or None for what cannot be the temperature of a bath."""
    if not _number(temperature) or not -2 <= temperature <= 40:
        return None
    return math.floor(temperature / BAND_WIDTH) * BAND_WIDTH


def band_words(band: int) -> str:
    """A band as it is said: 10 to under 15 C."""
    return f"{band} to under {band + BAND_WIDTH} C"


def _fish(row: Row, bath: Row, computed: Computed) -> Fish:
    species = computed.find("species", row["species"]).get("value") or str(row["species"] or "").strip()
    agent = computed.find("agents", bath.get("agent")).get("agent") or str(bath.get("agent") or "").strip()
    dose = bath.get("start_dose")
    dose = float(dose) if _number(dose) and dose > 0 else None
    band = band_of(bath.get("temperature"))
    seconds, reached, reason = _time(row, bath)
    reason = _no_place(bath, species, agent, dose) or (NO_TEMPERATURE if band is None else reason)
    recovery = row["seconds_to_recovery"]
    recovery = float(recovery) if _number(recovery) and recovery <= LONGEST else None
    noted, outcome = id_key(row["adverse"]), id_key(row["outcome"])
    return Fish(
        species,
        agent,
        band,
        dose,
        str(row["bath"]),
        bath.get("date") if _number(bath.get("date")) else None,
        None if reason else seconds,
        reached and not reason,
        reason,
        recovery,
        "" if noted == "none" else noted,
        outcome == "died" or noted in DEATHS,
        bool(noted or outcome) or recovery is not None,
    )


def _no_place(bath: Row, species: str, agent: str, dose: float | None) -> str:
    """Why a fish belongs to no species, agent and dose; '' where it does."""
    drug, weighed = bath.get("drug"), bath.get("drug_weighed")
    low, high = ((1 - WEIGHING_ERROR) * drug, (1 + WEIGHING_ERROR) * drug) if _number(drug) else (-math.inf, math.inf)
    other = _number(weighed) and not low <= weighed <= high
    reasons = (
        (not bath.get("bath"), NO_BATH),
        (not id_key(bath.get("use")), NO_USE),
        (not species, NO_SPECIES),
        (not agent, NO_AGENT),
        (dose is None, NO_DOSE),
        (other, OTHER_DOSE),
    )
    return next((reason for broken, reason in reasons if broken), "")


def _time(row: Row, bath: Row) -> tuple[float | None, bool, str]:
    """Seconds, whether the stage was reached at them, and the reason where there are none."""
    seconds, reached, reason = _without_top_up(row)
    if reason:
        return None, False, reason
    top_up, reason = _to_top_up(row, bath)
    if reason:
        return None, False, reason
    return (top_up, False, "") if top_up < seconds else (seconds, reached, "")


def _without_top_up(row: Row) -> tuple[float, bool, str]:
    """The same as if the bath had got no top-up."""
    stages = ("balance", "working", "out")
    spans = [row[key] for key in ("seconds_to_balance", "seconds_to_working", "seconds_in_bath")]
    working, out = spans[1:]
    if row["into"] is None and not by_stopwatch(row):
        return 0, False, NOT_TIMED
    noted = [span for key, span in zip(stages, spans, strict=True) if row[key] is not None]
    if not all(_number(span) and 0 <= span <= LONGEST for span in noted) or sorted(noted) != noted:
        return 0, False, IMPOSSIBLE
    unsettled = id_key(row["settled"]) == "no"
    end = out if working is None else working
    if working is None and (out is None or not unsettled):  # a blank alone does not say that it never settled
        return 0, False, NOT_TIMED
    if end == 0 or (working is not None and unsettled):
        return 0, False, IMPOSSIBLE
    return float(end), working is not None, ""


def _to_top_up(row: Row, bath: Row) -> tuple[float, str]:
    """Seconds from when the fish went in to the first top-up, without end where none is noted; or the reason."""
    given, first = bath.get("topups"), bath.get("first_topup")
    if first is None and given in (None, 0):
        return math.inf, ""
    if by_stopwatch(row):
        after = row["seconds_to_topup"]
        if not _number(after) or after > LONGEST:
            return math.inf, TOP_UP_NOT_TIMED
        return (after, "") if after > 0 else (math.inf, IN_AFTER_TOP_UP)
    after = _between(row["into"], first)
    if after is not None and 0 < after <= LONGEST:
        return after, ""
    before = _between(first, row["into"])
    late = before is not None and before <= LONGEST
    return math.inf, IN_AFTER_TOP_UP if late else TOP_UP_NOT_TIMED


def by_stopwatch(row: Row) -> bool:
    """Whether the times of a fish are those of its bath's stopwatch, on which blank means from the start."""
    return id_key(row["mode"]) == "stopwatch"


def _between(start: object, end: object) -> float | None:
    """STAGE.SECONDS, or None where it refuses."""
    try:
        return stage.seconds(start, end)  # type: ignore[arg-type]
    except ArgumentError:
        return None


def _number(value: object) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
