"""The workbook of counts across all logs; its sheets stand in `templates/programme.toml`."""

from __future__ import annotations

from typing import Any

from workbook_tools.across.many_logs.answers import Programme
from workbook_tools.across.observations import band_words
from workbook_tools.across.responses import Learned
from workbook_tools.layout import load
from workbook_tools.log.building.log_workbook import build_log

COUNTED = {
    "logs": "Logs",
    "sites": "Sites",
    "visits": "Visits",
    "baths": "Baths",
    "fish": "Fish examined",
    "samples": "Samples",
    "treatments": "Treatments",
    "losses": "Daily rows of losses",
    "problems": "Cells that do not fit their column (left out)",
}


def overview(programme: Programme) -> bytes:
    """The workbook as an .xlsx file. Raises MissingLibraryError where lifelines is not installed."""
    counts, learned = programme.counts(), programme.learned()
    data: dict[str, list[dict[str, Any]]] = {
        "counts": [{"what": says, "number": counts[key]} for key, says in COUNTED.items()],
        "doses": _doses(learned),
        "suggestions": [
            {
                **{"species": lesson.species, "agent": lesson.agent, "band": band_words(lesson.band)},
                **{"dose": lesson.suggestion.dose, "fish": lesson.seen, "words": lesson.words},
            }
            for lesson in learned.lessons
        ],
        "prevalence": [],
        "drugs": [vars(one) for one in programme.drug_use()],
        "losses": [vars(one) for one in programme.losses()],
    }
    data["counts"] += [
        {"what": f"Fish without a usable time: {reason}", "number": count} for reason, count in learned.left_out.items()
    ]
    for one in programme.prevalences():
        low, high = one.interval
        data["prevalence"].append(vars(one) | {"share": one.share, "low": low, "high": high})
    return build_log(load("programme"), data, rows=1)


def _doses(learned: Learned) -> list[dict[str, Any]]:
    """A row for each dose of each lesson."""
    return [
        {
            **{"species": lesson.species, "agent": lesson.agent, "band": band_words(lesson.band), "dose": one.dose},
            **{"fish": one.fish, "baths": one.baths, "seen": one.seen, "adverse": one.events, "died": one.died},
            "median": one.curve and one.curve.median,
            "low": one.curve and one.curve.median_low,
            "high": one.curve and one.curve.median_high,
            "quick": one.curve and one.curve.share,
            **{"soon": one.recovered_share, "recoveries": one.recovery_known},
        }
        for lesson in learned.lessons
        for one in lesson.responses
    ]
