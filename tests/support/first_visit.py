"""What the vet of the first hour types: one whole visit, and the figures it must give, worked out by hand.

Everything here is invented. Days are counted from the day of the walk, so that dates are never in the future by
accident and the fish are still on hold.
"""

from __future__ import annotations

import datetime

from workbook_tools.layout import case_log

Row = dict[str, str]

AGO, TREATED_LAST, NEXT = -1, 1, 14  # days: the visit and first treatment, the last treatment, the next visit
WAIT = 10  # days after the last treatment, as the vet names the rule

# By hand
ROUND_TANK = 2513.2741228718346  # L: pi / 4 x 2.00 m x 2.00 m x 0.80 m = 2.51327... m3
TUB = 40.0  # L: 80 cm x 50 cm x 10 cm = 40,000 cm3
DRUG, BUFFER = 3.2, 6.4  # g: 40 L x 80 mg/L = 3,200 mg; twice the drug (reference ratio 2)
NEXT_DRUG, NEXT_BUFFER = 2.4, 4.8  # g: 40 L x 60 mg/L = 2,400 mg; twice that
TOP_UP = 0.8  # g: 40 L x 20 mg/L = 800 mg
WORKING, RECOVERY = 120.0, 180.0  # s: 9:30:30 to 9:32:30, and 9:35:00 to 9:38:00
BREATHS = 80.0  # a minute: 20 in 15 s
BIOMASS = 50.0  # kg: 200 fish x 250 g
TREATMENT = 37.5  # g each day: 2,500 L x 15 mg/L = 37,500 mg
TREATMENT_IN_ALL = 112.5  # g: three days
PER_FIELD = 3.0  # 30 counted in 10 fields
LEFT = {"A1": 96.8, "N1": 493.6, "C1": 887.5}  # g: 100 - 3.2, 500 - 6.4, 1000 - 112.5
DENSITY = BIOMASS / ROUND_TANK * 1000  # kg in a cubic metre


def day(shift: int) -> datetime.date:
    """So many days from the day of the walk."""
    return datetime.date.today() + datetime.timedelta(days=shift)


def release() -> datetime.date:
    """The first day on which the fish may be sold: ten days after the last treatment, counted on a calendar."""
    return day(TREATED_LAST + WAIT)


SITE_NAMES = ("Alder springs", "Birch pond")
PRIVATE = "Asked to pay in spring"


def rows() -> dict[str, list[Row]]:
    """Rows by table key, in the order of the rows that the log has ready; ids are there already, except lots."""
    visit, later = str(day(AGO)), str(day(NEXT))
    fish = {
        "bath": "B001", "weight": "250", "length": "28", "into": "9:30:30", "balance": "9:31:30",
        "working": "9:32:30", "settled": "yes", "out": "9:35:00", "recovered": "9:38:00", "count": "15", "over": "15",
        "gill_colour": "red", "outcome": "recovered", "adverse": "none",
    }  # fmt: skip
    return {
        "sites": [
            {"name": SITE_NAMES[0], "kind": "farm", "food_fish": "yes", "water": "spring", "group": "cold water fish",
             "altitude": "120", "contact": "Ida Moss", "telephone": "555 0100"},
            {"name": SITE_NAMES[1], "kind": "pond", "food_fish": "no", "water": "lake", "group": "cold water fish",
             "contact": "Tom Reed", "telephone": "555 0199"},
        ],
        "vessels": [
            {"site": "S001", "name": "Round tank", "shape": "round", "unit": "m", "length": "2", "depth": "0.8"},
            {"site": "S001", "name": "Blue tub", "shape": "rectangle", "unit": "cm", "length": "80", "breadth": "50",
             "depth": "10"},
        ],
        "stocks": [
            {"site": "S001", "vessel": "T001", "species": "rainbow trout", "food_fish": "yes", "as_of": visit,
             "number": "200", "mean_weight": "250"},
        ],
        "stores": [
            {"lot": "A1", "item": "tricaine methanesulfonate", "unit": "g", "received": "100",
             "received_on": str(day(-90)), "expiry": str(day(400))},
            {"lot": "N1", "item": "sodium bicarbonate", "unit": "g", "received": "500",
             "received_on": str(day(-90)), "expiry": str(day(400))},
            {"lot": "C1", "item": "chloramine-T", "unit": "g", "received": "1000",
             "received_on": str(day(-90)), "expiry": str(day(400))},
        ],
        "visits": [
            {"date": visit, "site": "S001", "purpose": "routine check", "seen_by": "veterinarian",
             "findings": "Some fish rub themselves on the wall.", "notes": PRIVATE},
            {"date": later, "site": "S001", "purpose": "follow-up"},
        ],
        "water": [
            {"visit": "V001", "vessel": "T001", "time": "9:10", "temperature": "12", "ph": "7.2", "oxygen": "9.5",
             "alkalinity": "60", "ammonia": "0.1"},
        ],
        "baths": [
            {"visit": "V001", "vessel": "T002", "use": "anaesthesia", "species": "rainbow trout",
             "agent": "tricaine methanesulfonate", "start_dose": "80", "step": "20", "limit": "120", "lot": "A1",
             "buffer_lot": "N1", "temperature": "12", "reading": "W001", "ph": "7.2", "times": "clock",
             "started": "9:30:00", "drug_weighed": "3.2", "buffer_weighed": "6.4", "topups": "0", "ended": "9:50:00",
             "disposal": "field, away from ditches"},
            {"visit": "V002", "vessel": "T002", "use": "anaesthesia", "species": "rainbow trout",
             "agent": "tricaine methanesulfonate", "start_dose": "60", "step": "20", "limit": "120"},
        ],
        "watch": [
            {"bath": "B001", "time": "9:31:00", "equilibrium": "kept", "response": "slightly reduced",
             "ventilation": "slightly slow", "count": "20", "over": "15"},
        ],
        "fish": [fish, fish | {"weight": "262", "length": "28.5"}, fish | {"weight": "241", "length": "27.5"}],
        "samples": [
            {"visit": "V001", "stock": "K001", "fish": "F001", "kind": "gill biopsy", "site": "second arch, left",
             "magnification": "100", "fields": "10", "found": "flukes", "count": "30", "examined": "3",
             "positive": "2"},
        ],
        "treatments": [
            {"visit": "V001", "stock": "K001", "route": "bath", "agent": "chloramine-T, freshwater salmonids",
             "dose": "15", "days": "3", "first": str(day(TREATED_LAST - 2)), "last": str(day(TREATED_LAST)),
             "used": "2500", "why": "gill disease", "prescriber": "veterinarian", "extra_label": "no", "lot": "C1",
             "rule": "days", "wait": str(WAIT), "rule_source": "the prescriber's own rule"},
        ],
        "follow_ups": [
            {"visit": "V001", "stock": "K001", "treatment": "R001", "due": later, "what": "Scrape the gills again",
             "who": "veterinarian"},
        ],
    }  # fmt: skip


def texts() -> dict[str, dict[str, str]]:
    """Cells by sheet, and what is typed into them."""
    found: dict[str, dict[str, str]] = {}
    for key, filled in rows().items():
        table = case_log().tables[key]
        for number, row in enumerate(filled, start=table.first_row):
            for name, text in row.items():
                found.setdefault(table.sheet, {})[f"{table.letters[name]}{number}"] = text
    return found


def cell(key: str, column: str, row: int = 0) -> str:
    """Address of a column's cell in the nth row of a table."""
    table = case_log().tables[key]
    return f"{table.letters[column]}{table.first_row + row}"
