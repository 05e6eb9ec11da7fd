"""An invented practice: one year of visits to three sites, as a veterinarian would have typed them into the case log.

    practice()      rows for every sheet that is filled by hand, by table key and column key

The year is made by a generator with a fixed seed, so that it is the same every time, and is as untidy as records are:
cells left blank, a fish that never settled, a death, recovery times that nobody noted. Three cells are wrong on purpose
(`SLIPS`); the check must find them.
"""

from __future__ import annotations

import datetime
from random import Random
from typing import Any

from demo.care import day, follow_ups, losses, samples, stores, treatments
from demo.course import Course, FishCourse, run
from demo.places import GROUPS, Row, sites, stocks, vessels
from demo.species import SPECIES, Species
from demo.visits import CHLORAMINE, COUNTED_ON, LAST_SLEEP, NEXT_DAY, THEMES, TRICAINE, YEAR, Plan, Visit
from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.layout import case_log
from workbook_tools.layout.compute import Computed

SEED = 20251106
SHARED = "S01"  # the site whose producer gets a copy: no slip is left open there
STEP = 20  # rise of each top-up [mg/L]
SLIPS = (
    "a weight typed with a decimal comma",
    "a fish id used twice",
    "balance lost before the fish went in",
)
STOPWATCH_VISIT = "V018"
STOPWATCH_TIMES = {
    "baths": ("first_topup", "ended"),
    "watch": ("time",),
    "fish": ("into", "balance", "working", "out", "recovered"),
}
MISHAPS = ("death", "slow breathing")
UNSETTLED = 3.4  # tolerance of a fish that does not settle


def practice(seed: int = SEED, slips: bool = True) -> dict[str, list[Row]]:
    """Rows to fill the case log with, by table key and column key; `slips` leaves the wrong cells in.

    Dates are day numbers and times day fractions, as in a spreadsheet; a blank is None or not there.
    """
    diary = Diary(Random(seed))
    for number, visit in enumerate(YEAR, start=1):
        diary.visit(f"V{number:03d}", visit)
    diary.next_bath(f"V{len(YEAR) + 1:03d}")
    diary.between_visits()
    diary.by_stopwatch(STOPWATCH_VISIT)
    if slips:
        visits = {row["visit"] for row in diary.rows["visits"] if row["site"] != SHARED}
        baths = {row["bath"] for row in diary.rows["baths"] if row["visit"] in visits}
        make_slips([row for row in diary.rows["fish"] if row["bath"] in baths])
    return diary.rows


def reading(second: float) -> float:
    """What a spreadsheet makes of a stopwatch time typed m:ss: it takes 3:20 for hours and minutes."""
    return round(second) / 1440


def clock(second: float) -> float:
    """Time of day as a fraction, from seconds since midnight."""
    return serial(datetime.timedelta(seconds=round(second)))


def make_slips(fish: list[Row]) -> None:
    """Three slips of the hand, as in SLIPS."""
    weighed = next(row for row in fish[25:] if row["weight"] % 1)
    weighed["weight"] = f"{weighed['weight']:.1f}".replace(".", ",")
    fish[41]["fish"] = fish[40]["fish"]
    timed = next(row for row in fish if row["balance"] is not None and row["working"] is None)
    timed["balance"] = timed["into"] - clock(60)


class Diary:
    """Writes the rows of the year, visit by visit."""

    def __init__(self, random: Random) -> None:
        self.random = random
        self.rows: dict[str, list[Row]] = {
            "sites": sites(),
            "vessels": vessels(),
            "stocks": stocks(day(COUNTED_ON)),
            **{key: [] for key in ("visits", "water", "baths", "watch", "fish")},
        }
        computed = Computed(case_log(), {"vessels": vessels(), "sites": sites()})
        self.readings: dict[str, str] = {}  # of the visit in hand, by vessel
        self.litres: dict[str, float] = {row["vessel"]: row["volume"] for row in computed.data["vessels"]}

    def maybe(self, value: Any, share: float) -> Any:
        """The value, or a blank in a share of cases."""
        return None if self.random.random() < share else value

    def visit(self, identifier: str, visit: Visit) -> None:
        """One visit with its readings, baths, looks and fish."""
        self.rows["visits"].append(
            {
                "visit": identifier,
                "date": day(visit.day),
                "site": visit.site,
                "purpose": visit.purpose,
                "seen_by": self.random.choice(("veterinarian", "veterinarian", "veterinarian and trainee")),
                "findings": visit.findings,
                "notes": visit.notes,
            }
        )
        second = 3600 * self.random.choice((8, 9, 9, 10, 13)) + 60 * self.random.randint(5, 50)
        seen = dict.fromkeys(GROUPS[plan.stock].vessel for plan in visit.baths)
        for number, vessel in enumerate(seen):
            self.water(identifier, visit, vessel, second + 420 * number, first=number == 0)
        self.readings = dict(zip(seen, (row["reading"] for row in self.rows["water"][-len(seen) :]), strict=True))
        second += 1500
        for plan in visit.baths:
            if plan.agent == CHLORAMINE:
                second = self.treatment(identifier, visit, plan, second)
            else:
                second = self.bath(identifier, visit, plan, second)
            second += 60 * self.random.randint(12, 25)

    def water(self, visit_id: str, visit: Visit, vessel: str, second: int, first: bool) -> None:
        """One set of readings."""
        temperature, ph, oxygen, alkalinity, ammonia = visit.water
        shift = self.random.gauss
        self.rows["water"].append(
            {
                "reading": f"W{len(self.rows['water']) + 1:03d}",
                "visit": visit_id,
                "vessel": vessel,
                "time": self.maybe(clock(60 * (second // 60)), 0.1),
                "temperature": temperature if first else round(temperature + shift(0, 0.3), 1),
                "ph": ph if first else round(ph + shift(0, 0.08), 1),
                "oxygen": oxygen if first else round(oxygen + shift(0.2, 0.3), 1),
                "alkalinity": alkalinity if first else None,
                "ammonia": ammonia if first else self.maybe(round(max(ammonia + shift(0, 0.05), 0.02), 2), 0.3),
                "notes": self.maybe("taken at the outlet", 0.7),
            }
        )

    # --------------------------------------------------------------------------------------------- baths

    def planned(self, visit_id: str, plan: Plan, use: str) -> Row:
        """What is known of a bath beforehand."""
        row: Row = {
            "bath": f"B{len(self.rows['baths']) + 1:03d}",
            "visit": visit_id,
            "vessel": plan.vessel,
            "use": use,
            "species": GROUPS[plan.stock].species,
            "agent": plan.agent,
            "start_dose": plan.dose,
        }
        if plan.agent == TRICAINE:
            row |= {"step": STEP, "limit": plan.limit}
        return row

    def weighed(self, row: Row, plan: Plan, error: float) -> Row:
        """What the scale showed, for the water of the bath."""
        water = (plan.used or self.litres[plan.vessel]) - (row.get("fish_mass") or 0)
        drug = water * plan.dose / 1000
        masses: Row = {"drug_weighed": round(drug * (1 + error), 2)}
        if plan.agent != CHLORAMINE:
            masses["buffer_weighed"] = round(2 * drug * self.random.gauss(1.005, 0.005), 2)
            masses["buffer_lot"] = "N2203"
        return masses

    def treatment(self, visit_id: str, visit: Visit, plan: Plan, second: int) -> int:
        """A treatment bath of a stock in its own vessel; the second of the day at which it ended."""
        ended = second + 3600
        self.rows["baths"].append(
            self.planned(visit_id, plan, "treatment")
            | self.weighed({}, plan, self.random.gauss(0, 0.006))
            | {
                "lot": "00318",
                "temperature": visit.water[0],
                "started": clock(second),
                "ended": clock(ended),
                "disposal": "outlet pond, shut",
                "notes": plan.notes,
            }
        )
        return ended

    def bath(self, visit_id: str, visit: Visit, plan: Plan, second: int) -> int:
        """A bath to handle fish in, or to end their lives; the second of the day at which it ended."""
        species = SPECIES[GROUPS[plan.stock].species]
        temperature = round(visit.water[0] + self.random.gauss(0.2, 0.3), 1)
        last_sleep = plan.agent == LAST_SLEEP
        tolerances = [self.random.lognormvariate(0, 0.17) for _ in range(plan.fish)]
        if plan.mark == "unsettled":
            tolerances[-1] = UNSETTLED
        course = run(self.random, species, temperature, (plan.dose, STEP, plan.limit), tolerances)
        bodies = [self.body(species, plan, visit) for _ in course.fish]
        row = self.planned(visit_id, plan, "euthanasia" if last_sleep else "anaesthesia")
        if plan.vessel == "T17" or species.name == "carp":
            row["fish_mass"] = round(sum(body["weight"] for body in bodies) / 1000, 1)
        error = 0.075 if plan.mark == "overweighed" else self.random.gauss(0, 0.006)
        row |= self.weighed(row, plan, error)
        length = 1800 if last_sleep else course.ended
        untimed = sum(bool(bath.get("topups")) for bath in self.rows["baths"]) == 2  # the third one topped up
        row |= {
            "used": plan.used,
            "lot": self.maybe(self.random.choice(("0417A", "0417A", "0552B")), 0.1),
            "temperature": temperature,
            "reading": self.readings[GROUPS[plan.stock].vessel],
            "ph": self.maybe(round(visit.water[1] + self.random.gauss(-0.05, 0.06), 1), 0.15),
            "started": clock(second),
            "topups": None if last_sleep else len(course.top_ups),
            "first_topup": clock(second + course.top_ups[0]) if course.top_ups and not untimed else None,
            "ended": clock(second + length),
            "disposal": self.maybe("field, away from ditches", 0.25),
            "notes": plan.notes,
        }
        self.rows["baths"].append(row)
        if not last_sleep and (plan.mark in MISHAPS or self.random.random() < 0.6):
            self.watch(row["bath"], species, plan, course, second)
        for number, (fish, body) in enumerate(zip(course.fish, bodies, strict=True)):
            entry = self.fish(row["bath"], species, fish, second) | body | self.examination(visit.theme)
            self.rows["fish"].append(entry | self.ending(plan, number, entry))
        return second + length

    def next_bath(self, visit_id: str) -> None:
        """The visit and the bath that are planned and not yet made."""
        self.rows["visits"].append(
            {"visit": visit_id, "date": day(NEXT_DAY), "site": "S03", "purpose": "routine check", "seen_by": None,
             "findings": None, "notes": "Yearly weighing of the sturgeon; two more hands are promised."}
        )  # fmt: skip
        plan = Plan("T17", "K07", 120, 160, 2)
        self.rows["baths"].append(self.planned(visit_id, plan, "anaesthesia") | {"fish_mass": 11})

    def between_visits(self) -> None:
        """Samples, treatments of whole stocks and the farms' daily sheets."""
        visit_ids = {visit.day: row["visit"] for visit, row in zip(YEAR, self.rows["visits"], strict=False)}
        kept = next(row["fish"] for row in self.rows["fish"] if row["outcome"] == "kept for laboratory")
        self.rows["samples"] = samples(visit_ids, kept)
        self.rows["losses"] = losses(self.random)
        self.rows["treatments"] = treatments(visit_ids)
        self.rows["stores"] = stores()
        self.rows["follow_ups"] = follow_ups(visit_ids)

    def by_stopwatch(self, visit_id: str) -> None:
        """The times of a visit as they were read off a stopwatch."""
        starts = {row["bath"]: row["started"] for row in self.rows["baths"] if row["visit"] == visit_id}
        for table, keys in STOPWATCH_TIMES.items():
            for row in self.rows[table]:
                for key in keys if row["bath"] in starts else ():
                    if row.get(key) is not None:
                        row[key] = reading(86400 * (row[key] - starts[row["bath"]]))
        for row in self.rows["baths"]:
            if row["bath"] in starts:
                row["times"] = "stopwatch"

    # ---------------------------------------------------------------------------------------------- fish

    def body(self, species: Species, plan: Plan, visit: Visit) -> Row:
        """Length and weight of one fish of the stock on that day."""
        group = GROUPS[plan.stock]
        months = (day(visit.day) - day(YEAR[0].day)) / 30.4
        length = round(self.random.gauss(group.length + group.growth * months, group.spread), 1)
        return {"weight": species.weight(self.random, length), "length": length}

    def fish(self, bath: str, species: Species, fish: FishCourse, second: int) -> Row:
        """Stage times and opercular count of one fish."""
        settled = fish.working is not None
        over = self.random.choice((15, 15, 30))
        rate = species.breathing * (0.62 if settled else 0.85) * self.random.gauss(1, 0.1)
        return {
            "fish": f"F{len(self.rows['fish']) + 1:04d}",
            "bath": bath,
            "into": clock(second + fish.into),
            "balance": None if fish.balance is None else self.maybe(clock(second + fish.balance), 0.12),
            "working": clock(second + fish.working) if fish.working is not None else None,
            "settled": self.maybe("yes", 0.3) if settled else "no",
            "out": clock(second + fish.out),
            "recovered": clock(second + fish.recovered),
            "count": round(rate * over / 60),
            "over": over,
        }

    def examination(self, theme: str) -> Row:
        """Findings by region of the body."""
        return {region: self.random.choice(said) for region, said in THEMES[theme].items()}

    def ending(self, plan: Plan, number: int, entry: Row) -> Row:
        """What became of the fish, with the gaps and mishaps of the year."""
        if plan.agent == LAST_SLEEP:
            gone = dict.fromkeys(("working", "settled", "out", "recovered", "count", "over"))
            return gone | {"outcome": "kept for laboratory", "adverse": None, "notes": "kidney and ulcer edge sampled"}
        if plan.mark == "death" and number == 0:
            lost = {"recovered": None, "count": 0, "outcome": "died", "adverse": "breathing stopped"}
            return lost | {"notes": "gills badly swollen; water run over them for 10 min in vain"}
        if entry["settled"] == "no":
            return {"outcome": "recovered", "adverse": "none", "notes": "never lay still; length only by eye"}
        slow = (entry["recovered"] - entry["out"]) * 86400 > 330
        ending: Row = {
            "outcome": "recovered",
            "adverse": "slow recovery" if slow else self.maybe("none", 0.25),
            "notes": self.maybe(self.random.choice(("jumped at first", "scale sample taken", "marked")), 0.85),
        }
        draw = self.random.random()
        if draw < 0.03:
            ending["recovered"] = None  # nobody noted the time
        elif draw < 0.06:
            ending |= {"count": None, "over": None}
        elif draw < 0.075:
            ending |= {"recovered": None, "outcome": None}
        return ending

    # --------------------------------------------------------------------------------------------- looks

    def watch(self, bath: str, species: Species, plan: Plan, course: Course, second: int) -> None:
        """Looks at the first fish on its way down, and at what went wrong."""
        fish = course.fish[0]
        working = fish.working or fish.out
        balance = fish.balance or working
        normal = ("kept", self.random.choice(("normal", "slightly reduced")), "normal", 1.0)
        looks: list[tuple[float, tuple[str, str, str, float]]] = [
            (0.35 * balance, normal),
            (0.85 * balance, ("kept", "strong pressure only", "slightly slow", 0.9)),
        ]
        if working - balance > 25:
            looks.append(((balance + working) / 2, ("partly lost", "strong pressure only", "fast", 1.25)))
        if fish.working is not None:
            looks.append((working + 12, ("lost", "none", "slow and regular", 0.6)))
        if plan.mark in MISHAPS:
            looks.append((working + 40, ("lost", "none", "slow and irregular", 0.2)))
        if plan.mark == "death":
            looks.append((working + 65, ("lost", "none", "stopped", 0.0)))
        for at, look in looks:
            self.look(bath, species, second + at, look)
        if plan.mark in MISHAPS:
            said = "out, clean water over the gills" if plan.mark == "death" else "lifted out at once"
            self.rows["watch"][-1]["notes"] = said

    def look(self, bath: str, species: Species, second: float, look: tuple[str, str, str, float]) -> None:
        """One look."""
        equilibrium, response, ventilation, share = look
        over = self.random.choice((10, 15, 15))
        count = round(species.breathing * share * self.random.gauss(1, 0.07) * over / 60)
        counted = self.random.random() < 0.85 or share == 0
        self.rows["watch"].append(
            {
                "look": f"L{len(self.rows['watch']) + 1:03d}",
                "bath": bath,
                "time": clock(second),
                "equilibrium": equilibrium,
                "response": response,
                "ventilation": ventilation,
                "count": count if counted else None,
                "over": over if counted else None,
                "notes": self.maybe("restless", 0.8) if equilibrium == "partly lost" else None,
            }
        )
