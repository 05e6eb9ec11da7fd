"""The log that is tried: a part of the invented year, with few rows on each sheet so that each try is quick."""

from __future__ import annotations

import re
import zipfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from demo.practice import practice
from workbook_tools.layout import Layout, case_log
from workbook_tools.log.building.log_workbook import build_log, provided

Row = dict[str, Any]
PROVIDED = 18
MOST = 12  # filled rows of a sheet
VISITS = ("V004", "V006", "V018", "V020", "V021")  # V018 by stopwatch, V021 planned
# titles on each printed page, which take LibreOffice a second to load; nothing is computed by them
PRINTED = re.compile(rb'<definedName name="_xlnm\.[^>]*>[^<]*</definedName>')


@dataclass(frozen=True)
class FilledLog:
    """A built log on disk, and what was typed into it."""

    path: Path
    layout: Layout
    data: dict[str, list[Row]]

    def filled(self, key: str) -> int:
        return len(self.data.get(key, ()))


@cache
def typed() -> dict[str, list[Row]]:
    """Some visits of the invented year with what hangs on them, and the sites, vessels and groups of all."""
    whole = practice()
    kept: dict[str, list[Row]] = {key: list(whole[key]) for key in ("sites", "vessels", "stocks", "stores")}
    kept["vessels"] = whole["vessels"][:8] + whole["vessels"][-2:]
    kept["visits"] = [row for row in whole["visits"] if row["visit"] in VISITS]
    for key in ("water", "baths", "samples", "follow_ups"):
        kept[key] = [row for row in whole[key] if row["visit"] in VISITS][-MOST:]
    baths = {row["bath"] for row in kept["baths"]}
    for key in ("watch", "fish"):
        rows = [row for row in whole[key] if row["bath"] in baths]
        kept[key] = rows[:: -(-len(rows) // MOST)]  # some of every bath
    kept["losses"] = whole["losses"][:MOST]
    kept["treatments"] = whole["treatments"]
    return kept


def write_filled(path: Path, data: dict[str, list[Row]] | None = None, rows: int = PROVIDED) -> FilledLog:
    """Build the log, without the titles on its printed pages."""
    data = typed() if data is None else data
    path.write_bytes(build_log(case_log(), data, rows=rows))
    parts = {}
    with zipfile.ZipFile(path) as package:
        for name in package.namelist():
            parts[name] = package.read(name)
    parts["xl/workbook.xml"] = PRINTED.sub(b"", parts["xl/workbook.xml"])
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        for name, content in parts.items():
            package.writestr(name, content)
    return FilledLog(path, provided(case_log(), data, rows), data)
