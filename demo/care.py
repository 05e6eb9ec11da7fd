"""What the invented practice did besides baths: samples, treatments of whole stocks, and the daily sheet of a farm.

Doses lie inside the ranges of the Reference sheet; release rules are invented and rest on no label.
"""

from __future__ import annotations

import datetime
from random import Random
from typing import Any

from workbook_tools.functions.quantities.boundary import serial

Row = dict[str, Any]

LABORATORY = "regional fish laboratory"

_SAMPLE = ("visit", "stock", "kind", "site", "magnification", "fields", "found", "count", "examined", "positive")
_GILL, _PECTORAL = "second gill arch", "behind the pectoral fin"
_SAMPLES: tuple[tuple[object, ...], ...] = (
    ("2026-01-15", "K03", "gill biopsy", _GILL, 400, 10, "strands of thin bacteria", None, 6, 5),
    ("2026-01-15", "K03", "whole fish", None, None, None, None, None, 5, 4),
    ("2026-01-17", "K03", "gill biopsy", _GILL, 400, 10, "thin bacteria, few", None, 5, 2),
    ("2026-02-05", "K06", "skin scrape", _PECTORAL, 100, 10, "Trichodina", 84, 9, 8),
    ("2026-02-05", "K05", "gill biopsy", _GILL, 100, 10, "Trichodina", 22, 3, 2),
    ("2026-02-26", "K03", "gill biopsy", _GILL, 400, 10, "nothing found", 0, 6, 0),
    ("2026-03-12", "K10", "gill biopsy", _GILL, 100, 10, "Dactylogyrus", 31, 10, 7),
    ("2026-04-09", "K06", "skin scrape", _PECTORAL, 100, 10, "Trichodina", 6, 4, 2),
    ("2026-05-07", "K09", "whole fish", "kidney, edge of ulcer", None, None, "ulcers", None, 2, 2),
    ("2026-05-21", "K02", "gill biopsy", _GILL, 100, 10, "nothing found", 0, 8, 0),
    ("2026-09-10", "K01", "skin scrape", _PECTORAL, 100, 10, "Gyrodactylus", 9, 8, 3),
    ("2026-09-24", "K08", "skin scrape", "tail stalk", 40, 10, "Ichthyophthirius", 46, 7, 6),
    ("2026-10-29", "K01", "skin scrape", _PECTORAL, 100, 10, "Gyrodactylus", 3, 4, 1),
    ("2026-11-12", "K09", "skin scrape", _PECTORAL, 100, 10, "nothing found", 0, 6, 0),
)
# What went to a laboratory: (visit, stock) -> number, question, result, day of the result
_SENT = {
    ("2026-01-15", "K03"): ("00417", "bacterium on the gills", "Flavobacterium branchiophilum", "2026-01-22"),
    ("2026-05-07", "K09"): ("00983", "cause of the ulcers", "Aeromonas salmonicida, atypical", "2026-05-19"),
}

_TREATMENTS: tuple[Row, ...] = (
    {"visit": "2026-01-15", "stock": "K03", "route": "bath", "agent": "chloramine-T, freshwater salmonids", "dose": 12,
     "days": 3, "first": "2026-01-15", "last": "2026-01-19", "minutes": 60, "why": "bacterial gill disease",
     "extra_label": "no", "lot": "00318", "rule": "days", "wait": 1, "rule_source": "prescription",
     "result": "losses from 40 to 2 a day"},
    {"visit": "2026-02-05", "stock": "K06", "route": "salt", "agent": "salt, bath for hours", "dose": 5, "days": 1,
     "first": "2026-02-06", "last": "2026-02-06", "why": "ciliates", "extra_label": "no", "rule": "days", "wait": 1,
     "rule_source": "prescription", "result": "few ciliates in April"},
    {"visit": "2026-03-12", "stock": "K10", "route": "bath", "agent": "praziquantel", "dose": 2, "days": 2,
     "first": "2026-03-13", "last": "2026-03-20", "number": 25, "why": "gill flukes", "extra_label": "yes",
     "rule": "never", "rule_source": "prescription", "notes": "Repeat once after a week."},
    {"visit": "2026-05-07", "stock": "K09", "route": "feed", "agent": "oxytetracycline, feed", "dose": 75, "days": 10,
     "first": "2026-05-20", "last": "2026-05-29", "active": 0.5, "ration": 1, "number": 38, "why": "ulcers",
     "extra_label": "yes", "lot": "7720", "rule": "never", "rule_source": "prescription",
     "result": "ulcers closed by July"},
    {"visit": "2026-07-16", "stock": "K02", "route": "feed", "agent": "oxytetracycline, feed", "dose": 75, "days": 10,
     "first": "2026-07-20", "last": "2026-07-29", "active": 0.5, "ration": 1.5, "why": "wounds after crowding",
     "extra_label": "no", "lot": "7720", "rule": "degree days", "wait": 400, "rule_source": "prescription",
     "mean": 15},
    {"visit": "2026-09-24", "stock": "K08", "route": "salt", "agent": "salt, bath for hours", "dose": 5, "days": 1,
     "first": "2026-09-25", "last": "2026-09-25", "salt_now": 0.3, "why": "white spot", "extra_label": "no"},
)  # fmt: skip

# Lots: number, drug, received, on, expires, where kept
_STORES = (
    ("0417A", "tricaine methanesulfonate", 1000, "2025-08-14", "2027-08-31", "cupboard, office"),
    ("0552B", "tricaine methanesulfonate", 1000, "2025-10-02", "2028-02-29", "car"),
    ("N2203", "sodium bicarbonate", 5000, "2025-09-01", "2028-12-31", "cupboard, office"),
    ("00318", "chloramine-T", 1000, "2025-11-03", "2027-03-31", "cupboard, office"),
    ("7720", "oxytetracycline", 25000, "2026-03-02", "2026-12-31", "feed store, site S01"),
)
# What to come back to: visit, stock, due, what, who, done, outcome
_FOLLOW_UPS = (
    ("2026-01-15", "K03", "2026-01-22", "count losses, look at gills again", "producer", "2026-01-21", "better"),
    ("2026-02-05", "K06", "2026-04-09", "scrape four fish", "veterinarian", "2026-04-09", "better"),
    ("2026-05-07", "K09", "2026-05-19", "ask for the laboratory's answer", "veterinarian", "2026-05-19", "gone"),
    ("2026-09-24", "K08", "2026-10-01", "scrape five fish", "producer", None, None),
    ("2026-11-12", "K09", "2026-12-10", "look at the scars", "veterinarian", None, None),
)

# Daily sheets: stock, first day, how many days, dead on the worst day, which day that was, feed [kg], temperature [C]
_DAILY = (
    ("K03", "2026-01-10", 17, 40, 5, 0.16, 7.9, "disease"),
    ("K06", "2026-02-01", 14, 22, 4, 9.0, 26.4, "disease"),
    ("K02", "2026-07-12", 46, 31, 4, 14.0, 15.6, "oxygen"),
)


def day(text: str) -> float:
    """Day number of a date such as 2026-03-12."""
    return serial(datetime.date.fromisoformat(text))


def samples(visit_ids: dict[str, str], kept_fish: str) -> list[Row]:
    """Rows of the Samples sheet; `visit_ids` by day, `kept_fish` is a fish that went to the laboratory."""
    rows = []
    for number, values in enumerate(_SAMPLES, start=1):
        row: Row = {"sample": f"P{number:03d}", **dict(zip(_SAMPLE, values, strict=True))}
        sent = _SENT.get((row["visit"], row["stock"])) if row["kind"] == "whole fish" else None
        if sent:
            names = ("number", "question", "result", "resulted")
            row |= dict(zip(names, sent, strict=True)) | {"laboratory": LABORATORY, "sent": day(row["visit"])}
            row["resulted"] = day(row["resulted"])
        if row["stock"] == "K09" and sent:
            row["fish"] = kept_fish
        row["visit"] = visit_ids[row["visit"]]
        rows.append(row)
    return rows


def treatments(visit_ids: dict[str, str]) -> list[Row]:
    """Rows of the Treatments sheet."""
    return [
        row
        | {"treatment": f"R{number:03d}", "visit": visit_ids[row["visit"]], "prescriber": "veterinarian"}
        | {"first": day(row["first"]), "last": day(row["last"])}
        for number, row in enumerate(_TREATMENTS, start=1)
    ]


def stores() -> list[Row]:
    """Rows of the Stores sheet."""
    return [
        {"lot": lot, "item": item, "unit": "g", "received": received, "received_on": day(came), "expiry": day(expires)}
        | {"place": place}
        for lot, item, received, came, expires, place in _STORES
    ]


def follow_ups(visit_ids: dict[str, str]) -> list[Row]:
    """Rows of the Follow-ups sheet; `visit_ids` by day."""
    return [
        {"follow_up": f"U{number:03d}", "visit": visit_ids[visit], "stock": stock, "due": day(due), "what": what}
        | {"who": who, "done": day(done) if done else None, "outcome": outcome}
        for number, (visit, stock, due, what, who, done, outcome) in enumerate(_FOLLOW_UPS, start=1)
    ]


def losses(random: Random) -> list[Row]:
    """Rows of the Losses sheet: a peak that dies away, and days on which somebody forgot a cell."""
    rows: list[Row] = []
    for stock, first, days, worst, peak, feed, temperature, cause in _DAILY:
        for number in range(days):
            share = 0.5 ** ((number - peak) / 2.2) if number >= peak else 0.25 * number / peak
            dead = round(worst * share * random.uniform(0.75, 1.2))
            rows.append(
                {
                    "day": f"D{len(rows) + 1:04d}",
                    "date": day(first) + number,
                    "stock": stock,
                    "dead": dead,
                    "cause": cause if dead > 3 else "unknown" if dead else None,
                    "feed": 0 if share > 0.6 else round(feed * random.uniform(0.9, 1.1), 2),
                    "temperature": round(temperature + random.gauss(0, 0.4), 1),
                    "oxygen": round(random.gauss(7.4, 0.5), 1) if random.random() < 0.4 else None,
                    "notes": "no feed" if share > 0.6 else None,
                }
            )
    return rows
