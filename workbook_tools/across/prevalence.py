"""What the samples say of each parasite or finding: fish looked at, fish positive, and the interval of their share."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from workbook_tools.functions.formulas import sample
from workbook_tools.layout.compute import Computed
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import id_key, id_text

CAUTION = (
    "Fish were chosen by whoever visited, not at random, and fish of one visit are alike: shares of the fish that were "
    "looked at, not of the fish that live there."
)


@dataclass(frozen=True)
class Sampled:
    """One row of the Samples sheet that names a finding.

    `examined` and `positive` are None where the row has no numbers that can be counted: none, not whole, or more
    positive than looked at.
    """

    found: str
    species: str
    examined: int | None
    positive: int | None


@dataclass(frozen=True)
class FindingPrevalence:
    """One finding in one species, '' for a species that is not known.

    `samples` of `samples_seen` rows had numbers to count.
    """

    found: str
    species: str
    samples: int
    samples_seen: int
    examined: int
    positive: int

    @property
    def share(self) -> float | None:
        return self.positive / self.examined if self.examined else None

    @property
    def interval(self) -> tuple[float | None, float | None]:
        """Wilson's 95 % interval of the share; fish are taken for independent."""
        if not self.examined:
            return None, None
        return sample.low(self.positive, self.examined), sample.high(self.positive, self.examined)

    def as_dict(self) -> dict[str, Any]:
        low, high = self.interval
        return {
            "found": self.found,
            "species": self.species,
            "samples": self.samples,
            "samples seen": self.samples_seen,
            "fish looked at": self.examined,
            "fish positive": self.positive,
            "prevalence": self.share,
            "low": low,
            "high": high,
        }


def sampled(computed: Computed) -> list[Sampled]:
    """The findings of a log, in the order of the Samples sheet; rows that name none are left out."""
    rows = []
    for row in computed.data["samples"]:
        found = id_text(row["found"]).strip()
        if not found:
            continue
        stock = computed.find("stocks", row["stock"])
        species = computed.find("species", stock.get("species")).get("value") or stock.get("species")
        examined, positive = row["examined"], row["positive"]
        usable = _whole(examined) and _whole(positive) and examined > 0 and positive <= examined
        rows.append(
            Sampled(
                found,
                id_text(species).strip(),
                int(examined) if usable else None,
                int(positive) if usable else None,
            )
        )
    return rows


def prevalences(rows: Iterable[tuple[Sampled, int]]) -> list[FindingPrevalence]:
    """Findings by name and species, capitals or not, in the order of their names.

    `rows` gives each row with how many alike it stands for; the numbers of such rows are sums over them already. A
    name is spelled as where it came first.
    """
    spelled: dict[tuple[str, str], tuple[str, str]] = {}
    totals: dict[tuple[str, str], list[int]] = {}
    for row, times in rows:
        key = id_key(row.found), id_key(row.species)
        spelled.setdefault(key, (row.found, row.species))
        total = totals.setdefault(key, [0, 0, 0, 0])
        total[1] += times
        if row.examined is not None and row.positive is not None:
            total[0] += times
            total[2] += row.examined
            total[3] += row.positive
    return [FindingPrevalence(*spelled[key], *totals[key]) for key in sorted(totals)]


def _whole(value: object) -> bool:
    return is_number(value) and 0 <= value <= 1e9 and value == int(value)
