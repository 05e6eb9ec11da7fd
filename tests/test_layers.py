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
# each layer may import itself and what stands before it
LAYERS = (
    *("errors", "addresses", "packing", "quantities", "formulas", "catalogue", "intake", "hosts", "layouts"),
    *("workbook", "caselog", "insight", "sharing", "programme", "cli", "__main__"),
)
# what needs pint stays out of reach of the formulas
NEEDS_PINT = ("workbook_tools.quantities.boundary", "workbook_tools.quantities.unit_table_writer")
BELOW_FORMULAS = {"errors", "quantities", "formulas"}


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


def faults(source: str, module: str, is_package: bool = False) -> list[str]:
    """Every import of a module that points upward or where it may not."""
    own = module.split(".")[1]
    found = []
    for line, name in imported(source, module, is_package):
        place = f"{module}, line {line}:"
        outside = not name.startswith("workbook_tools")
        layer = name.split(".")[1] if name.count(".") else name
        if name == "?":
            found.append(f"{place} imports a module whose name is not written out")
        elif own == "formulas" and (
            name.startswith(NEEDS_PINT)
            or (name.split(".")[0] not in sys.stdlib_module_names if outside else layer not in BELOW_FORMULAS)
        ):
            found.append(f"{place} a formula may not import {name}")
        elif outside or name == "workbook_tools.__version__":
            continue
        elif layer not in LAYERS:
            found.append(f"{place} {name} belongs to no layer")
        elif LAYERS.index(layer) > LAYERS.index(own):
            found.append(f"{place} {own} imports {name}, which stands above it")
    return found


def test_every_part_of_the_package_is_a_layer() -> None:
    there = {path.stem for path in PACKAGE.iterdir() if path.suffix == ".py" or (path / "__init__.py").exists()}
    assert there - {"__init__"} <= set(LAYERS)


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
        ("workbook_tools.layouts.model", "import workbook_tools.workbook.cells", 1),
        ("workbook_tools.layouts.model", "def late():\n    from workbook_tools.cli import main", 2),
        ("workbook_tools.quantities.kinds", "from ..formulas import bath", 1),
        ("workbook_tools.quantities.kinds", "from .. import caselog", 1),
        ("workbook_tools.errors", "import os\nfrom workbook_tools import quantities", 2),
        ("workbook_tools.hosts.cell_text", "import importlib\nimportlib.import_module('workbook_tools.layouts')", 2),
        ("workbook_tools.hosts.cell_text", "import importlib\nname = ''\nimportlib.import_module(name)", 3),
        ("workbook_tools.hosts.cell_text", "from workbook_tools import call", 1),
        ("workbook_tools.formulas.bath", "import pint", 1),
        ("workbook_tools.formulas.bath", "from workbook_tools.quantities import boundary", 1),
        ("workbook_tools.formulas.bath", "from workbook_tools.quantities.unit_table_writer import source", 1),
        ("workbook_tools.formulas.bath", "from workbook_tools.catalogue import call", 1),
    ],
)
def test_an_upward_arrow_is_seen(module: str, source: str, line: int) -> None:
    (fault,) = faults(source, module)
    assert fault.startswith(f"{module}, line {line}: ")


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("workbook_tools.formulas.bath", "import math\nfrom workbook_tools.quantities import Litres"),
        ("workbook_tools.formulas.bath", "from workbook_tools.formulas.rounding import nearest"),
        ("workbook_tools.cli.main", "from workbook_tools import __version__\nfrom . import printing"),
        ("workbook_tools.workbook.cells", "import openpyxl\nfrom workbook_tools.errors import SaveError"),
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
    folders = ("formulas", "quantities")
    names = [module_name(path) for folder in folders for path in sorted((PACKAGE / folder).rglob("*.py"))]
    names = [name for name in names if name not in NEEDS_PINT]
    assert "workbook_tools.formulas.bath" in names
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
