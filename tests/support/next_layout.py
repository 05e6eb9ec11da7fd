"""A folder of layouts in which the case log is one layout further: layout 1 with what next-layout.toml adds to it."""

from __future__ import annotations

import contextlib
import copy
import csv
import importlib
import shutil
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import tomlkit

from tests.support.first_version import OLDER
from workbook_tools.layout import Layout, compute, load
from workbook_tools.log.upgrading import log_upgrade

ADDITIONS = Path(__file__).with_name("next-layout.toml")
TEMPLATES = Path(__file__).parents[2] / "templates"


def write_layouts(folder: Path) -> None:
    """Copy the layouts to a folder, with the next one for the case log of today."""
    shutil.copytree(TEMPLATES, folder, dirs_exist_ok=True)
    layout = tomllib.loads((TEMPLATES / f"{OLDER}.toml").read_text(encoding="utf-8"))
    more = tomllib.loads(ADDITIONS.read_text(encoding="utf-8"))
    _write_agents(folder)
    (folder / "case-log.toml").write_text(tomlkit.dumps(_added(layout, more)), encoding="utf-8")


@contextlib.contextmanager
def next_layouts(folder: Path) -> Iterator[Layout]:
    """Let the folder's layouts be the program's."""
    write_layouts(folder)
    module = importlib.import_module("workbook_tools.layout.load")
    before = module.folder
    try:
        for place in (module, log_upgrade):
            place.folder = lambda: folder  # type: ignore[attr-defined]
        _forget()
        yield load("case-log")
    finally:
        for place in (module, log_upgrade):
            place.folder = before  # type: ignore[attr-defined]
        _forget()


def _forget() -> None:
    load.cache_clear()
    compute._programs.cache_clear()
    compute._measure.cache_clear()


def _added(layout: dict[str, Any], more: dict[str, Any]) -> dict[str, Any]:
    layout = copy.deepcopy(layout)
    layout["version"] = more["version"]
    sheets = layout["sheet"]
    tables = {table["key"]: table for sheet in sheets for table in sheet.get("table", ())}
    for kind in ("column", "measure"):
        for entry in more[kind]:
            columns = tables[entry["table"]]["column"]
            keys = [column["key"] for column in columns]
            columns.insert(keys.index(entry["after"]) + 1 if "after" in entry else len(keys), entry["entry"])
    for entry in more["rule"]:
        tables[entry["table"]].setdefault("rule", []).append(entry["entry"])
    for entry in more["offer"]:
        tables[entry["table"]]["data"] += entry["values"]
    for entry in more["list"]:
        lists = next(sheet for sheet in sheets if sheet["name"] == "Lists")["table"]
        lists.insert([table["key"] for table in lists].index(entry["after"]) + 1, entry["entry"])
    for entry in more["line"]:
        lines = sheets[0]["line"]
        lines.insert([line["text"] for line in lines].index(entry["after"]) + 1, entry["entry"])
    for entry in more["sheet"]:
        names = [sheet["name"] for sheet in sheets]
        sheets.insert(names.index(entry["after"]) + 1, entry["entry"])
    tables["agents"]["file"] = "reference/agents-next.csv"
    return layout


def _write_agents(folder: Path) -> None:
    """The agents of layout 1 with the new column, one caution in other words, and an agent more."""
    with (TEMPLATES / "older/reference-1/agents.csv").open(encoding="utf-8", newline="") as file:
        lines = list(csv.DictReader(file))
    lines[0]["caution"] += " Mind the lid."
    lines.append({**lines[0], "agent": "salt", "caution": "Invented for a test."})
    with (folder / "reference/agents-next.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, [*lines[0], "store_unit"])
        writer.writeheader()
        writer.writerows({**line, "store_unit": "tin"} for line in lines)
