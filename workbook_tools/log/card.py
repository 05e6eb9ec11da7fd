"""The bench card of a bath that a log plans: what to weigh, packet by packet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from workbook_tools.errors import ReadError
from workbook_tools.functions.formulas import bath as formulas
from workbook_tools.layout.compute import Computed, Row
from workbook_tools.layout.ids import id_key
from workbook_tools.log.checking.log_check import CheckedLog
from workbook_tools.log.gate import Despite, passed

CAUTIONS = (
    "Gloves, eye protection and ventilation for weighing; rinse powder off gloves before touching fish.",
    "Aerate the bath and the recovery bath; lid ready; never leave an anaesthetised fish.",
    "Out of the bath when opercular movement slows or falters.",
    "Reference values: the label in force, local law and the prescribing veterinarian decide.",
)


@dataclass(frozen=True)
class BenchCard:
    """One bath, worked out; masses in g, volumes in L, doses in mg/L."""

    bath: str
    facts: tuple[tuple[str, Any, str], ...]
    packets: tuple[tuple[str, float, float, float | None, float], ...]
    check: str
    cautions: tuple[str, ...] = CAUTIONS
    despite: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        return {
            "bath": self.bath,
            "facts": [{"name": n, "value": v, "unit": u} for n, v, u in self.facts],
            "packets": [
                {"packet": name, "dose mg/L": dose, "drug g": drug, "buffer g": buffer, "drug so far g": total}
                for name, dose, drug, buffer, total in self.packets
            ],
            "check": self.check,
            "cautions": list(self.cautions),
            "despite": list(self.despite),
        }


def bench_card(
    log: CheckedLog | Computed, path: object, bath: str | None = None, overrides: Sequence[Despite] = ()
) -> BenchCard:
    """The card of a bath by its id, or of the next one: the last row that is planned and not yet weighed or started.

    Raises ReadError where there is no such bath, FaultError where a row that it draws on has an open fault.
    """
    computed = log.computed if isinstance(log, CheckedLog) else log
    position = _chosen(computed.data["baths"], path, bath)
    known = passed(log, [("baths", position)], "bench card", overrides, path)
    return card_of(computed, position, tuple(str(one) for one in known))


def card_of(computed: Computed, position: int, despite: tuple[str, ...] = ()) -> BenchCard:
    """The card of a bath by its place in the log, for callers that have asked the gate themselves."""
    row = computed.data["baths"][position]
    vessel = computed.find("vessels", row["vessel"])
    site = computed.find("sites", row["site"])
    facts = (
        ("Site", site.get("name"), ""),
        ("Vessel", " ".join(str(part) for part in (row["vessel"], vessel.get("name")) if part), ""),
        ("Species", row["species"], ""),
        ("Agent", row["agent"], ""),
        ("Water dosed", row["water"], "L"),
        ("Start dose", row["start_dose"], "mg/L"),
        ("Step", row["step"], "mg/L"),
        ("Limit", row["limit"], "mg/L"),
        ("Buffer by weight", row["ratio_used"], "g/g"),
        ("pH without buffer", row["bare"], ""),
        ("pH with buffer", row["buffered"], ""),
        ("The water says", row["verdict"], ""),
    )
    return BenchCard(str(row["bath"]), facts, tuple(_packets(row)), str(row["check"]), despite=despite)


def _chosen(rows: Sequence[Row], path: object, bath: str | None) -> int:
    if bath is not None:
        for position, row in enumerate(rows):
            if row["bath"] is not None and id_key(row["bath"]) == id_key(bath):
                return position
        raise ReadError(path, f"has no bath {bath!r}.")
    for position, row in reversed([*enumerate(rows)]):
        if row["start_dose"] is not None and row["drug_weighed"] is None and row["started"] is None:
            return position
    if not rows:
        raise ReadError(
            path, "has no bath yet: plan one on the Baths sheet (visit, vessel, agent, start dose), and save."
        )
    raise ReadError(
        path, "has no bath that is planned and not yet weighed: plan one on the Baths sheet, or name one with --bath."
    )


def _packets(row: Row) -> list[tuple[str, float, float, float | None, float]]:
    """The packets of a bath; none where its water, dose or agent is not known."""
    if row["drug"] is None:
        return []
    active = 1.0 if row["active"] is None else row["active"]
    ratio = row["ratio_used"]
    stepped = row["second_dose"] is not None
    limit = row["limit"] if stepped else row["start_dose"]
    table = formulas.steps(row["water"], row["start_dose"], row["step"] if stepped else 1, limit, active, ratio or 2)
    return [
        ("Start" if number == 1 else f"Top-up {number - 1:.0f}", dose, drug, buffer if ratio else None, total)
        for number, dose, drug, buffer, total in table
    ]
