"""The plan of a visit: every packet to weigh, its label, totals against the store, what is due, what to take along."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, NamedTuple

from workbook_tools.across.store_stock import NO_STORE, Take, holding, product
from workbook_tools.errors import ReadError
from workbook_tools.functions.quantities.amounts import amount, short
from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.layout.compute import Computed, Row
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import id_key, id_text
from workbook_tools.layout.load import FORMATS
from workbook_tools.layout.shown_values import as_shown
from workbook_tools.log.card import CAUTIONS, card_of
from workbook_tools.log.checking.log_check import CheckedLog
from workbook_tools.log.gate import Despite, GivenRow, passed

BUFFER = "sodium bicarbonate"
SPARE = "Spare top-up"
NO_ID = "(bath without a name)"
SMALL = 0.5  # g: half of 0.01 g, the last digit of many field scales, is 1 % of it
CHECKLIST = (
    "Scale, calibration weight, weighing boats; gloves, eye protection; weigh away from food",
    "Gloves rinsed of powder before fish or gills are touched",
    "Packets labelled, spare packets with them, each checked against this plan",
    "Thermometer, oxygen meter, pH meter or strips, alkalinity test",
    "Aeration for every bath and for the recovery bath, with spare battery",
    "Lid that can be secured, for the excitement as balance is lost",
    "Recovery bath of clean, aerated water of the same temperature, made before the first fish goes in",
    "Watch for stage times and opercular counts; examination sheet, pencil",
    "Nets, wet cloth or sling, balance for the fish, measuring board; mind spines",
    "Slides, cover slips, preservative, sample tubes, laboratory sheet",
    "Container for waste bath water, and where it may go",
)


class OfferedDose(NamedTuple):
    """A start dose for a species and an agent [mg/L], and in words what it rests on."""

    dose: float
    words: str


@dataclass(frozen=True)
class Packet:
    """One substance weighed for one step of one bath; its label has all of it."""

    bath: str
    name: str
    kind: str  # "drug" or "buffer"
    substance: str
    mass: float  # [g]
    vessel: str
    litres: float
    dose: float  # in the bath once it is in, or for a spare its rise [mg/L]
    spare: bool
    effect: str


@dataclass(frozen=True)
class PlannedBath:
    """One bath of the plan; doses in mg/L. `dose_from` is "typed", "suggested", "reference" or "" where none is."""

    bath: str
    vessel: str
    species: str
    use: str
    agent: str
    litres: float | None
    dose: float | None
    dose_from: str
    dose_words: str
    step: float | None
    limit: float | None
    active: float | None
    packets: tuple[Packet, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Total:
    """Grams of one product over all baths of the plan, and where to take them from."""

    substance: str
    planned: float
    spare: float
    takes: tuple[Take, ...] = ()
    shortage: float = 0.0

    @property
    def whole(self) -> float:
        return self.planned + self.spare


@dataclass(frozen=True)
class FollowUp:
    """Something promised at an earlier visit and still open."""

    due: str
    what: str


@dataclass(frozen=True)
class VisitPlan:
    """All of it. Masses in g, volumes in L, doses in mg/L; `date` as the calendar writes it."""

    visit: str
    date: str
    site: str
    site_name: str
    purpose: str
    baths: tuple[PlannedBath, ...]
    totals: tuple[Total, ...]
    store_words: tuple[str, ...]
    follow_ups: tuple[FollowUp, ...]
    notes: tuple[str, ...]
    checklist: tuple[str, ...] = CHECKLIST
    cautions: tuple[str, ...] = CAUTIONS
    despite: tuple[str, ...] = ()

    @property
    def packets(self) -> tuple[Packet, ...]:
        return tuple(packet for bath in self.baths for packet in bath.packets)

    def as_dict(self) -> dict[str, Any]:
        """Everything as plain data, for another program."""
        found = asdict(self)
        for total, own in zip(found["totals"], self.totals, strict=True):
            total["whole"] = own.whole
            total["takes"] = [take.as_dict() for take in own.takes]
        return found


def visit_plan(
    log: CheckedLog | Computed,
    visit: str | None = None,
    suggestions: Mapping[tuple[str, str], tuple[float, str]] | None = None,
    today: datetime.date | None = None,
    stores: Sequence[Mapping[str, Any]] | None = None,
    path: object = "the log",
    overrides: Sequence[Despite] = (),
) -> VisitPlan:
    """The plan of a visit.

    Parameters
    ----------
    log : a log that was checked, or only computed: see `log.gate.passed`.
    visit : which one, by its id; left out: the last row of the visits that has a bath planned and not yet weighed.
    suggestions : start doses by (species, agent), for baths whose own is blank: dose [mg/L] and what it rests on.
    today : the day of planning; left out, the calendar's. Lots must last until this day and until the visit.
    stores : rows of the store (lot, agent, balance in g, expiry as a day number); left out, those of the log.
    path : of the log, for what is said when there is no such visit.
    overrides : open faults that are known; they are said in the plan.

    Returns
    -------
    The plan. Where a bath has no start dose, the suggestion is taken, or the low end of the agent's reference range;
    the plan says which. Nothing is planned that is weighed already.

    Raises
    ------
    ReadError : no such visit, or none with a planned bath. FaultError : a row that it draws on has an open fault; a
        blank start dose is none here.
    """
    computed = log.computed if isinstance(log, CheckedLog) else log
    row = _chosen(computed, visit, path)
    name = id_text(row["visit"])
    own = [bath for bath in computed.data["baths"] if _same(bath["visit"], row["visit"])]
    planned = [bath for bath in own if is_planned(bath)]
    given = passed(log, _drawn(computed, row), "visit plan", overrides, path, [("start_dose", "missing")])
    known = {_pair(*key): OfferedDose(*value) for key, value in (suggestions or {}).items()}
    baths = tuple(_bath(computed, bath, known) for bath in planned)
    moment = serial(today or datetime.date.today())
    if is_number(row["date"]):
        moment = max(moment, float(row["date"]))
    lots = stores if stores is not None else _store(computed)
    totals, words = _totals(baths, lots, moment)
    site = computed.find("sites", row["site"])
    done = [id_text(bath["bath"]) for bath in own if bath["drug_weighed"] is not None or bath["started"] is not None]
    notes = [] if baths else ["No bath of this visit is planned and not yet weighed."]
    names = Counter(id_key(bath.bath) for bath in baths)
    twice = sorted({bath.bath for bath in baths if names[id_key(bath.bath)] > 1})
    notes += [f"More than one bath is called {name}: their labels cannot be told apart." for name in twice]
    notes += [f"Weighed or made already, and not in this plan: {', '.join(done)}."] if done else []
    return VisitPlan(
        name,
        as_shown(row["date"], FORMATS["date"]),
        id_text(row["site"]),
        id_text(site.get("name")),
        id_text(row["purpose"]),
        baths,
        totals,
        words,
        _follow_ups(computed, row),
        tuple(notes),
        despite=tuple(str(one) for one in given),
    )


def _drawn(computed: Computed, visit: Row) -> list[GivenRow]:
    """The rows that a plan is made of: its visit, the baths still to weigh, what is due."""
    due = {id(row) for row in _due(computed, visit)}
    found = [("visits", place) for place, row in enumerate(computed.data["visits"]) if row is visit]
    found += [
        ("baths", place)
        for place, row in enumerate(computed.data["baths"])
        if _same(row["visit"], visit["visit"]) and is_planned(row)
    ]
    return found + [("follow_ups", place) for place, row in enumerate(computed.data["follow_ups"]) if id(row) in due]


def is_planned(bath: Row) -> bool:
    """Whether a row of the baths says what to make, and nothing of it is weighed or begun."""
    named = bath["agent"] is not None or bath["start_dose"] is not None
    return named and bath["drug_weighed"] is None and bath["started"] is None


def _chosen(computed: Computed, visit: str | None, path: object) -> Row:
    rows = computed.data["visits"]
    if visit is not None:
        for row in rows:
            if _same(row["visit"], visit):
                return row
        raise ReadError(path, f"has no visit {visit!r}.")
    wanted = [bath["visit"] for bath in computed.data["baths"] if is_planned(bath)]
    for row in reversed(rows):
        if row["visit"] is not None and any(_same(row["visit"], name) for name in wanted):
            return row
    if not computed.data["baths"]:
        raise ReadError(
            path, "has no bath yet: plan one on the Baths sheet (visit, vessel, agent, start dose), and save."
        )
    raise ReadError(
        path,
        "has no visit with a bath that is planned and not yet weighed: plan one on the Baths sheet, or name a visit "
        "with --visit.",
    )


def _same(one: object, other: object) -> bool:
    return one is not None and id_key(one) == id_key(other)


def _pair(species: object, agent: object) -> tuple[str, str]:
    return id_key(species), id_key(agent)


# ------------------------------------------------------------------------------------------------------- baths


def _bath(computed: Computed, row: Row, known: Mapping[tuple[str, str], OfferedDose]) -> PlannedBath:
    """One bath, with the start dose it gets and the packets for it."""
    dose, source, words = _dose(computed, row, known)
    alone = _alone(computed, row, dose)
    worked = alone.data["baths"][0]
    card = card_of(alone, 0)
    vessel = computed.find("vessels", row["vessel"])
    place = " ".join(id_text(part) for part in (row["vessel"], vessel.get("name")) if part)
    packets = _packets(worked, card.packets, place, "" if source == "typed" else f" ({source})")
    notes = [] if card.check == "ok" else [f"Check of the Baths sheet: {card.check}"]
    if not source:
        notes.append("No start dose is typed, suggested or in the reference range: nothing to weigh yet.")
    elif not packets:
        notes.append("No packets: see the check.")
    elif len(card.packets) == 1 and row["use"] == "anaesthesia":
        missing = worked["step"] is None or worked["limit"] is None
        why = "type Step and Limit on the Baths sheet" if missing else "the limit is not above the start dose"
        notes.append(f"No top-ups and no spare: {why}.")
    light = [f"{packet.name} {packet.kind}" for packet in packets if packet.mass < SMALL]
    if light:
        notes.append(
            f"Under {SMALL:g} g a scale that shows 0.01 g may be off by over 1 %: {', '.join(light)}. Use a finer "
            "scale, or a stock solution (BATH.STOCK)."
        )
    return PlannedBath(
        id_text(row["bath"]) or NO_ID,
        place,
        id_text(row["species"]),
        id_text(row["use"]),
        id_text(row["agent"]),
        worked["water"],
        dose,
        source,
        words,
        worked["step"] if is_number(worked["step"]) else None,
        worked["limit"] if is_number(worked["limit"]) else None,
        worked["active"] if is_number(worked["active"]) else None,
        packets,
        tuple(notes),
    )


def _dose(computed: Computed, row: Row, known: Mapping[tuple[str, str], OfferedDose]) -> tuple[float | None, str, str]:
    """Start dose of a bath, where it is from, and that in words. A dose that is typed is never replaced."""
    typed = row["start_dose"]
    if typed is not None:
        if is_number(typed):
            return typed, "typed", "typed on the Baths sheet"
        return None, "typed", "what is typed on the Baths sheet is no number"
    agent = computed.find("agents", row["agent"])
    low, high = agent.get("low"), agent.get("high")
    suggestion = known.get(_pair(row["species"], row["agent"]))
    if suggestion is not None:
        words = f"suggested, not typed: {suggestion.words}"
        if is_number(low) and is_number(high) and not low <= suggestion.dose <= high:
            words += f" Outside the reference range of {short(low)} to {short(high, 'mg/L')}."
        return suggestion.dose, "suggested", words
    if is_number(low):
        source = id_text(agent.get("source"))
        words = f"reference, not typed: low end of the range of {short(low)} to {short(high, 'mg/L')}"
        return float(low), "reference", f"{words} ({source})" if source else words
    return None, "", "no start dose"


def _alone(computed: Computed, row: Row, dose: float | None) -> Computed:
    """The one bath computed by the layout itself with its start dose, beside the rows it refers to and nothing else."""
    tables = computed.layout.tables
    data: dict[str, list[Row]] = {key: computed.data[key] for key, table in tables.items() if not table.log}

    def gather(key: str, found: Row) -> None:
        for column in tables[key].typed:
            other = computed.find(column.to, found[column.key]) if column.kind == "reference" else None
            if other and not any(_same(other[tables[column.to].key_column.key], r[tables[column.to].key_column.key])
                                 for r in data.get(column.to, [])):  # fmt: skip
                data.setdefault(column.to, []).append(dict(other))
                gather(column.to, other)

    gather("baths", row)
    given = row["start_dose"] if row["start_dose"] is not None else dose
    typed = {column.key: row[column.key] for column in tables["baths"].typed}
    return Computed(computed.layout, {**data, "baths": [typed | {"start_dose": given}]})


def _packets(
    row: Row, steps: Sequence[tuple[str, float, float, float | None, float]], vessel: str, said: str
) -> tuple[Packet, ...]:
    """Packets of a bath, drug and buffer of each step apart, and one top-up to spare; `said` is put to each dose."""
    bath, agent, litres = id_text(row["bath"]) or NO_ID, product(row["agent"]), row["water"]
    found: list[Packet] = []

    def add(name: str, dose: float, drug: float, buffer: float | None, spare: bool, effect: str) -> None:
        found.append(Packet(bath, name, "drug", agent, drug, vessel, litres, dose, spare, effect))
        if buffer is not None:
            words = f"goes in with the drug of {name}" + ("" if spare else f": {short(dose, 'mg/L')}{said}")
            found.append(Packet(bath, name, "buffer", BUFFER, buffer, vessel, litres, dose, spare, words))

    for name, dose, drug, buffer, _ in steps:
        add(name, dose, drug, buffer, False, f"brings the bath to {short(dose, 'mg/L')}{said}")
    if len(steps) > 1:
        (_, start, *_), (_, second, drug, buffer, _) = steps[:2]
        rise = second - start
        words = f"raises the bath by {short(rise, 'mg/L')}; never past {short(steps[-1][1], 'mg/L')}"
        add(SPARE, rise, drug, buffer, True, words)
    return tuple(found)


# ------------------------------------------------------------------------------------------ totals, what is due


def _totals(
    baths: Sequence[PlannedBath], lots: Sequence[Mapping[str, Any]] | None, moment: float
) -> tuple[tuple[Total, ...], tuple[str, ...]]:
    """Grams of each product over all baths, against the store where one is kept."""
    planned: dict[str, float] = {}
    spare: dict[str, float] = {}
    names: dict[str, str] = {}
    shares: dict[str, set[float]] = {}
    for bath in baths:
        for packet in bath.packets:
            key = id_key(packet.substance)
            names.setdefault(key, packet.substance)
            part = spare if packet.spare else planned
            part[key] = part.get(key, 0.0) + packet.mass
            if packet.kind == "drug":
                shares.setdefault(key, set()).add(1.0 if bath.active is None else bath.active)
    words = [NO_STORE] if lots is None and names else []
    words += [
        f"{names[key]}: the baths use products of different active share; weigh each from its own pack."
        for key, found in shares.items()
        if len(found) > 1
    ]
    totals = []
    for key, name in names.items():
        total = Total(name, planned.get(key, 0.0), spare.get(key, 0.0))
        if lots is not None:
            held = holding(name, total.whole, lots, moment)
            total = Total(name, total.planned, total.spare, held.takes, held.shortage)
            words += held.words
        totals.append(total)
    return tuple(totals), tuple(words)


def _store(computed: Computed) -> list[Row] | None:
    """Lots of the log's store that are kept in grams, as `holding` asks for them; None where no store is kept."""
    table = computed.layout.tables["stores"]
    rows = [row for row in computed.data["stores"] if table.in_use(row)]
    return [{**row, "agent": row["item"]} for row in rows if row["unit"] != "mL"] if rows else None


def _follow_ups(computed: Computed, visit: Row) -> tuple[FollowUp, ...]:
    """Open follow-ups of the visit's site that are due by its date; a due date that cannot be read counts as due."""
    found = []
    for row in _due(computed, visit):
        due = row.get("due")
        shown = as_shown(due, FORMATS["date"])
        found.append((float(due) if is_number(due) else float("inf"), FollowUp(shown, id_text(row.get("what")))))
    return tuple(follow_up for _, follow_up in sorted(found, key=lambda pair: pair[0]))


def _due(computed: Computed, visit: Row) -> list[Row]:
    """Rows of the follow-ups that are open and due by a visit."""
    found = []
    for row in computed.data.get("follow_ups", []):
        due = row.get("due")
        open_still = row.get("done") is None or id_key(row.get("done")) == "no"
        late = not is_number(due) or not is_number(visit["date"]) or due <= visit["date"]
        if open_still and late and _same(row.get("site"), visit["site"]):
            found.append(row)
    return found


def takes_in_words(total: Total) -> str:
    """Which lots to take for a total; a dash where none."""
    parts = []
    for take in total.takes:
        expiry = "no expiry date" if take.expiry is None else f"expires {as_shown(take.expiry, FORMATS['date'])}"
        parts.append(f"lot {take.lot}: {amount(take.grams, 'g')} ({expiry})")
    return "; ".join(parts) or "-"
