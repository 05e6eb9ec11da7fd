"""The bench card of a bath that a log plans: what to weigh, packet by packet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from workbook_tools.errors import ReadError
from workbook_tools.formulas import bath as formulas
from workbook_tools.layouts.compute import Computed, Row

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
        }


def bench_card(computed: Computed, path: object, bath: str | None = None) -> BenchCard:
    """The card of a bath by its id, or of the next one: the last row that is planned and not yet weighed or started.

    Raises ReadError where there is no such bath.
    """
    row = _chosen(computed.data["baths"], path, bath)
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
    return BenchCard(str(row["bath"]), facts, tuple(_packets(row)), str(row["check"]))


def _chosen(rows: Sequence[Row], path: object, bath: str | None) -> Row:
    if bath is not None:
        for row in rows:
            if str(row["bath"]).casefold() == bath.casefold():
                return row
        raise ReadError(path, f"has no bath {bath!r}.")
    for row in reversed(rows):
        if row["start_dose"] is not None and row["drug_weighed"] is None and row["started"] is None:
            return row
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
