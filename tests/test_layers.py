"""Imports point one way: this reads every import of the package and fails on an upward arrow."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "workbook_tools"
# Eight rooms, and the errors that all of them raise. Each may import itself and what stands before it; where a room's
# parts are listed, this holds for them as well.
ROOMS = (
    "errors",
    *("functions.quantities", "functions.formulas", "functions.catalogue", "functions.texts", "functions"),
    *("xlsx.addresses", "xlsx.packing", "xlsx.reading", "xlsx.writing", "xlsx.saving", "xlsx.editing"),
    *("xlsx.printing", "xlsx", "layout"),
    *("log.building", "log.checking", "log.gate", "log.upgrading", "log.merging", "log.card", "log"),
    *("producer", "across", "across.many_logs", "hosts", "cli", "__main__"),
)
# what needs pint stays out of reach of the formulas
NEEDS_PINT = (
    "workbook_tools.functions.quantities.boundary",
    "workbook_tools.functions.quantities.unit_table_writer",
)
BELOW_FORMULAS = {"errors", "functions.quantities", "functions.formulas"}


def module_name(path: Path) -> str:
    """Dotted name of a file of the package."""
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imported(source: str, module: str, is_package: bool = False) -> Iterator[tuple[int, str]]:
    """Line and full name of everything a module imports, wherever in it the import stands.

    A relative import is made absolute; `from a import b` gives a.b, since b may be a module. A module imported by its
    name as text gives that name, cut where it is not written out.
    """
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name
        elif isinstance(node, ast.ImportFrom):
            base = module.split(".")
            base = base[: len(base) - node.level + is_package] if node.level else []
            start = ".".join([*base, *([node.module] if node.module else [])])
            for alias in node.names:
                yield node.lineno, f"{start}.{alias.name}"
        elif isinstance(node, ast.Call) and ast.unparse(node.func).split(".")[-1] in ("import_module", "__import__"):
            yield node.lineno, written_part(node.args[0])


def written_part(name: ast.expr) -> str:
    """The part of a module's name that is written out: `pack.layer.{topic}` gives pack.layer."""
    if isinstance(name, ast.JoinedStr):
        name = name.values[0]
    return str(name.value).rstrip(".") if isinstance(name, ast.Constant) else "?"


def room_of(name: str) -> str | None:
    """The room, or the part of one, that a module stands in."""
    inside = name.removeprefix("workbook_tools").removeprefix(".")
    return max((room for room in ROOMS if f"{inside}.".startswith(f"{room}.")), key=len, default=None)


def faults(source: str, module: str, is_package: bool = False) -> list[str]:
    """Every import of a module that points upward or where it may not."""
    own = room_of(module)
    assert own is not None, f"{module} stands in no room"
    found = []
    for line, name in imported(source, module, is_package):
        place = f"{module}, line {line}:"
        outside = not name.startswith("workbook_tools")
        room = room_of(name)
        if name == "?":
            found.append(f"{place} imports a module whose name is not written out")
        elif own == "functions.formulas" and (
            name.startswith(NEEDS_PINT)
            or (name.split(".")[0] not in sys.stdlib_module_names if outside else room not in BELOW_FORMULAS)
        ):
            found.append(f"{place} a formula may not import {name}")
        elif outside or name == "workbook_tools.__version__":
            continue
        elif room is None:
            found.append(f"{place} {name} stands in no room")
        elif ROOMS.index(room) > ROOMS.index(own):
            found.append(f"{place} {own} imports {name}, which stands above it")
    return found


def arrows() -> dict[str, set[str]]:
    """Which modules of the package each module imports, wherever in it the import stands."""
    sources = {module_name(path): path for path in sorted(PACKAGE.rglob("*.py"))}
    found: dict[str, set[str]] = {}
    for module, path in sources.items():
        names = imported(path.read_text(encoding="utf-8"), module, path.stem == "__init__")
        ours = {name if name in sources else name.rpartition(".")[0] for _, name in names}
        found[module] = (ours & set(sources)) - {module}
    return found


def circles(graph: dict[str, set[str]]) -> list[str]:
    """Modules that lead back to themselves, each circle once, as words."""
    found: dict[frozenset[str], str] = {}
    for start in graph:
        reached, next_ones = {start: ""}, [start]
        while next_ones:
            module = next_ones.pop()
            for target in sorted(graph.get(module, ())):
                if target == start:
                    way = [module]
                    while way[-1] != start:
                        way.append(reached[way[-1]])
                    found.setdefault(frozenset(way), " <- ".join([start, *way]))
                elif target not in reached:
                    reached[target] = module
                    next_ones.append(target)
    return list(found.values())


def test_every_part_of_the_package_stands_in_a_room() -> None:
    rooms = {room.partition(".")[0] for room in ROOMS}
    there = {path.stem for path in PACKAGE.iterdir() if path.suffix == ".py" or (path / "__init__.py").exists()}
    assert there - {"__init__"} == rooms
    assert len(rooms - {"errors", "__main__"}) == 8


def test_no_files_import_each_other_in_a_circle() -> None:
    graph = arrows()
    assert len(graph) > 100
    assert sum(map(len, graph.values())) > 500
    assert circles(graph) == []


def test_a_circle_is_seen() -> None:
    assert circles({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}}) == ["a <- c <- b <- a"]
    assert circles({"a": {"b"}, "b": {"c"}, "c": set(), "d": {"a"}}) == []


def test_imports_point_down() -> None:
    files = [path for path in sorted(PACKAGE.rglob("*.py")) if path.parent != PACKAGE or path.stem != "__init__"]
    assert len(files) > 30
    found = [
        fault
        for path in files
        for fault in faults(path.read_text(encoding="utf-8"), module_name(path), path.stem == "__init__")
    ]
    assert not found, "\n".join(found)


def test_the_package_itself_loads_no_layer() -> None:
    """`import workbook_tools` runs before every layer, so what it loads at once stands below all of them."""
    tree = ast.parse((PACKAGE / "__init__.py").read_text(encoding="utf-8"))
    at_once = ast.Module([node for node in tree.body if isinstance(node, ast.Import | ast.ImportFrom)], [])
    names = [name for _, name in imported(ast.unparse(at_once), "workbook_tools", is_package=True)]
    assert names
    assert all(name.split(".")[0] in sys.stdlib_module_names for name in names), names


@pytest.mark.parametrize(
    ("module", "source", "line"),
    [
        ("workbook_tools.xlsx.writing.cells", "import workbook_tools.layout.model", 1),
        ("workbook_tools.layout.model", "def late():\n    from workbook_tools.cli import main", 2),
        ("workbook_tools.functions.quantities.kinds", "from ..formulas import bath", 1),
        ("workbook_tools.log.building.log_workbook", "from workbook_tools.log.checking.reading import read_log", 1),
        ("workbook_tools.across.responses", "from workbook_tools.across.many_logs.chunk import read", 1),
        ("workbook_tools.functions.quantities.kinds", "from .. import texts", 1),
        ("workbook_tools.errors", "import os\nfrom workbook_tools import quantities", 2),
        (
            "workbook_tools.functions.texts.cell_text",
            "import importlib\nimportlib.import_module('workbook_tools.layout')",
            2,
        ),
        ("workbook_tools.functions.texts.cell_text", "import importlib\nname = ''\nimportlib.import_module(name)", 3),
        ("workbook_tools.functions.texts.cell_text", "from workbook_tools import call", 1),
        ("workbook_tools.functions.formulas.bath", "import pint", 1),
        ("workbook_tools.functions.formulas.bath", "from workbook_tools.functions.quantities import boundary", 1),
        (
            "workbook_tools.functions.formulas.bath",
            "from workbook_tools.functions.quantities.unit_table_writer import source",
            1,
        ),
        ("workbook_tools.functions.formulas.bath", "from workbook_tools.functions.catalogue import call", 1),
    ],
)
def test_an_upward_arrow_is_seen(module: str, source: str, line: int) -> None:
    (fault,) = faults(source, module)
    assert fault.startswith(f"{module}, line {line}: ")


@pytest.mark.parametrize(
    ("module", "source"),
    [
        (
            "workbook_tools.functions.formulas.bath",
            "import math\nfrom workbook_tools.functions.quantities import Litres",
        ),
        ("workbook_tools.functions.formulas.bath", "from workbook_tools.functions.formulas.rounding import nearest"),
        ("workbook_tools.cli.main", "from workbook_tools import __version__\nfrom . import printing"),
        ("workbook_tools.xlsx.writing.cells", "import openpyxl\nfrom workbook_tools.errors import SaveError"),
    ],
)
def test_a_downward_arrow_passes(module: str, source: str) -> None:
    assert faults(source, module) == []


BARE = """
import importlib, json, sys
sys.path.insert(0, {root!r})
for name in {names!r}:
    importlib.import_module(name)
ours = {{name.split(".")[0] for name in sys.modules}} - sys.stdlib_module_names - {{"__main__"}}
try:
    import pint
except ModuleNotFoundError as error:
    missing = error.name
print(json.dumps([sorted(ours), missing]))
"""


def test_formulas_and_quantities_run_on_a_bare_python() -> None:
    """As inside a spreadsheet program's own Python: no installed package is there, only the standard library."""
    folders = ("functions/formulas", "functions/quantities")
    names = [module_name(path) for folder in folders for path in sorted((PACKAGE / folder).rglob("*.py"))]
    names = [name for name in names if name not in NEEDS_PINT]
    assert "workbook_tools.functions.formulas.bath" in names
    code = BARE.format(root=str(ROOT), names=names)
    # -S: no installed packages; -I: neither the current folder nor any variable adds some; -W error as in every test
    done = subprocess.run(
        [sys.executable, "-S", "-I", "-B", "-W", "error", "-c", code],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    loaded, missing = json.loads(done.stdout)
    assert loaded == ["workbook_tools"]
    assert missing == "pint"  # so the Python was bare indeed


# a word that stands for one thing all the same: a command beside the function that does its work, and `page` and
# `markdown` of each guide
ALIKE = {
    *("audit", "call", "gather", "lend", "mend", "merge", "names", "plan", "responses", "summary", "upgrade", "main"),
    *("markdown", "page"),
    "density",  # of a stock and of water: DOSE.DENSITY and WATER.DENSITY
}


def public_names() -> dict[str, list[str]]:
    """Modules that define each public function and class of the package."""
    found: dict[str, list[str]] = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
                found.setdefault(node.name, []).append(module_name(path))
    return found


def test_no_public_name_stands_for_two_things() -> None:
    twice = {name: places for name, places in public_names().items() if len(set(places)) > 1}
    assert twice.keys() - ALIKE == set(), twice
    assert ALIKE - twice.keys() - {"plan"} == set()
