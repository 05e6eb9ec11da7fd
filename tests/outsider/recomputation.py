"""What the typed cells of a practice come to: every figure worked out again, nothing from a cell that is refused.

A cell is read by what its column takes (templates/guide/columns.md). A figure is None where something that it needs is
blank or refused. Formulas: `trade`; release dates: `waits`.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from tests.outsider import trade
from tests.outsider.generator import IDS, ROUTES, SHAPES, SPECIES
from tests.outsider.sheet import Cells, Typing
from tests.outsider.waits import degree_days

Figure = float | datetime.date | str | None
DAY_SECONDS = 86400


class Refused:
    """A cell that cannot be read: nothing is computed from it."""

    def __repr__(self) -> str:
        return "refused"


REFUSED = Refused()


@dataclass
class Line:
    """A row that is in use: its sheet row, its id and its cells, and the figures worked out for it."""

    sheet: str
    number: int
    name: str
    cells: Cells
    figures: dict[str, Figure] = field(default_factory=dict)

    def amount(self, heading: str, low: float, high: float, above: bool = False, whole: bool = False) -> Any:
        """A typed number within its range, None where blank; `above`: the lower end itself is out."""
        value = self.cells.get(heading)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float):
            return REFUSED
        good = low <= value <= high and not (above and value == low) and not (whole and value != int(value))
        return float(value) if good else REFUSED

    def word(self, heading: str, listed: Any) -> Any:
        value = self.cells.get(heading)
        return value if value is None or value in listed else REFUSED

    def date(self, heading: str) -> Any:
        value = self.cells.get(heading)
        if value is None:
            return None
        good = isinstance(value, datetime.datetime) and 2000 <= value.year <= 2099
        return value.date() if good else REFUSED

    def second(self, heading: str, stopwatch: bool) -> Any:
        """A clock time as second of the day; by stopwatch, where m:ss was kept as hours and minutes, the second."""
        value = self.cells.get(heading)
        if value is None:
            return None
        if isinstance(value, datetime.time):
            seconds = value.hour * 3600 + value.minute * 60 + value.second
        elif isinstance(value, datetime.timedelta):
            seconds = round(value.total_seconds())
        else:
            return REFUSED
        if not stopwatch:
            return seconds
        return seconds / 60 if seconds % 60 == 0 else REFUSED  # h:mm:ss is no reading of a stopwatch: it shows m:ss


def worked(formula: Callable[..., float | None], *values: Any) -> Any:
    """The formula's answer, None where a value is blank or refused."""
    if any(value is None or value is REFUSED for value in values):
        return None
    return formula(*values)


def first_of(*values: Any) -> Any:
    """The first value that is not blank; a refused one counts, so that nothing is put in its place."""
    return next((value for value in values if value is not None), None)


def between(start: Any, end: Any, stopwatch: bool) -> float | None:
    """Seconds from a time to a later one: by stopwatch a blank start is that of the bath; clocks pass midnight."""
    if stopwatch and start is None:
        start = 0
    seconds = worked(lambda a, b: b - a if stopwatch else (b - a) % DAY_SECONDS, start, end)
    return None if seconds is None or seconds < 0 else seconds


class Recomputation:
    """A practice worked out from its typed cells."""

    def __init__(  # noqa: PLR0912 - one branch for each sheet
        self, typing: Typing, ids: Mapping[str, Mapping[int, str]], agents: Mapping[str, float | None]
    ) -> None:
        self.agents = agents
        self.lines: dict[str, list[Line]] = {}
        self.named: dict[str, dict[str, Line]] = {}
        self.repeated: set[tuple[str, str]] = set()
        for sheet, rows in typing.items():
            self.lines[sheet] = []
            self.named[sheet] = {}
            for number, cells in sorted(rows.items()):
                name = cells.get(IDS[sheet], ids[sheet][number])
                line = Line(sheet, number, str(name), cells)
                if not any(key != IDS[sheet] for key in cells):
                    continue
                self.lines[sheet].append(line)
                if line.name.casefold() in self.named[sheet]:
                    self.repeated.add((sheet, line.name.casefold()))
                self.named[sheet].setdefault(line.name.casefold(), line)
        for line in self.lines["Vessels"]:
            self._vessel(line)
        for line in self.lines["Stocks"]:
            self._stock(line)
        for line in self.lines["Water"]:
            self._water(line)
        for line in self.lines["Baths"]:
            self._bath(line)
        for line in self.lines["Watch"]:
            line.figures["Opercular rate /min"] = _rate(line, "Opercular count", "Counted over s")
            self._since(line)
        for line in self.lines["Fish"]:
            self._fish(line)
        for line in self.lines["Samples"]:
            self._sample(line)
        self._temperatures()
        for line in self.lines["Treatments"]:
            self._treatment(line)
            line.figures["Release date"] = self._release(line)
        for line in self.lines["Stocks"]:
            self._group(line)
        for line in self.lines["Stores"]:
            self._lot(line)

    def target(self, line: Line, heading: str, sheet: str) -> Line | None:
        """The row that a cell points to; None where there is none in use, or its id has a blank at an end."""
        value = line.cells.get(heading)
        if not isinstance(value, str) or value != value.strip():
            return None
        return self.named[sheet].get(value.casefold())

    def _vessel(self, line: Line) -> None:
        shape, unit = line.word("Shape or test", SHAPES), line.word("Unit of length", trade.METRES)
        metres = worked(lambda name: trade.METRES[name], unit)

        def size(heading: str, above: bool = False) -> Any:
            typed = line.amount(heading, 0, 100_000, above=above)
            return worked(lambda a, b: a * b if a * b <= 10_000 else None, typed, metres)

        deep = size("Water depth")
        if shape == "known volume":
            volume = worked(lambda a: a, line.amount("Known volume L", 0, 1e10, above=True))
        elif shape == "salt test":
            salt = line.amount("Salt added g", 0, 1e9, above=True)
            before = line.amount("Salinity before g/L", 0, 1000)
            after = line.amount("Salinity after g/L", 0, 1000, above=True)
            volume = worked(lambda s, a, b: s / (b - a) if b > a else None, salt, before, after)
        elif shape == "fill test":
            flow, minutes = (line.amount(key, 0, 1e7, above=True) for key in ("Inflow L/min", "Fill time min"))
            volume = worked(lambda a, b: a * b, flow, minutes)
        elif shape == "pond by area":
            area = line.amount("Pond area m2", 0, 1e8, above=True)
            volume = worked(lambda a, b: a * b * 1000 if b > 0 else None, area, deep)
        elif shape in SHAPES:
            wide = 0.0 if shape in ("round", "round with cone") else size("Width", above=True)
            cone = size("Cone depth") if shape == "round with cone" else 0.0
            volume = worked(
                lambda a, b, c, d: (
                    trade.litres(shape, a, b, c, d)
                    if c + d > 0 and (shape != "straight sides, round ends" or a >= b)
                    else None
                ),
                *(size("Length or diameter", above=True), wide, deep, cone),
            )
        else:
            volume = None
        line.figures["Volume L"] = volume

    def _stock(self, line: Line) -> None:
        number = line.amount("Number of fish", 0, 1e9, whole=True)
        weight = line.amount("Mean weight g", 0, 1e6, above=True)
        vessel = self.target(line, "Stock vessel", "Vessels")
        line.figures["Biomass kg"] = worked(lambda a, b: a * b / 1000, number, weight)
        line.figures["Stock volume L"] = vessel.figures["Volume L"] if vessel else None
        line.figures["Density kg/m3"] = worked(
            lambda kilograms, volume: kilograms / (volume / 1000),
            *(line.figures["Biomass kg"], line.figures["Stock volume L"]),
        )

    def _water(self, line: Line) -> None:
        warmth, ph = line.amount("Temperature C", -2, 40), line.amount("pH", 0, 14)
        oxygen, salinity = line.amount("Oxygen mg/L", 0, 60), line.amount("Salinity g/kg", 0, 42)
        total, salt = line.amount("Total ammonia mg/L N", 0, 1000), first_of(salinity, 0.0)
        alkalinity = line.amount("Alkalinity mg/L CaCO3", 0, 5000)
        visit = self.target(line, "Water visit", "Visits")
        site = self.target(visit, "Visit site", "Sites") if visit else None
        height = first_of(site.amount("Altitude m", -500, 9000), 0.0) if site else None
        pressure = worked(trade.kilopascals, height)
        line.figures["Air pressure kPa"] = pressure
        line.figures["Oxygen saturation %"] = worked(
            lambda o, t, s, p: 100 * o / trade.saturated(t, s, p), oxygen, warmth, salt, pressure
        )
        if salt == 0:
            line.figures["Un-ionised ammonia mg/L N"] = worked(trade.unionised, total, ph, warmth)
            line.figures["Carbon dioxide mg/L"] = worked(
                lambda p, a, t: trade.carbon_dioxide(p, a, t) if 3 <= p <= 11 and t >= 0 else None,
                *(ph, alkalinity, warmth),
            )
        elif salt is REFUSED:
            line.figures["Un-ionised ammonia mg/L N"] = line.figures["Carbon dioxide mg/L"] = None

    def _bath(self, line: Line) -> None:
        figures = line.figures
        vessel = self.target(line, "Bath vessel", "Vessels")
        used = line.amount("Water used L", 0, 1e10, above=True)
        full = first_of(used, vessel.figures["Volume L"] if vessel else None)
        fish = first_of(line.amount("Fish in it kg", 0, 1e8, above=True), 0.0)
        water = worked(lambda a, b: a - b if a > b else None, full, fish)
        dose = line.amount("Start dose mg/L", 0, 1e5, above=True)
        active = first_of(line.amount("Active share", 0, 1, above=True), 1.0)
        agent = line.word("Agent", self.agents)
        own = None if agent is None or agent is REFUSED else self.agents[agent]
        ratio = first_of(line.amount("Buffer ratio", 0, 100, above=True), own)
        step, limit = (line.amount(key, 0, 1e5, above=True) for key in ("Step mg/L", "Limit mg/L"))
        topups = line.amount("Top ups given", 0, 100, whole=True)
        drug = worked(trade.grams, water, dose, active)
        raised = worked(lambda a, b, c: min(a + b, c) if c >= a else None, dose, step, limit)
        figures |= {"Water dosed L": water, "Drug to weigh g": drug, "Buffer to weigh g": worked(_times, drug, ratio)}
        figures["Dose after a top up mg/L"] = raised
        packet = worked(lambda w, a, b, s: trade.grams(w, b - a, s), water, dose, raised, active)
        figures["Top up drug g"] = packet
        figures["Top up buffer g"] = worked(_times, packet, ratio) if packet != 0 else None  # there is no packet
        if topups is None or topups == 0:  # none was given
            final = worked(float, dose)
        else:
            final = worked(lambda n, a, b, c: min(a + n * b, c) if c >= a else None, topups, dose, step, limit)
        figures["Final dose mg/L"] = final
        added = worked(lambda w, a, b, s: trade.grams(w, b - a, s), water, dose, final, active)
        figures["Drug added g"] = added
        more = 0.0 if topups in (None, 0) else REFUSED if topups is REFUSED else added
        weighed, buffered = (line.amount(key, 0, 1e9) for key in ("Drug weighed g", "Buffer weighed g"))
        figures["Drug used g"] = worked(lambda a, b: a + b, weighed, more)
        figures["Buffer used g"] = worked(
            lambda a, b: a + b, buffered, 0.0 if more == 0.0 else worked(_times, more, ratio)
        )
        watch = line.word("Times are", ("clock", "stopwatch"))
        begun = 0 if watch == "stopwatch" else line.second("Bath started", False)
        ended = REFUSED if watch is REFUSED else line.second("Bath ended", watch == "stopwatch")
        figures["Bath length s"] = between(begun, ended, watch == "stopwatch")

    def _watch_of(self, bath: Line | None) -> Any:
        """How the times of a bath are typed; None where the bath is not known."""
        if bath is None:
            return None
        return first_of(bath.word("Times are", ("clock", "stopwatch")), "clock")

    def _since(self, line: Line) -> None:
        bath = self.target(line, "Watch bath", "Baths")
        watch = self._watch_of(bath)
        if bath is None or watch is REFUSED:
            line.figures["Since start s"] = None
            return
        begun = 0 if watch == "stopwatch" else bath.second("Bath started", False)
        line.figures["Since start s"] = between(begun, line.second("Time of look", watch == "stopwatch"), False)

    def _fish(self, line: Line) -> None:
        figures = line.figures
        bath = self.target(line, "Fish bath", "Baths")
        watch = self._watch_of(bath)
        stopwatch = watch == "stopwatch"
        into, lost, working, out, well = (
            line.second(key, stopwatch)
            for key in ("Into bath", "Balance lost", "Working stage", "Out of bath", "Recovered")
        )
        topped = bath.second("First top up at", stopwatch) if bath else None
        known = watch is not None and watch is not REFUSED
        for heading, start, end in (
            ("Seconds to loss of balance", into, lost),
            ("Seconds to working stage", into, working),
            ("Seconds in bath", into, out),
            ("Seconds to top up", into, topped),
        ):
            figures[heading] = between(start, end, stopwatch) if known else None
        figures["Seconds to recovery"] = worked(lambda a, b: between(a, b, stopwatch), out, well) if known else None
        weight, long = line.amount("Weight g", 0, 1e6, above=True), line.amount("Length cm", 0, 2000, above=True)
        figures["Condition factor"] = worked(lambda w, c: 100 * w / c**3, weight, long)  # Fulton's K
        figures["Rate per min"] = _rate(line, "Count", "Over s")

    def _sample(self, line: Line) -> None:
        fields = line.amount("Fields read", 1, 1000, whole=True)
        counted = line.amount("Number counted", 0, 1e6, whole=True)
        looked = line.amount("Fish looked at", 1, 1e9, whole=True)
        positive = line.amount("Fish positive", 0, 1e9, whole=True)
        line.figures["Mean per field"] = worked(lambda a, b: a / b, counted, fields)
        pair = worked(lambda a, b: (a, b) if a <= b else None, positive, looked)
        line.figures["Prevalence"] = pair and pair[0] / pair[1]
        low, high = trade.wilson(*pair) if pair else (None, None)
        line.figures |= {"Prevalence from": low, "Prevalence to": high}

    def _temperatures(self) -> None:
        """Readings of each group by day; of two the lower."""
        self.readings: dict[int, dict[datetime.date, float]] = {}
        for line in self.lines["Losses"]:
            stock, day = self.target(line, "Losses stock", "Stocks"), line.date("Day")
            warmth = line.amount("Mean temperature C", -10, 40)
            if stock is None or warmth is None or warmth is REFUSED or not isinstance(day, datetime.date):
                continue
            of_group = self.readings.setdefault(stock.number, {})
            of_group[day] = min(warmth, of_group.get(day, warmth))

    def _treatment(self, line: Line) -> None:
        figures = line.figures
        stock = self.target(line, "Treatment stock", "Stocks")
        route = line.word("Route", ROUTES)
        dose = line.amount("Dose", 0, 1e5, above=True)
        water = first_of(
            line.amount("Water treated L", 0, 1e10, above=True), stock.figures["Stock volume L"] if stock else None
        )
        active = first_of(line.amount("Active part", 0, 1, above=True), 1.0)
        kilograms = stock.figures["Biomass kg"] if stock else None
        strength = line.amount("Strength mg/mL", 0, 5000, above=True)
        days = line.amount("Days", 1, 365, whole=True)
        mass = volume = None
        if route in ("bath", "euthanasia bath"):
            mass = worked(trade.grams, water, dose, active)
        elif route == "constant flow":
            flow, minutes = line.amount("Flow L/min", 0, 1e7, above=True), line.amount("Minutes", 0, 1e6, above=True)
            mass = worked(lambda f, m, d, a: trade.grams(f * m, d, a), flow, minutes, dose, active)
        elif route == "salt":
            there = first_of(line.amount("Salt there g/L", 0, 1000), 0.0)
            mass = worked(lambda w, a, b: w * (b - a) if a <= b <= 1000 else None, water, there, dose)
        elif route == "take out chlorine":  # two moles of the pentahydrate, 248.18 g/mol, for one of chlorine: 7 to 1
            mass = worked(lambda w, d: w * d * 7 / 1000, water, dose)
        elif route == "feed":  # a dose by body weight a day
            mass = worked(lambda k, d, a: k * d / 1000 / a if k > 0 and d <= 10_000 else None, kilograms, dose, active)
        elif route == "bath by volume":  # microlitres of product in a litre
            volume = worked(lambda w, d: w * d / 1000, water, dose)
        elif route == "bath by strength":
            volume = worked(lambda w, d, s: w * d / s, water, dose, strength)
        elif route == "injection":
            weight = line.amount("Fish weight g", 0, 1e6, above=True)
            volume = worked(lambda w, d, s: w / 1000 * d / s if d <= 10_000 else None, *(weight, dose, strength))
        ration = line.amount("Ration %", 0.1, 100, above=True) if route == "feed" else None
        figures["Feed a day kg"] = worked(lambda k, r: k * r / 100 if k > 0 else None, kilograms, ration)
        figures["Product in feed g/kg"] = worked(
            lambda d, r, a: d / (r / 100) / 1000 / a if d <= 10_000 else None, dose, ration, active
        )
        figures |= {"Product each time g": mass, "Product each time mL": volume}
        number = first_of(
            line.amount("Fish treated", 0, 1e9, whole=True),
            stock.amount("Number of fish", 0, 1e9, whole=True) if stock else None,
        )
        times = first_of(days, 1.0)
        figures["Product in all g"] = worked(_times, mass, times)
        figures["Product in all mL"] = worked(_times, volume, number if route == "injection" else times)

    def _release(self, line: Line) -> datetime.date | None:
        """The release date by the rule that was typed."""
        rule = line.word("Release rule", ("days", "degree days", "never"))
        first, last = line.date("First day"), line.date("Last day")
        days, wait = line.amount("Days", 1, 365, whole=True), line.amount("Release after", 0, 10_000)
        if not isinstance(last, datetime.date) or wait is None or wait is REFUSED:
            return None
        if first is REFUSED or days is REFUSED:  # whether the days end after the last day cannot be told
            return None
        numbered = isinstance(first, datetime.date) and isinstance(days, float)
        if numbered and last < first + datetime.timedelta(days=days - 1):
            return None
        if rule == "days":
            whole = wait == int(wait) and wait <= 3650
            return last + datetime.timedelta(days=wait) if whole else None
        stock = self.target(line, "Treatment stock", "Stocks")
        gaps = line.word("Days without a reading", ("add nothing", "lower neighbour"))
        ahead = line.amount("Mean temperature ahead C", 0, 40, above=True)
        if rule != "degree days" or gaps is REFUSED or wait == 0 or stock is None:
            return None
        readings = self.readings.get(stock.number, {})
        return degree_days(last, wait, readings, gaps == "lower neighbour", ahead if isinstance(ahead, float) else None)

    def _group(self, line: Line) -> None:
        """What the treatments and losses of a stock come to."""
        given = [one for one in self.lines["Treatments"] if self.target(one, "Treatment stock", "Stocks") is line]
        dated = [one.figures["Release date"] for one in given if one.figures["Release date"] is not None]
        never = sum(one.cells.get("Release rule") == "never" for one in given)
        latest = max(dated) if dated else None  # type: ignore[type-var]
        lost = [
            one.amount("Dead", 0, 1e9, whole=True)
            for one in self.lines["Losses"]
            if self.target(one, "Losses stock", "Stocks") is line
        ]
        line.figures |= {
            "Treatments of group": float(len(given)), "Treatments with a date": float(len(dated)),
            "Treatments never for food": float(never), "Latest end of a wait": latest,
            "First day to sell or eat": latest if len(dated) == len(given) and not never else None,
            "Losses of group": None if REFUSED in lost else float(sum(dead or 0 for dead in lost)),
        }  # fmt: skip

    def _lot(self, line: Line) -> None:
        """What is left of a lot: not known where one amount is not, or one is in another unit than the lot."""
        kept = line.word("Kept in", ("g", "mL"))
        parts = {"g": 0.0, "mL": 0.0}
        known = kept in parts
        for one in self.lines["Treatments"]:
            if self.target(one, "Treatment lot", "Stores") is line:
                amounts = {unit: one.figures[f"Product in all {unit}"] for unit in parts}
                known = known and any(amount is not None for amount in amounts.values())
                for unit, amount in amounts.items():
                    parts[unit] += amount or 0.0  # type: ignore[operator]
        for heading, scale, figure in (
            ("Lot", "Drug weighed g", "Drug used g"),
            ("Buffer lot", "Buffer weighed g", "Buffer used g"),
        ):
            for one in self.lines["Baths"]:
                begun = one.cells.get(scale) is not None or one.cells.get("Top ups given") not in (None, 0)
                if begun and self.target(one, heading, "Stores") is line:  # else it is planned: nothing is used yet
                    known = known and one.figures[figure] is not None
                    parts["g"] += one.figures[figure] or 0.0  # type: ignore[operator]
        known = known and not any(amount for unit, amount in parts.items() if unit != kept)
        received = line.amount("Received", 0, 1e9)
        discarded = first_of(line.amount("Discarded", 0, 1e9), 0.0)
        line.figures["Amount used"] = parts[kept] if known else None
        line.figures["Balance"] = worked(lambda r, u, d: r - u - d, received, line.figures["Amount used"], discarded)

    def species(self, fish: Line) -> Any:
        """The species typed for the fish, or its bath's; None where it is not known."""
        bath = self.target(fish, "Fish bath", "Baths")
        found = first_of(fish.word("Species", SPECIES), bath.word("Bath species", SPECIES) if bath else None)
        return None if found is REFUSED else found


def _times(one: float, other: float) -> float:
    return one * other


def _rate(line: Line, count: str, seconds: str) -> float | None:
    """Movements a minute."""
    found: float | None = worked(
        lambda a, b: 60 * a / b, line.amount(count, 0, 10_000, whole=True), line.amount(seconds, 0, 1e6, above=True)
    )
    return found
