"""Sites, vessels and stocks of the invented practice, as typed; and how the fish of each stock are built."""

from __future__ import annotations

from typing import Any, NamedTuple

Row = dict[str, Any]

TROUT, TILAPIA, AQUARIUM = "S01", "S02", "S03"


class Group(NamedTuple):
    """Fish of one stock: total length when the year starts, its spread, and growth a month. [cm]"""

    species: str
    vessel: str
    length: float
    spread: float
    growth: float


GROUPS = {
    "K01": Group("rainbow trout", "T01", 25.0, 1.8, 0.9),
    "K02": Group("rainbow trout", "T02", 29.0, 2.0, 0.6),
    "K03": Group("rainbow trout", "T03", 7.0, 0.6, 0.9),
    "K04": Group("rainbow trout", "T05", 46.0, 2.8, 0.3),
    "K05": Group("tilapia", "T08", 23.0, 1.7, 0.4),
    "K06": Group("tilapia", "T09", 10.0, 0.9, 0.8),
    "K07": Group("sturgeon", "T13", 92.0, 6.0, 0.7),
    "K08": Group("goldfish", "T14", 16.0, 1.4, 0.1),
    "K09": Group("carp", "T15", 41.0, 3.2, 0.4),
    "K10": Group("goldfish", "T16", 9.0, 0.8, 0.2),
}

_SITE = ("site", "name", "kind", "food_fish", "water", "group", "altitude", "contact", "telephone", "notes")
_SITES = (
    (TROUT, "Brindlewater trout farm", "farm", "yes", "spring", "cold water fish", 240, "farm manager", "0555 0142",
     "Boots and nets stay on site. Invoice goes to the office, not to the farm."),
    (TILAPIA, "Ovenmoor tilapia house", "farm", "yes", "reused", "warm water fish", None, "shift leader", "0555 0117",
     "New owner since summer; hesitant to spend on the biofilter."),
    (AQUARIUM, "Lantern Quay aquarium", "display", "no", "mains", "warm water fish", 15, "curator", "0555 0188", None),
)  # fmt: skip

# Only the cells that a shape needs are filled, as on the sheet.
_VESSELS: tuple[Row, ...] = (
    {"vessel": "T01", "site": TROUT, "name": "Raceway 1", "shape": "rectangle", "unit": "m", "length": 30, "breadth": 3,
     "depth": 0.9, "notes": "Boards take the depth to 1.0 in summer."},
    {"vessel": "T02", "site": TROUT, "name": "Raceway 2", "shape": "rectangle", "unit": "ft", "length": 98,
     "breadth": 10, "depth": 3},
    {"vessel": "T03", "site": TROUT, "name": "Fry trough", "shape": "rectangle", "unit": "cm", "length": 300,
     "breadth": 45, "depth": 30, "notes": "Treat with the inflow shut and an airstone at each end."},
    {"vessel": "T04", "site": TROUT, "name": "Hatchery tank", "shape": "round", "unit": "m", "length": 2,
     "depth": 0.55},
    {"vessel": "T05", "site": TROUT, "name": "Brood pond", "shape": "pond by area", "unit": "m", "depth": 1.3,
     "area": 420, "notes": "Mean of twelve soundings."},
    {"vessel": "T06", "site": TROUT, "name": "Grey bath tub", "shape": "rectangle", "unit": "cm", "length": 68,
     "breadth": 44, "depth": 20, "notes": "Filled to the drilled mark."},
    {"vessel": "T07", "site": TROUT, "name": "White bucket", "shape": "known volume", "known": 15,
     "notes": "For fry; line at 15 L."},
    {"vessel": "T08", "site": TILAPIA, "name": "Grow-out 1", "shape": "round with cone", "unit": "m", "length": 4,
     "depth": 1.4, "cone_depth": 0.6},
    {"vessel": "T09", "site": TILAPIA, "name": "Nursery", "shape": "straight sides, round ends", "unit": "m",
     "length": 6, "breadth": 2, "depth": 0.9},
    {"vessel": "T10", "site": TILAPIA, "name": "Sump", "shape": "fill test", "flow": 42, "minutes": 26.5},
    {"vessel": "T11", "site": TILAPIA, "name": "Oval bath tub", "shape": "oval", "unit": "cm", "length": 95,
     "breadth": 60, "depth": 22},
    {"vessel": "T12", "site": TILAPIA, "name": "Blue crate", "shape": "rectangle", "unit": "in", "length": 22,
     "breadth": 15, "depth": 9},
    {"vessel": "T13", "site": AQUARIUM, "name": "Sturgeon pool", "shape": "oval", "unit": "m", "length": 9,
     "breadth": 6, "depth": 1.8},
    {"vessel": "T14", "site": AQUARIUM, "name": "Goldfish pool", "shape": "salt test", "salt": 2400, "before": 0.3,
     "after": 0.72, "notes": "Rockwork inside: measured with salt, twice."},
    {"vessel": "T15", "site": AQUARIUM, "name": "Carp pond", "shape": "pond by area", "unit": "m", "depth": 1.1,
     "area": 85},
    {"vessel": "T16", "site": AQUARIUM, "name": "Quarantine", "shape": "round", "unit": "in", "length": 48,
     "depth": 26},
    {"vessel": "T17", "site": AQUARIUM, "name": "Sturgeon trough", "shape": "straight sides, round ends", "unit": "cm",
     "length": 190, "breadth": 55, "depth": 32, "notes": "Two people lift; sling hangs on the wall."},
    {"vessel": "T18", "site": AQUARIUM, "name": "Clear tub", "shape": "rectangle", "unit": "cm", "length": 60,
     "breadth": 40, "depth": 18},
)  # fmt: skip

_STOCK = ("stock", "site", "vessel", "food_fish", "number", "mean_weight", "notes")
_STOCKS = (
    ("K01", TROUT, "T01", "yes", 6200, 436, "Hatched in summer of last year."),
    ("K02", TROUT, "T02", "yes", 2100, 478, "What was not sold in spring."),
    ("K03", TROUT, "T03", "yes", 1800, 4.4, "This year's fry."),
    ("K04", TROUT, "T05", "yes", 85, 1340, "Brood fish; half of them carry tags."),
    ("K05", TILAPIA, "T08", "yes", 2600, 379, None),
    ("K06", TILAPIA, "T09", "yes", 3900, 112, "Bought in as fry."),
    ("K07", AQUARIUM, "T13", "no", 14, 5380, "All tagged; sexes not known."),
    ("K08", AQUARIUM, "T14", "no", 60, 108, None),
    ("K09", AQUARIUM, "T15", "no", 38, 1450, "Mean of the fish that were handled."),
    ("K10", AQUARIUM, "T16", "no", 25, 29, "New arrivals, four weeks of quarantine."),
)


def sites() -> list[Row]:
    """Rows of the Sites sheet."""
    return [_filled(_SITE, values) for values in _SITES]


def vessels() -> list[Row]:
    """Rows of the Vessels sheet."""
    return [dict(row) for row in _VESSELS]


def stocks(as_of: float) -> list[Row]:
    """Rows of the Stocks sheet, counted on a day."""
    rows = [_filled(_STOCK, values) for values in _STOCKS]
    return [row | {"species": GROUPS[row["stock"]].species, "as_of": as_of} for row in rows]


def _filled(keys: tuple[str, ...], values: tuple[object, ...]) -> Row:
    return dict(zip(keys, values, strict=True))
