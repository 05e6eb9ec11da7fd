"""xlwings' own wrapper generator and converters, run without Windows.

Only what talks to Windows is stood in for: the modules of pywin32, and xlwings' two modules that need them. The
functions by which xlwings cleans values on Windows are taken from its own source, since the module that holds them
cannot be imported elsewhere.
"""

from __future__ import annotations

import ast
import datetime
import functools
import importlib
import importlib.util
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy
import pandas
import pytest

MISSING = -2147352572  # how VBA hands over an argument that was left out
VT_ERROR = 10


@dataclass(frozen=True)
class Variant:
    """win32com.client.VARIANT: a value with its COM type."""

    varianttype: int
    value: int


@dataclass
class ExcelRange:
    """A range of cells that VBA hands over; `raw_value` is what COM reads from it."""

    raw_value: Any

    @property
    def sheet(self) -> Any:
        app = SimpleNamespace(pid=1, engine=windows_engine())
        return SimpleNamespace(book=SimpleNamespace(app=app))

    @property
    def max_cells_per_read(self) -> None:
        return None


def modules() -> dict[str, ModuleType]:
    """Stand-ins for pywin32 and for xlwings' COM server."""
    contents: dict[str, dict[str, Any]] = {
        "pythoncom": {"CoInitialize": lambda: None, "IID_IDispatch": None},
        "pywintypes": {"TimeType": datetime.datetime, "com_error": type("com_error", (Exception,), {})},
        "win32com": {},
        "win32com.client": {"Dispatch": lambda thing, **_: thing, "VARIANT": Variant},
        "xlwings.com_server": {"loop": None},
    }
    made = {}
    for name, content in contents.items():
        made[name] = ModuleType(name)
        vars(made[name]).update(content)
    made["win32com"].client = made["win32com.client"]  # type: ignore[attr-defined]
    return made


@functools.cache
def windows_engine() -> Any:
    """xlwings' engine for Windows, by its own source: how it cleans what it reads and prepares what it writes."""
    found = importlib.util.find_spec("xlwings")
    assert found is not None
    assert found.origin is not None
    tree = ast.parse((Path(found.origin).parent / "_xlwindows.py").read_text(encoding="utf-8"))
    wanted = {"_com_time_to_datetime", "_clean_value_data_element", "Engine"}
    kept = [
        node
        for node in tree.body
        if (isinstance(node, ast.FunctionDef | ast.ClassDef) and node.name in wanted)
        or (isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "cell_errors")
    ]
    assert len(kept) == len(wanted) + 1
    space: dict[str, Any] = {"pd": pandas, "np": numpy, "time_types": (datetime.date, datetime.datetime)}
    exec(compile(ast.Module(kept, []), "_xlwindows.py", "exec"), space)
    return space["Engine"]()


@contextmanager
def excel() -> Iterator[Any]:
    """`xlwings.udfs`, working; everything is as before afterwards."""
    with pytest.MonkeyPatch.context() as patch:
        for name, module in modules().items():
            patch.setitem(sys.modules, name, module)
        xlwings = importlib.import_module("xlwings")
        main = importlib.import_module("xlwings.main")
        windows = SimpleNamespace(is_range_instance=lambda thing: isinstance(thing, ExcelRange), Range=_range)
        patch.setattr(xlwings, "_xlwindows", windows, raising=False)
        patch.setattr(xlwings.engines, "engines", [])
        patch.setattr(xlwings.engines, "engines_by_name", {})
        xlwings.engines.add(main.Engine(impl=windows_engine()))
        patch.delitem(sys.modules, "xlwings.udfs", raising=False)
        udfs = importlib.import_module("xlwings.udfs")
        for name in ("func", "arg", "ret"):
            patch.setattr(xlwings, name, getattr(udfs, f"xl{name}"))
        yield udfs
        udfs.com_executor.shutdown()
    sys.modules.pop("xlwings.udfs", None)
    if hasattr(xlwings, "udfs"):
        del xlwings.udfs


def _range(xl: Any) -> Any:
    """What xlwings makes of a range that COM hands over; the caller's own cell is not looked at."""
    return xl or SimpleNamespace(address="$A$1")


class Workbook:
    """An Excel workbook that takes a VBA module and the help of its functions, and keeps them."""

    def __init__(self) -> None:
        self.Name = "log.xlsm"
        self.imported = ""
        self.help: dict[str, dict[str, Any]] = {}
        self.VBProject = SimpleNamespace(VBComponents=self)
        self.Application = SimpleNamespace(Version="16.0", MacroOptions=self._macro_options)

    def __call__(self, name: str) -> str:
        return name

    def Remove(self, component: str) -> None:
        """There is none yet."""

    def Import(self, path: str) -> None:
        self.imported = Path(path).read_text(encoding="utf-8")

    def _macro_options(self, name: str, **options: Any) -> None:
        self.help[name.rpartition("!")[2]] = options
