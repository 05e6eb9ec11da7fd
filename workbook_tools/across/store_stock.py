"""What the store holds against what a plan needs: which lots to take, the nearest to expiry first, none expired."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from workbook_tools.functions.quantities.amounts import amount
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import id_key, id_text
from workbook_tools.layout.load import FORMATS
from workbook_tools.layout.shown_values import as_shown

NO_STORE = "No store is kept in this log: look that there is enough, and at the expiry dates."


@dataclass(frozen=True)
class Take:
    """Part of a lot to take: grams of product, what the lot holds before, its expiry as a day number."""

    lot: str
    grams: float
    balance: float
    expiry: float | None

    def as_dict(self) -> dict[str, Any]:
        day = None if self.expiry is None else as_shown(self.expiry, FORMATS["date"])
        return {"lot": self.lot, "grams": self.grams, "balance g": self.balance, "expiry": day}


@dataclass(frozen=True)
class Holding:
    """What can be taken of one product, what is missing, and what must be said about its lots."""

    takes: tuple[Take, ...]
    shortage: float
    words: tuple[str, ...]


def product(agent: object) -> str:
    """The product behind an agent's name on the Reference sheet: what stands before the comma.

    "chloramine-T, salmonids" and "chloramine-T, warm water finfish" are two ranges of one product.
    """
    return str(agent).split(",", maxsplit=1)[0].strip()


def holding(agent: str, needed: float, stores: Iterable[Mapping[str, Any]], moment: float) -> Holding:
    """Lots to take for a need.

    Parameters
    ----------
    agent : whose lots to look for; names are compared by their `product`, capitals or not.
    needed : product. [g]
    stores : rows with lot, agent, balance [g] and expiry (day number); others are not looked at.
    moment : day on which it will be used, as a day number. A lot may be used on the day of its expiry.

    Returns
    -------
    Lots, the nearest to expiry first and those without an expiry last; the shortage [g], 0 if none.
    """
    own = [row for row in stores if id_key(product(row.get("agent"))) == id_key(product(agent))]
    words = [] if own else [f"{agent}: no lot in the store."]
    usable: list[tuple[float, int, str, float, float | None]] = []
    for number, row in enumerate(own):
        lot, balance, expiry = id_text(row.get("lot")) or "without a number", row.get("balance"), row.get("expiry")
        if not is_number(balance):
            words.append(f"{agent}: lot {lot} has no balance that can be read: not counted.")
        elif balance > 0 and expiry is not None and not is_number(expiry):
            words.append(f"{agent}: lot {lot} has an expiry that is no date: not counted.")
        elif balance > 0 and expiry is not None and expiry < moment:
            words.append(f"{agent}: lot {lot} expired on {as_shown(expiry, FORMATS['date'])}: do not use it.")
        elif balance > 0:
            if expiry is None:
                words.append(f"{agent}: lot {lot} has no expiry date in the store: look at the pack.")
            usable.append((float("inf") if expiry is None else expiry, number, lot, balance, expiry))
    takes, missing = [], needed
    for _, _, lot, balance, expiry in sorted(usable):
        if missing <= 0:
            break
        grams = min(balance, missing)
        takes.append(Take(lot, grams, balance, expiry))
        missing -= grams
    shortage = max(missing, 0.0) if missing > 1e-9 * needed else 0.0
    if shortage:
        words.append(
            f"{agent}: {amount(shortage, 'g')} short. Needed {amount(needed, 'g')}, the store holds "
            f"{amount(needed - shortage, 'g')} that may be used."
        )
    return Holding(tuple(takes), shortage, tuple(words))
