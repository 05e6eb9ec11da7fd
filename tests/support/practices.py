"""Invented practices with several sites, made by a seeded generator: names chosen to give trouble, marks to look for.

Every text of a site holds a mark of its own, a made-up word that no other row has, so that a search of raw bytes can
tell whose text it is without knowing anything of how copies are made or compared.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from random import Random
from typing import Any

from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.layout import case_log
from workbook_tools.layout.compute import Computed

Row = dict[str, Any]
MADE = datetime.datetime(2026, 7, 22, 14, 32)
TODAY = serial(MADE.date())
SPECIES = ("rainbow trout", "tilapia", "sturgeon", "perch", "catfish", "goldfish", "carp")
TROUBLE = (
    *("=1+1", "+1-800", "-5 C", "@SUM(A1)", '=HYPERLINK("file:///x","click")', "=cmd|' /C calc'!A0"),
    *("\t=1", "'=1"),
    *("{site} {day}", "&L&C&R &amp;", "<b>pond</b>", "]]>", "naïve Ünder", "Ωmega", "池", "🐟", "_x0041_", "a\nb"),
    *("x" * 300, "two  blanks", "pond", "water", "yes", "T01", "12 kg", "2026-07-01", "0012", "1e5", "none", "Sheet1"),
    *(
        "ع\u202eb",
        "\u00a0joined\u00a0",
        "it's",
        '"quoted"',
        "%s %d",
        "../../x",
        "Normal",
        "list",
        "A1:B2",
        "#REF!",
        "###",
    ),
)
SITE_NAMES = ("S{}", "=S{}", "s {}", "Ü{}", "S-{}", "&S{}", "T0{}", "site '{}'", "+{}", "K0{}")
ROUTES = (
    {"route": "bath", "agent": "chloramine-T, freshwater salmonids", "dose": 12, "days": 3, "minutes": 60},
    {"route": "bath by volume", "agent": "formalin, other finfish", "dose": 100, "days": 1, "minutes": 60},
    {
        "route": "bath by strength",
        "agent": "hydrogen peroxide, eggs, warm water",
        "dose": 50,
        "strength": 350,
        "days": 2,
    },
    {
        "route": "constant flow",
        "agent": "chloramine-T, freshwater salmonids",
        "dose": 12,
        "flow": 30,
        "minutes": 60,
        "days": 1,
    },
    {"route": "salt", "agent": "salt, bath for hours", "dose": 5, "salt_now": 0.3, "days": 1},
    {"route": "feed", "agent": "oxytetracycline, feed", "dose": 75, "active": 0.5, "ration": 1.5, "days": 10},
    {"route": "injection", "agent": "florfenicol, feed", "dose": 10, "strength": 100, "weight": 450, "days": 1},
    {"route": "euthanasia bath", "agent": "tricaine methanesulfonate, euthanasia", "dose": 250, "used": 60},
    {"route": "take out chlorine", "agent": "sodium thiosulfate pentahydrate", "dose": 0.5},
)
RULES = (
    {"rule": "days", "wait": 21},
    {"rule": "degree days", "wait": 400, "mean": 15},
    {"rule": "never"},
    {"rule": "degree days", "wait": 400},
    {},
)


@dataclass
class Practice:
    """Rows of a log by table, and the marks of each site's texts: those that its copy may hold, and private ones."""

    rows: dict[str, list[Row]]
    open_marks: dict[str, list[str]] = field(default_factory=dict)
    private_marks: dict[str, list[str]] = field(default_factory=dict)

    @property
    def sites(self) -> list[str]:
        return [row["site"] for row in self.rows["sites"]]

    def computed(self) -> Computed:
        return Computed(case_log(), {key: [dict(row) for row in rows] for key, rows in self.rows.items()})

    def marks_not_for(self, site: str) -> list[str]:
        """Marks of texts that the copy for a site may not hold."""
        foreign = [mark for other, marks in self.open_marks.items() if other != site for mark in marks]
        return foreign + [mark for marks in self.private_marks.values() for mark in marks]


class _Writer:
    def __init__(self, seed: int) -> None:
        self.random = Random(seed)
        self.made = Practice({key: [] for key in case_log().tables if case_log().tables[key].log})
        self.count = 0

    def mark(self) -> str:
        """A made-up word that nothing else has."""
        self.count += 1
        letters = "".join(self.random.choice("bdfghjklmprstvz") + self.random.choice("aeiou") for _ in range(3))
        return f"{letters}q{self.count}w"

    def text(self, site: str, private: bool = False) -> str:
        mark = self.mark()
        (self.made.private_marks if private else self.made.open_marks).setdefault(site, []).append(mark)
        trouble = self.random.choice(TROUBLE)
        return self.random.choice((f"{trouble} {mark}", f"{mark} {trouble}", f"{trouble}{mark}", mark))

    def maybe(self, site: str) -> str | None:
        return self.text(site) if self.random.random() < 0.6 else None

    def add(self, table: str, **row: Any) -> Row:
        self.made.rows[table].append(row)
        return row


def practice(seed: int) -> Practice:
    """A practice of two or three sites; the same seed gives the same one."""
    writer = _Writer(seed)
    names = writer.random.sample(SITE_NAMES, writer.random.randint(2, 3))
    lots = [f"{writer.random.randint(1000, 9999)}{letter}" for letter in "ABCD"]
    for number, name in enumerate(names, start=1):
        _site(writer, name.format(number), lots[number - 1])
    used = {row["lot"]: drug_of(row) for table in ("baths", "treatments") for row in writer.made.rows[table]}
    for lot, drug in (used | {lots[-1]: "chloramine-T"}).items():
        writer.add("stores", lot=lot, item=drug, unit="g", received=5000, place=writer.text("", True))
        writer.made.rows["stores"][-1]["notes"] = writer.text("", True)
    return writer.made


def drug_of(row: Row) -> str:
    """The drug of a bath or a treatment, as its lot has to be of it."""
    table = "remedies" if "route" in row else "agents"
    return str(Computed(case_log(), {}).find(table, row["agent"])["drug"])


def lot_of(lot: str, row: Row) -> str:
    """A site's lot of the drug of a bath or a treatment."""
    return f"{lot} {drug_of(row)}"


def _site(writer: _Writer, site: str, lot: str) -> None:
    random = writer.random
    say = writer.text
    writer.add(
        "sites",
        site=site,
        name=say(site),
        kind="farm",
        food_fish="yes",
        group=random.choice(("cold water fish", "warm water fish", None)),
        contact=writer.maybe(site),
        telephone=random.choice(("0555 " + f"{random.randint(0, 9999):04d}", None)),
        notes=say(site, True),
    )
    begin = len(writer.made.rows["vessels"])
    tanks = [f"T{begin + number:02d}" for number in range(1, random.randint(2, 4))]
    for tank in tanks:
        writer.add(
            "vessels",
            vessel=tank,
            site=site,
            name=writer.maybe(site),
            shape="known volume",
            known=round(random.uniform(50, 90_000), 1),
            notes=say(site),
        )
    begin = len(writer.made.rows["stocks"])
    groups = [f"K{begin + number:02d}" for number in range(1, random.randint(2, 4))]
    for group in groups:
        writer.add(
            "stocks",
            stock=group,
            site=site,
            vessel=random.choice(tanks),
            species=random.choice(SPECIES),
            food_fish=random.choice(("yes", "no")),
            number=random.randint(5, 9000),
            mean_weight=round(random.uniform(2, 3000), 1),
            notes=say(site),
        )
    begin = len(writer.made.rows["visits"])
    for number, day in enumerate(random.sample(range(-200, 40), random.randint(2, 4)), start=1):
        visit = f"V{begin + number:03d}"
        writer.add(
            "visits",
            visit=visit,
            date=TODAY + day,
            site=site,
            purpose="routine check",
            seen_by=say(site),
            findings=say(site),
            notes=say(site, True),
        )
        if day < 0:
            _examined(writer, site, visit, tanks, groups, lot)
    for group in groups:
        _treated(writer, site, group, visit, lot)
        _daily(writer, site, group)


def _examined(writer: _Writer, site: str, visit: str, tanks: list[str], groups: list[str], lot: str) -> None:
    random, say = writer.random, writer.text
    writer.add(
        "water",
        reading=f"W{len(writer.made.rows['water']) + 1:03d}",
        visit=visit,
        vessel=random.choice(tanks),
        temperature=round(random.uniform(2, 30), 1),
        ph=round(random.uniform(5.5, 9), 1),
        oxygen=round(random.uniform(2, 12), 1),
        alkalinity=120,
        ammonia=round(random.uniform(0, 3), 2),
        notes=say(site),
    )
    bath = f"B{len(writer.made.rows['baths']) + 1:03d}"
    writer.add(
        "baths",
        bath=bath,
        visit=visit,
        vessel=random.choice(tanks),
        use="anaesthesia",
        species=random.choice(SPECIES),
        agent="tricaine methanesulfonate",
        start_dose=80,
        notes=say(site),
        disposal=say(site),
    )
    made = writer.made.rows["baths"][-1]
    made["lot"] = lot_of(lot, made)
    for _ in range(random.randint(1, 5)):
        writer.add(
            "fish",
            fish=f"F{len(writer.made.rows['fish']) + 1:04d}",
            bath=bath,
            weight=100,
            length=20,
            skin=writer.maybe(site),
            gill_colour=random.choice(("red", "pale")),
            gills=writer.maybe(site),
            outcome="recovered",
            notes=say(site),
        )
    writer.add(
        "samples",
        sample=f"P{len(writer.made.rows['samples']) + 1:03d}",
        visit=visit,
        stock=random.choice(groups),
        kind="skin scrape",
        site=say(site),
        found=say(site),
        count=5,
        fields=10,
        examined=8,
        positive=random.randint(0, 8),
        laboratory=say(site),
        sent=TODAY - 10,
        result=writer.maybe(site),
        resulted=TODAY - 2,
        question=say(site),
        notes=say(site),
    )
    writer.add(
        "follow_ups",
        follow_up=f"U{len(writer.made.rows['follow_ups']) + 1:03d}",
        visit=visit,
        stock=random.choice(groups),
        due=max(TODAY + random.randint(-5, 20), writer.made.rows["visits"][-1]["date"]),
        what=say(site),
        who=say(site),
        notes=say(site),
    )


def _treated(writer: _Writer, site: str, group: str, visit: str, lot: str) -> None:
    random, say = writer.random, writer.text
    for _ in range(random.randint(1, 2)):
        route = dict(random.choice(ROUTES))
        first = TODAY + random.choice((-60, -3, 0, 2, 15))
        last = first + (route.get("days", 1) - 1) + random.choice((0, 0, 2))
        made = writer.add(
            "treatments",
            treatment=f"R{len(writer.made.rows['treatments']) + 1:03d}",
            visit=visit,
            stock=group,
            first=first,
            last=random.choice((last, last, None)),
            why=say(site),
            prescriber=say(site),
            rule_source=say(site),
            result=writer.maybe(site),
            notes=say(site, True),
            extra_label="no",
            **route,
            **random.choice(RULES),
        )
        made["lot"] = lot_of(lot, made)
        if made.get("rule") in ("days", "degree days"):
            made["last"] = last


def _daily(writer: _Writer, site: str, group: str) -> None:
    random = writer.random
    for number in range(random.randint(0, 12)):
        writer.add(
            "losses",
            day=f"D{len(writer.made.rows['losses']) + 1:04d}",
            date=TODAY - 20 + number,
            stock=group,
            dead=random.randint(0, 30),
            cause=random.choice(("disease", None)),
            feed=round(random.uniform(0, 20), 2),
            temperature=round(random.uniform(4, 25), 1),
            oxygen=random.choice((round(random.uniform(3, 11), 1), None)),
            notes=writer.maybe(site),
        )
