"""Rows as layout 1 had them, made from rows of today: the same visits, baths and fish, typed into the older log."""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from typing import Any

from workbook_tools.layout import Layout, load
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit

OLDER = "older/case-log-1"
Data = dict[str, list[dict[str, Any]]]


def first_version(data: Mapping[str, Sequence[Mapping[str, Any]]]) -> Data:
    """Rows of today as version 1 took them.

    It had no Stores and Follow-ups, no buffer lots, harvests, pictures and stopwatch times; lots were plain text, and
    every fish had its species typed, here that of its bath. Baths by stopwatch had no clock times to type: theirs and
    those of their looks and fish are left out.
    """
    layout = load(OLDER)
    rows: Data = {
        key: [dict(copy.deepcopy(row)) for row in table] for key, table in data.items() if key in layout.tables
    }
    by_stopwatch = {row["bath"] for row in rows.get("baths", []) if row.get("times") == "stopwatch"}
    species = {row["bath"]: row.get("species") for row in rows.get("baths", [])}
    for fish in rows.get("fish", []):
        fish["species"] = fish.pop("other_species", None) or species.get(fish.get("bath"))
    for key, table in rows.items():
        typed = {column.key: column for column in layout.tables[key].typed}
        if not layout.tables[key].log:
            continue
        for row in table:
            watch = row.get("bath") in by_stopwatch
            for name in list(row):
                if name not in typed or (watch and typed[name].kind == "time" and name != "started"):
                    del row[name]
    rows["watch"] = [row for row in rows.get("watch", []) if row.get("bath") not in by_stopwatch]
    return rows


def first_log(data: Mapping[str, Sequence[Mapping[str, Any]]] | None = None, rows: int = 12) -> bytes:
    """A log as the program of layout 1 made it, filled with rows of today."""
    return older_log(None if data is None else first_version(data), rows)


def older_log(data: Data | None = None, rows: int = 12, layout: Layout | None = None) -> bytes:
    """A log as the program of layout 1 made it."""
    edit = WorkbookEdit(build_log(layout or load(OLDER), data, rows=rows))
    edit.set_property("Layout", "case-log")
    return edit.content()
