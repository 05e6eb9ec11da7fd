"""Drug that was used: weighed for baths with their top-ups, and given in treatments, by agent, species and month."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from workbook_tools.across.store_stock import product
from workbook_tools.layout.compute import Computed, Row
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import id_key, id_text
from workbook_tools.layout.months import month

BATH, TREATMENT = "bath", "treatment"


@dataclass(frozen=True)
class Use:
    """One bath that was made, or one treatment: product used, in grams or millilitres.

    `month` is "2026-03", '' where the day is not known. `grams` and `millilitres` are both None where the amount is not
    known: it was never weighed, or what it follows from is missing.
    """

    agent: str
    species: str
    month: str
    source: str  # BATH or TREATMENT
    grams: float | None
    millilitres: float | None


@dataclass(frozen=True)
class DrugUse:
    """Product used of one agent in one species and month: `times` baths or treatments, `unknown` without an amount."""

    agent: str
    species: str
    month: str
    source: str
    times: int
    grams: float
    millilitres: float
    unknown: int

    def as_dict(self) -> dict[str, Any]:
        return {
            "agent": self.agent,
            "species": self.species,
            "month": self.month,
            "used in": self.source,
            "times": self.times,
            "grams": self.grams,
            "millilitres": self.millilitres,
            "amount not known": self.unknown,
        }


def uses(computed: Computed) -> list[Use]:
    """Every use of a log that names an agent: baths whose drug was weighed, then treatments with a first day.

    Agents are named by their product: "chloramine-T, salmonids" is chloramine-T. Drug weighed for a bath is product, as
    the store counts it; so are grams and millilitres of a treatment.
    """
    baths = (
        _use(computed, row, "agents", row["species"], row["date"], BATH, row["drug_used"], None)
        for row in computed.data["baths"]
        if row["made"] is not None
    )
    treatments = (
        _use(
            computed,
            row,
            "remedies",
            row["species"],
            row["first"],
            TREATMENT,
            row["total_grams"],
            row["total_millilitres"],
        )
        for row in computed.data["treatments"]
        if is_number(row["first"])
    )
    return [use for use in (*baths, *treatments) if use.agent]


def drug_use(rows: Iterable[tuple[Use, int, int]]) -> list[DrugUse]:
    """Use by agent, species, month and whether in a bath or a treatment, capitals or not, in that order.

    `rows` gives each use with how many alike it stands for, and how many of these have no amount; its grams and
    millilitres are sums over them.
    """
    spelled: dict[tuple[str, str, str, str], Use] = {}
    totals: dict[tuple[str, str, str, str], tuple[list[int], list[float], list[float]]] = {}
    for use, times, unknown in rows:
        key = id_key(use.agent), id_key(use.species), use.month, use.source
        spelled.setdefault(key, use)
        counts, grams, millilitres = totals.setdefault(key, ([0, 0], [], []))
        counts[0] += times
        counts[1] += unknown
        grams.append(use.grams or 0.0)
        millilitres.append(use.millilitres or 0.0)
    found = []
    for key in sorted(totals):
        use, (counts, grams, millilitres) = spelled[key], totals[key]
        sums = math.fsum(grams), math.fsum(millilitres)
        found.append(DrugUse(use.agent, use.species, use.month, use.source, counts[0], *sums, counts[1]))
    return found


def _use(
    computed: Computed, row: Row, listed: str, species: object, day: object, source: str, grams: object, litres: object
) -> Use:
    agent = computed.find(listed, row["agent"]).get("agent") or row["agent"]
    kind = computed.find("species", species).get("value") or species
    return Use(
        product(id_text(agent)),
        id_text(kind).strip(),
        month(day) or "",
        source,
        float(grams) if is_number(grams) else None,
        float(litres) if is_number(litres) else None,
    )
