"""Practices at random: farms, vessels, stocks, visits, baths, fish, losses, treatments and stores, as people type them.

The same seed and number give the same practice. Rows stand anywhere on their sheet, with free rows between them. After
a practice is typed as it should be, some cells are typed as they should not be.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from random import Random
from typing import Any

from tests.outsider.sheet import Cells, EmptyLog, Typing, stopwatch

SPECIES = ("rainbow trout", "tilapia", "sturgeon", "perch", "catfish", "goldfish", "carp")
UNITS = {"m": 1.0, "cm": 100.0, "ft": 3.28, "in": 39.4}  # how many about a metre has
SHAPES = (
    *("rectangle", "round", "oval", "straight sides, round ends", "round with cone", "pond by area"),
    *("salt test", "fill test", "known volume"),
)
ROUTES = (
    *("bath", "bath by volume", "bath by strength", "constant flow", "salt", "feed", "injection"),
    *("euthanasia bath", "take out chlorine"),
)
# columns in which a slip is typed, by what they hold
NUMBERS = {
    "Vessels": ("Length or diameter", "Width", "Water depth", "Cone depth", "Known volume L", "Salt added g"),
    "Stocks": ("Number of fish", "Mean weight g"),
    "Sites": ("Altitude m",),
    "Water": ("Temperature C", "pH", "Oxygen mg/L", "Total ammonia mg/L N", "Alkalinity mg/L CaCO3"),
    "Baths": (
        *("Start dose mg/L", "Water used L", "Fish in it kg", "Active share", "Buffer ratio", "Step mg/L"),
        *("Limit mg/L", "Drug weighed g", "Buffer weighed g", "Top ups given"),
    ),
    "Fish": ("Weight g", "Length cm", "Count", "Over s"),
    "Watch": ("Opercular count", "Counted over s"),
    "Samples": ("Fields read", "Number counted", "Fish looked at", "Fish positive"),
    "Losses": ("Mean temperature C", "Dead"),
    "Treatments": (
        *("Dose", "Days", "Water treated L", "Active part", "Strength mg/mL", "Flow L/min", "Minutes"),
        *("Salt there g/L", "Ration %", "Fish weight g", "Fish treated", "Release after", "Mean temperature ahead C"),
    ),
    "Stores": ("Received", "Discarded"),
}
WORDS = {
    "Vessels": ("Unit of length", "Shape or test"),
    "Stocks": ("Stock species",),
    "Baths": ("Agent", "Times are", "Bath species"),
    "Fish": ("Species", "Settled", "Outcome"),
    "Treatments": ("Route", "Release rule", "Days without a reading"),
    "Stores": ("Kept in",),
}
REFERENCES = {
    "Vessels": {"Vessel site": "Sites"},
    "Stocks": {"Stock site": "Sites", "Stock vessel": "Vessels"},
    "Visits": {"Visit site": "Sites"},
    "Water": {"Water visit": "Visits", "Water vessel": "Vessels"},
    "Baths": {"Bath visit": "Visits", "Bath vessel": "Vessels", "Lot": "Stores", "Buffer lot": "Stores"},
    "Fish": {"Fish bath": "Baths"},
    "Watch": {"Watch bath": "Baths"},
    "Samples": {"Sample visit": "Visits", "Sample stock": "Stocks"},
    "Losses": {"Losses stock": "Stocks"},
    "Treatments": {"Treatment stock": "Stocks", "Treatment lot": "Stores"},
}
DATES = {"Visits": ("Visit date",), "Losses": ("Day",), "Treatments": ("First day", "Last day")}
TIMES = {"Baths": ("Bath ended", "First top up at"), "Fish": ("Into bath", "Working stage", "Out of bath", "Recovered")}
IDS = {
    **{"Sites": "Site", "Vessels": "Vessel", "Stocks": "Stock", "Visits": "Visit", "Water": "Reading"},
    **{"Baths": "Bath", "Watch": "Look", "Fish": "Fish", "Samples": "Sample", "Losses": "Day row"},
    **{"Treatments": "Treatment", "Stores": "Lot number"},
}


@dataclass
class Practice:
    """What was typed, and which cells were typed as they should not be."""

    typing: Typing
    slips: list[tuple[str, int, str, str]] = field(default_factory=list)  # sheet, row, heading, kind


class Desk:
    """A person at an empty log, filling in one practice."""

    def __init__(self, random: Random, log: EmptyLog) -> None:
        self.random, self.log = random, log
        self.typing: Typing = {sheet: {} for sheet in log.columns}
        self.free = {sheet: random.sample(sorted(rows), len(rows)) for sheet, rows in log.ids.items()}
        self.site_of: dict[str, str] = {}  # of vessels, stocks and visits
        self.day = datetime.datetime(2024, 1, 1) + datetime.timedelta(days=random.randrange(500))

    def number(self, low: float, high: float, digits: int = 3) -> float:
        return round(self.random.uniform(low, high), digits)

    def chance(self, share: float) -> bool:
        return self.random.random() < share

    def type(self, sheet: str, cells: Cells, own: str = "") -> str:
        """Type a row into a free row of a sheet; its id. Blank cells are left as they are."""
        row = self.free[sheet].pop()
        heading = IDS[sheet]
        name = own or self.log.ids[sheet][row]
        if not own and self.chance(0.05):
            name = f"{heading} {self.random.choice('abcdefgh')}{row}"
        kept = {key: value for key, value in cells.items() if value is not None}
        if name != self.log.ids[sheet][row]:
            kept[heading] = name
        self.typing[sheet][row] = kept
        return name

    def spelled(self, name: str) -> str:
        """An id as somebody types it: the case of letters does not count."""
        return name.lower() if self.chance(0.05) else name

    def vessel(self, site: str) -> str:
        random = self.random
        shape = random.choice(SHAPES)
        unit = random.choice(sorted(UNITS))
        scale = UNITS[unit]
        long, wide = self.number(0.6, 4), self.number(0.3, 0.6)
        cells: Cells = {"Vessel site": site, "Shape or test": shape}
        if shape == "known volume":
            cells["Known volume L"] = self.number(5, 4000, 1)
        elif shape == "salt test":
            before = self.number(0, 2, 2)
            cells |= {"Salt added g": self.number(100, 5000, 0), "Salinity after g/L": before + self.number(0.5, 4, 2)}
            cells["Salinity before g/L"] = None if before < 0.2 and self.chance(0.2) else before
        elif shape == "fill test":
            cells |= {"Inflow L/min": self.number(2, 60, 1), "Fill time min": self.number(3, 90, 1)}
        elif shape == "pond by area":
            cells |= {"Pond area m2": self.number(20, 4000, 1), "Unit of length": unit}
            cells["Water depth"] = round(self.number(0.4, 2) * scale, 2)
        else:
            cells |= {"Unit of length": unit, "Length or diameter": round(long * scale, 2)}
            cells["Water depth"] = round(self.number(0.2, 1.2) * scale, 2)
            if "cone" in shape:
                cells["Cone depth"] = round(self.number(0.1, 0.5) * scale, 2)
            elif shape != "round":
                cells["Width"] = round(wide * scale, 2)
        name = self.type("Vessels", cells)
        self.site_of[name] = site
        return name

    def stock(self, site: str, vessel: str) -> str:
        cells = {
            "Stock site": self.spelled(site),
            "Stock vessel": self.spelled(vessel) if self.chance(0.9) else None,
            "Stock species": self.random.choice(SPECIES),
            "Food fish": self.random.choice(("yes", "no")),
            "Number of fish": self.random.randrange(0, 20_000) if self.chance(0.9) else None,
            "Mean weight g": self.number(0.5, 3000, 1) if self.chance(0.9) else None,
        }
        name = self.type("Stocks", cells)
        self.site_of[name] = site
        return name

    def water(self, visit: str, vessel: str) -> str:
        salt = self.random.choice((None, None, 0, self.number(1, 35, 1)))
        cells = {
            "Water visit": self.spelled(visit),
            "Water vessel": vessel if self.chance(0.7) else None,
            "Temperature C": self.number(0.5, 32, 1) if self.chance(0.95) else None,
            "pH": self.number(6, 9, 2) if self.chance(0.95) else None,
            "Oxygen mg/L": self.number(2, 14, 1) if self.chance(0.95) else None,
            "Alkalinity mg/L CaCO3": self.number(5, 300, 0) if self.chance(0.9) else None,
            "Total ammonia mg/L N": self.number(0, 4, 2) if self.chance(0.9) else None,
            "Salinity g/kg": salt,
        }
        return self.type("Water", cells)

    def bath(self, visit: str, vessel: str, lots: dict[str, list[str]]) -> None:
        """A bath with its looks and its fish."""
        random, made = self.random, self.chance(0.7)
        agent = random.choice(("tricaine methanesulfonate",) * 3 + tuple(self.log.agents))
        watch = random.choice(("stopwatch", "clock", None))
        start = random.choice((80, 60, 100, self.number(15, 300, 1)))
        step = random.choice((20, 10, self.number(5, 40, 1), None))
        limit = start + random.choice((0, 15, 20, 40, 47.5)) if step is not None and self.chance(0.9) else None
        fits = 0 if limit is None or step is None else int((limit - start) / step)
        topups = random.randrange(fits + 1)
        begun = random.randrange(86400)
        length = random.randrange(600, 3000)
        cells: Cells = {
            "Bath visit": self.spelled(visit), "Bath vessel": self.spelled(vessel), "Use": "anaesthesia",
            "Bath species": random.choice(SPECIES), "Agent": agent, "Start dose mg/L": start,
            "Water used L": self.number(5, 400, 1) if self.chance(0.3) else None,
            "Fish in it kg": self.number(0.1, 4, 2) if self.chance(0.2) else None,
            "Active share": self.number(0.3, 1, 2) if self.chance(0.3) else None,
            "Buffer ratio": self.number(0.8, 4, 2) if self.chance(0.3) else None,
            "Step mg/L": step, "Limit mg/L": limit,
            "Lot": random.choice(lots["drug"]) if self.chance(0.6) else None,
            "Buffer lot": random.choice(lots["buffer"]) if self.chance(0.4) else None,
            "Times are": watch,
        }  # fmt: skip
        if made:
            cells |= {
                "Bath started": self.clock(begun), "Drug weighed g": self.number(0.2, 60, 2),
                "Buffer weighed g": self.number(0.4, 100, 2) if self.chance(0.8) else None,
                "Top ups given": topups if topups or self.chance(0.5) else None,
                "First top up at": self.when(watch, begun, 200 + random.randrange(60)) if topups else None,
                "Bath ended": self.when(watch, begun, length) if self.chance(0.8) else None,
            }  # fmt: skip
        name = self.type("Baths", cells)
        for _ in range(random.randrange(5) if made else 0):
            self.fish(name, watch, begun)
        for _ in range(random.randrange(3) if made else 0):
            count = {"Opercular count": random.randrange(90), "Counted over s": random.choice((15, 20, 30, 60))}
            after = random.randrange(20, 500)
            self.type("Watch", {"Watch bath": name, "Time of look": self.when(watch, begun, after), **count})

    def clock(self, second: int) -> datetime.time:
        minutes, seconds = divmod(second % 86400, 60)
        return datetime.time(minutes // 60, minutes % 60, seconds)

    def when(self, watch: str | None, begun: int, after: int) -> datetime.time | datetime.timedelta:
        """A time so many seconds after the bath began, as it is typed for this bath."""
        return stopwatch(after) if watch == "stopwatch" else self.clock(begun + after)

    def fish(self, bath: str, watch: str | None, begun: int) -> None:
        random = self.random
        into = random.randrange(0, 60)
        lost = into + random.randrange(30, 100)
        working = lost + random.randrange(15, 180)
        out = working + random.randrange(30, 200)
        well = out + random.randrange(40, 420)
        settled = self.chance(0.9)
        long = self.number(8, 60, 1)
        seen: Cells = {"Into bath": into, "Balance lost": lost, "Out of bath": out, "Recovered": well}
        seen |= {"Working stage": working} if settled else {}
        if watch == "stopwatch" and (into < 10 or self.chance(0.2)):
            del seen["Into bath"]
        times = {key: self.when(watch, begun, after) for key, after in seen.items() if self.chance(0.93)}
        cells = {
            "Fish bath": self.spelled(bath),
            "Weight g": round(long**3 / 100 * self.number(0.7, 1.6), 1) if self.chance(0.8) else None,
            "Length cm": long if self.chance(0.9) else None,
            "Settled": "yes" if settled and self.chance(0.5) else None if settled else "no",
            "Count": random.randrange(10, 60) if self.chance(0.6) else None,
            "Over s": random.choice((15, 30, 60)) if self.chance(0.9) else None,
            "Species": random.choice(SPECIES) if self.chance(0.15) else None,
            "Outcome": random.choice(("recovered", "recovered", "died", "euthanised")) if self.chance(0.8) else None,
        }
        self.type("Fish", {**cells, **times})

    def sample(self, visit: str, stock: str) -> None:
        looked = self.random.randrange(1, 60)
        cells = {
            "Sample visit": visit, "Sample stock": stock, "Kind of sample": "skin scrape",
            "Fields read": self.random.randrange(1, 30) if self.chance(0.9) else None,
            "Number counted": self.random.randrange(0, 200) if self.chance(0.9) else None,
            "Fish looked at": looked if self.chance(0.9) else None,
            "Fish positive": self.random.randrange(0, looked + 1) if self.chance(0.9) else None,
        }  # fmt: skip
        self.type("Samples", cells)

    def losses(self, stock: str, rows: int) -> list[datetime.datetime]:
        """A daily record with gaps; its days."""
        day, found, gap = self.day, [], self.random.choice((0.05, 0.3, 0.7))
        warm = self.number(-1, 24, 1)
        for _ in range(rows):
            cells = {
                "Day": day, "Losses stock": self.spelled(stock),
                "Dead": self.random.randrange(0, 6) if self.chance(0.6) else None,
                "Mean temperature C": round(warm + self.random.uniform(-2, 2), self.random.choice((0, 1, 2)))
                if self.chance(0.85)
                else None,
            }  # fmt: skip
            self.type("Losses", cells)
            found.append(day)
            day += datetime.timedelta(days=1)
            while self.chance(gap):
                day += datetime.timedelta(days=self.random.choice((1, 1, 2, 6)))
        return found

    def treatment(self, stock: str, days: list[datetime.datetime], lots: dict[str, list[str]]) -> None:
        random, route = self.random, self.random.choice(ROUTES)
        rule = random.choice(("days", "degree days", "degree days", "never", None))
        length = random.randrange(1, 11)
        around = random.choice(days) if days else self.day
        first = around - datetime.timedelta(days=random.randrange(length + 6))
        dose = {
            "salt": self.number(2, 30, 1),
            "feed": self.number(5, 90, 1),
            "take out chlorine": self.number(0.1, 5, 2),
        }
        cells: Cells = {
            "Treatment stock": self.spelled(stock), "Route": route,
            "Treatment agent": random.choice(self.log.treatment_agents),
            "Dose": dose.get(route, self.number(1, 400, 1)),
            "Days": length if self.chance(0.8) else None, "First day": first,
            "Last day": first + datetime.timedelta(days=length - 1) if self.chance(0.9) else None,
            "Water treated L": self.number(20, 5000, 0) if self.chance(0.4) else None,
            "Active part": self.number(0.3, 1, 2) if self.chance(0.3) else None,
            "Strength mg/mL": self.number(5, 500, 0) if route in ("bath by strength", "injection") else None,
            "Flow L/min": self.number(1, 80, 1) if route == "constant flow" else None,
            "Minutes": self.number(10, 120, 0) if route == "constant flow" else None,
            "Salt there g/L": self.number(0, 1, 1) if route == "salt" and self.chance(0.5) else None,
            "Ration %": self.number(0.5, 4, 1) if route == "feed" else None,
            "Fish weight g": self.number(20, 3000, 0) if route == "injection" else None,
            "Fish treated": random.randrange(1, 900) if self.chance(0.3) else None,
            "Treatment lot": random.choice(lots["drug"]) if self.chance(0.5) else None,
            "Release rule": rule, "Rule from": "prescription" if rule else None,
        }  # fmt: skip
        if rule in ("days", "degree days"):
            cells["Release after"] = random.randrange(0, 60) if rule == "days" else random.randrange(5, 400)
        if rule == "degree days":
            cells["Mean temperature ahead C"] = self.number(1, 20, 1) if self.chance(0.6) else None
            cells["Days without a reading"] = random.choice((None, "add nothing", "lower neighbour"))
        self.type("Treatments", cells)

    def lots(self) -> dict[str, list[str]]:
        found: dict[str, list[str]] = {"drug": [], "buffer": []}
        for use, drug in (
            ("drug", "tricaine methanesulfonate"),
            ("drug", "formalin"),
            ("buffer", "sodium bicarbonate"),
        ):
            name = f"{self.random.choice(('LOT', 'Ch', 'pack'))} {self.random.randrange(100, 999)}{len(found['drug'])}"
            cells = {
                "Drug or buffer": drug, "Kept in": "mL" if drug == "formalin" else "g",
                "Received": self.number(100, 5000, 1),
                "Discarded": self.number(0, 20, 1) if self.chance(0.3) else None,
            }  # fmt: skip
            found[use].append(self.type("Stores", cells, own=f"{use[0]}{name}"))
        return found

    def site(self, lots: dict[str, list[str]]) -> None:
        """A site with its vessels, stocks, visits and everything that happened there."""
        random = self.random
        cells = {
            "Site name": random.choice(("Alder springs", "Hollow mill", "Long meadow", "Stone weir")),
            "Kind of site": random.choice(("farm", "hatchery", "pond", "display")),
            "Fish eaten": random.choice(("yes", "no")),
            "Altitude m": random.randrange(-20, 2500) if self.chance(0.6) else None,
        }
        site = self.type("Sites", cells)
        vessels = [self.vessel(site) for _ in range(random.randrange(2, 5))]
        stocks = [self.stock(site, random.choice(vessels)) for _ in range(random.randrange(1, 3))]
        for _ in range(random.randrange(1, 3)):
            when = {"Visit date": self.day + datetime.timedelta(days=random.randrange(60))}
            visit = self.type("Visits", {**when, "Visit site": self.spelled(site)})
            self.site_of[visit] = site
            for _ in range(random.randrange(3)):
                self.water(visit, random.choice(vessels))
            for _ in range(random.randrange(3)):
                self.bath(visit, random.choice(vessels), lots)
            for _ in range(random.randrange(2)):
                self.sample(visit, random.choice(stocks))
        for stock in stocks:
            days = self.losses(stock, min(random.choice((0, 3, 8, 14)), len(self.free["Losses"])))
            for _ in range(random.randrange(4)):
                self.treatment(stock, days, lots)


def practice(seed: int, number: int, log: EmptyLog) -> Practice:
    """The practice of a seed and a number; three in ten are typed without a slip."""
    random = Random(f"outsider {seed} {number}")
    desk = Desk(random, log)
    lots = desk.lots()
    for _ in range(random.randrange(1, 5)):
        if len(desk.free["Fish"]) > 16:
            desk.site(lots)
    done = Practice(desk.typing)
    for _ in range(0 if random.random() < 0.3 else random.randrange(1, 7)):
        slip(random, log, done)
    return done


def slip(random: Random, log: EmptyLog, done: Practice) -> None:
    """Type one cell as it should not be."""
    kind, sheets = random.choice(
        [("number", NUMBERS)] * 5
        + [("word", WORDS), ("reference", REFERENCES), ("reference", REFERENCES), ("date", DATES), ("time", TIMES)]
        + [("id", IDS)]
    )
    places = [
        (sheet, row, heading)
        for sheet, headings in sheets.items()  # type: ignore[attr-defined]
        for row, cells in sorted(done.typing[sheet].items())
        for heading in ([headings] if isinstance(headings, str) else headings)
        if heading in cells or kind == "id"
    ]
    touched = {(sheet, row) for sheet, row, _, _ in done.slips}
    places = [place for place in places if place[:2] not in touched]
    if not places:
        return
    sheet, row, heading = random.choice(places)
    cells = done.typing[sheet][row]
    made = SLIPS[kind](random, log, done, sheet, row, heading, cells.get(heading))
    if made is None:
        return
    name, value = made
    if value is None:
        del cells[heading]
    else:
        cells[heading] = value
    done.slips.append((sheet, row, heading, name))


def _number_slip(random: Random, *place: Any) -> tuple[str, Any]:
    value = place[-1]
    return random.choice(
        [
            ("blank", None),
            ("text", random.choice(("n/a", "about 5", "?"))),
            ("comma", f"{float(value):.2f}".replace(".", ",")),
            ("unit in the cell", f"{value} {random.choice(('g', 'mg/L', 'L', 'kg'))}"),
            ("out of range", random.choice((-7.5, -1, 2e11))),
            ("number as text", f"{value} "),
        ]
    )


def _word_slip(random: Random, *place: Any) -> tuple[str, Any]:
    return random.choice([("blank", None), ("not listed", "something else"), ("trailing blank", f"{place[-1]} ")])


def _reference_slip(
    random: Random, log: EmptyLog, done: Practice, sheet: str, _row: int, heading: str, value: str
) -> tuple[str, Any] | None:
    target = REFERENCES[sheet][heading]
    others = [cells.get(IDS[target], log.ids[target][row]) for row, cells in sorted(done.typing[target].items())]
    others = [other for other in others if other.casefold() != value.casefold()]
    choices: list[tuple[str, Any]] = [("unknown id", "Z999"), ("id with a blank", f"{value} "), ("blank", None)]
    unfilled = [name for row, name in sorted(log.ids[target].items()) if name and row not in done.typing[target]]
    choices += [("id of a row not filled in", random.choice(unfilled))] if unfilled else []
    choices += [("another row's id", random.choice(others))] if others else []
    return random.choice(choices)


def _date_slip(random: Random, *place: Any) -> tuple[str, Any]:
    value = place[-1]
    return random.choice(
        [
            ("blank", None),
            ("date as text", f"{value:%d.%m.%Y}"),
            ("out of range", datetime.datetime(1999, 5, 4)),
            ("out of range", datetime.datetime(2124, 5, 4)),
        ]
    )


def _time_slip(random: Random, *_place: Any) -> tuple[str, Any]:
    return random.choice([("blank", None), ("time as text", "14.05"), ("time as text", "3 min")])


def _id_slip(
    random: Random, log: EmptyLog, done: Practice, sheet: str, row: int, heading: str, _value: object
) -> tuple[str, Any] | None:
    others = [
        cells.get(heading, log.ids[sheet][other]) for other, cells in sorted(done.typing[sheet].items()) if other != row
    ]
    return ("id twice", random.choice(others)) if others else None


SLIPS = {
    **{"number": _number_slip, "word": _word_slip, "reference": _reference_slip, "date": _date_slip},
    **{"time": _time_slip, "id": _id_slip},
}
