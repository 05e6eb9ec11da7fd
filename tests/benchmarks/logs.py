"""Invented logs of any size, for the benchmarks."""

from __future__ import annotations

from typing import Any

Rows = dict[str, list[dict[str, Any]]]
LITTLE = "S02"  # the site of the last visit alone


def data(baths: int) -> Rows:
    """A log of so many baths and as many fish, a tenth as many visits and vessels, and two sites."""
    tenth = max(1, baths // 10)
    return {
        "sites": [
            {"site": site, "name": name, "kind": "farm", "food_fish": "yes"}
            for site, name in (("S01", "Alder springs"), (LITTLE, "Birch ponds"))
        ],
        "vessels": [
            {"vessel": f"T{n:05d}", "site": LITTLE if n == tenth - 1 else "S01", "shape": "rectangle", "unit": "cm",
             "length": 200 + n % 50, "breadth": 50, "depth": 40}
            for n in range(tenth)
        ],
        "visits": [
            {"visit": f"V{n:05d}", "date": 45_000 + n % 1000, "site": LITTLE if n == tenth - 1 else "S01"}
            for n in range(tenth)
        ],
        "baths": [
            {"bath": f"B{n:06d}", "visit": f"V{n % tenth:05d}", "vessel": f"T{n % tenth:05d}", "use": "anaesthesia",
             "species": "rainbow trout", "agent": "tricaine methanesulfonate", "start_dose": 60 + n % 40, "step": 20,
             "limit": 120, "started": 0.4, "ended": 0.41, "topups": 0, "temperature": 8 + n % 10, "ph": 7.2}
            for n in range(baths)
        ],
        "fish": [
            {"fish": f"F{n:06d}", "bath": f"B{n:06d}", "weight": 200.5 + n % 300,
             "length": 25.5, "into": 0.4, "balance": 0.4008, "working": 0.4015 + n % 7 * 1e-5, "out": 0.404,
             "recovered": 0.406, "outcome": "recovered"}
            for n in range(baths)
        ],
    }  # fmt: skip


def changed(baths: int, rows: int = 20) -> Rows:
    """The same log after so many fish were weighed again and as many came to it."""
    log = data(baths)
    for row in log["fish"][:rows]:
        row["weight"] += 1
    log["fish"] += [row | {"fish": f"F{baths + n:06d}"} for n, row in enumerate(log["fish"][:rows])]
    return log
