"""The year of the invented practice: visits, what was found, and the baths that were made."""

from __future__ import annotations

from typing import NamedTuple

TRICAINE = "tricaine methanesulfonate"
LAST_SLEEP = "tricaine methanesulfonate, euthanasia"
CHLORAMINE = "chloramine-T, salmonids"


class Plan(NamedTuple):
    """A bath as it was planned: vessel, stock, start dose and limit [mg/L], number of fish.

    `mark` names what went otherwise: see `demo.practice`. `used` is water filled in where it was not to the mark [L].
    """

    vessel: str
    stock: str
    dose: float
    limit: float
    fish: int
    notes: str | None = None
    mark: str = ""
    agent: str = TRICAINE
    used: float | None = None


class Visit(NamedTuple):
    """One visit. `water` is temperature [C], pH, oxygen [mg/L], alkalinity [mg/L CaCO3] and ammonia [mg/L N]."""

    day: str
    site: str
    purpose: str
    theme: str
    findings: str
    water: tuple[float, float, float, float | None, float]
    baths: tuple[Plan, ...]
    notes: str | None = None


COUNTED_ON = "2026-09-10"
NEXT_DAY = "2026-11-27"

YEAR = (
    Visit("2025-11-06", "S01", "routine check", "clean",
          "Fish in good order; tail fins a little frayed in raceway 2. Grade within the month.",
          (9.4, 7.5, 9.8, 118, 0.11),
          (Plan("T06", "K01", 60, 120, 3, "First try at 60: slow."), Plan("T06", "K02", 80, 120, 4))),
    Visit("2025-11-25", "S02", "routine check", "clean",
          "Growers even in size, gills red. Clean the drum screen weekly.",
          (27.2, 7.1, 6.4, 84, 0.6),
          (Plan("T11", "K05", 80, 140, 3), Plan("T12", "K06", 80, 140, 4))),
    Visit("2025-12-11", "S03", "routine check", "rubbed",
          "Yearly weighing of the sturgeon. Belly plates rubbed on the pool's rough edge: smooth it.",
          (14.6, 7.8, 8.9, 142, 0.08),
          (Plan("T17", "K07", 100, 160, 2), Plan("T17", "K07", 120, 160, 2, mark="unsettled"),
           Plan("T18", "K08", 80, 140, 4)),
          "Curator would like a short talk for the keepers."),
    Visit("2026-01-15", "S01", "losses", "gill disease",
          "Fry gills pale and swollen, strands of bacteria in the scrape: bacterial gill disease. Thin out, treat.",
          (7.8, 7.4, 8.1, 116, 0.34),
          (Plan("T07", "K03", 60, 120, 6), Plan("T06", "K01", 80, 120, 3, mark="death"),
           Plan("T03", "K03", 12, 12, 0, "60 min, inflow shut.", agent=CHLORAMINE)),
          "Dust from the feed store on the inflow? Ask again."),
    Visit("2026-01-17", "S01", "follow-up", "gill disease",
          "Losses fell from 40 to 12 a day. Third treatment on Monday by the farm.",
          (7.9, 7.4, 8.6, None, 0.28),
          (Plan("T03", "K03", 12, 12, 0, "60 min, inflow shut; second treatment.", agent=CHLORAMINE),
           Plan("T07", "K03", 80, 120, 5))),
    Visit("2026-02-05", "S02", "losses", "ciliates",
          "Many turning ciliates on skin and gills of the nursery fish; ammonia high. Halve the feed, wash the filter.",
          (26.1, 7.3, 5.2, 72, 3.4),
          (Plan("T12", "K06", 80, 140, 5), Plan("T12", "K06", 100, 140, 4), Plan("T11", "K05", 100, 140, 3)),
          "Staff had skipped the weekly water test for a month."),
    Visit("2026-02-26", "S01", "follow-up", "clean",
          "Fry feed well, gills clean. No further treatment.",
          (8.3, 7.5, 9.9, 119, 0.12),
          (Plan("T07", "K03", 80, 120, 6), Plan("T06", "K04", 80, 120, 2))),
    Visit("2026-03-12", "S03", "advice", "flukes",
          "New goldfish carry gill flukes; keep in quarantine and repeat the scrape in two weeks.",
          (18.4, 7.9, 8.2, 150, 0.22),
          (Plan("T18", "K10", 80, 140, 5), Plan("T18", "K10", 100, 140, 5))),
    Visit("2026-04-09", "S02", "follow-up", "ciliates",
          "Few ciliates left, ammonia down. Back to full feed over a week.",
          (27.0, 7.2, 6.3, 88, 0.9),
          (Plan("T12", "K06", 100, 140, 4), Plan("T11", "K05", 100, 140, 3))),
    Visit("2026-05-07", "S03", "losses", "ulcers",
          "Carp with ulcers after the winter, water still cold. Two fish to the laboratory; no new fish for now.",
          (13.2, 7.7, 9.6, 138, 0.15),
          (Plan("T18", "K09", 80, 140, 2, used=38), Plan("T17", "K09", 100, 140, 3),
           Plan("T18", "K09", 400, 400, 2, "For the laboratory.", agent=LAST_SLEEP))),
    Visit("2026-05-21", "S01", "before a sale", "clean",
          "Raceway 2 fit for sale: no wounds, gills red, weights even.",
          (11.6, 7.6, 9.4, 121, 0.16),
          (Plan("T06", "K02", 80, 120, 4),
           Plan("T06", "K02", 80, 120, 4, "Scale had not been set to zero.", mark="overweighed"))),
    Visit("2026-06-18", "S02", "before a sale", "clean",
          "Growers fit for sale. Two with old fin wounds, healed.",
          (27.6, 7.2, 6.1, 90, 0.7),
          (Plan("T11", "K05", 100, 140, 4), Plan("T11", "K05", 120, 140, 3))),
    Visit("2026-07-16", "S01", "emergency", "gasping",
          "Oxygen low at dawn in raceway 2, fish at the inflow. Aerate, stop feeding, boards down; well again by noon.",
          (15.9, 7.3, 5.4, 117, 0.42),
          (Plan("T06", "K02", 60, 120, 3, "Light start dose: fish short of oxygen.", mark="slow breathing"),
           Plan("T06", "K01", 80, 120, 3)),
          "They had turned the alarm off."),
    Visit("2026-07-30", "S03", "follow-up", "rubbed",
          "Rubbed plates healing; one sturgeon thin, keep an eye on it.",
          (19.8, 7.9, 7.4, 147, 0.12),
          (Plan("T17", "K07", 120, 160, 2), Plan("T17", "K07", 120, 160, 2))),
    Visit("2026-08-20", "S02", "emergency", "brown gills",
          "Pump stood still overnight; gills brown: nitrite. Salt added to the sump, half the water changed.",
          (28.3, 6.9, 4.6, 64, 2.8),
          (Plan("T11", "K05", 80, 140, 3, mark="slow breathing"), Plan("T12", "K06", 100, 140, 4))),
    Visit("2026-09-10", "S01", "routine check", "skin flukes",
          "A few skin flukes on the growers, no harm yet. Look again in six weeks.",
          (12.8, 7.5, 9.0, 120, 0.19),
          (Plan("T06", "K01", 80, 120, 4), Plan("T06", "K01", 100, 120, 4), Plan("T06", "K04", 80, 120, 2))),
    Visit("2026-09-24", "S03", "losses", "white spot",
          "White spot in the goldfish pool. Raise the temperature slowly, no new plants, scrape again in a week.",
          (21.4, 8.0, 7.6, 152, 0.31),
          (Plan("T18", "K08", 100, 140, 4), Plan("T18", "K08", 100, 140, 3))),
    Visit("2026-10-15", "S02", "routine check", "clean",
          "Filter runs well, gills red. Keep the weekly water test.",
          (27.1, 7.2, 6.5, 92, 0.5),
          (Plan("T11", "K05", 100, 140, 3), Plan("T12", "K06", 100, 140, 5))),
    Visit("2026-10-29", "S01", "follow-up", "skin flukes",
          "Skin flukes fewer than in September. No treatment.",
          (10.9, 7.6, 9.6, 119, 0.14),
          (Plan("T06", "K01", 80, 120, 4), Plan("T06", "K02", 100, 120, 3))),
    Visit("2026-11-12", "S03", "routine check", "clean",
          "Carp ready for winter, ulcers healed. Sturgeon to be weighed at the end of the month.",
          (9.8, 7.8, 10.1, 140, 0.09),
          (Plan("T17", "K09", 100, 160, 3), Plan("T17", "K09", 120, 160, 3, mark="unsettled"),
           Plan("T18", "K08", 100, 140, 4))),
)  # fmt: skip

# What is put down for a fish under each theme; None is a blank cell, as when nobody looked.
_CLEAN = {
    "skin": ("clean", "clean", "slime cover good", None),
    "fins": ("whole", "tail a little frayed", None),
    "eyes": ("clear", "clear", None),
    "mouth": ("clean", None, None),
    "gill_colour": ("red", "red", "red", None),
    "gills": ("clean", "clean", "a little slime", None),
    "belly": ("flat", "well filled", None),
}
THEMES = {
    "clean": _CLEAN,
    "rubbed": _CLEAN | {"skin": ("belly plates rubbed", "rubbed, healing", "clean"), "fins": ("whole", "edge worn")},
    "gill disease": _CLEAN | {
        "gill_colour": ("pale", "pale", "mottled"),
        "gills": ("swollen, much slime", "tips clubbed", "strands of bacteria"),
        "skin": ("dark", "dark, thin slime", "clean"),
    },
    "ciliates": _CLEAN | {
        "skin": ("grey film", "grey film, flashing seen", "clean"),
        "gills": ("much slime", "ciliates in scrape", "clean"),
        "gill_colour": ("pale", "red", "red"),
    },
    "flukes": _CLEAN | {"gills": ("flukes, 3 in a field", "flukes, 1 in a field", "clean", "much slime")},
    "ulcers": _CLEAN | {
        "skin": ("ulcer on left side, 2 cm", "ulcer near tail, 1 cm", "scales lost", "old scar"),
        "fins": ("bases red", "whole"),
        "belly": ("vent red", "flat", "sunken"),
    },
    "gasping": _CLEAN | {"gill_colour": ("pale", "red", "mottled"), "belly": ("flat", "empty gut")},
    "brown gills": _CLEAN | {"gill_colour": ("brown", "brown", "brown", "red")},
    "skin flukes": _CLEAN | {"skin": ("flukes, 2 in a field", "flukes, 1 in a field", "clean", "clean")},
    "white spot": _CLEAN | {
        "skin": ("white spots, about 20", "white spots, 5", "white spots, tail only", "clean"),
        "gills": ("white spots", "clean"),
    },
}  # fmt: skip
