"""The list of functions, in the order of their topics and of what each topic offers."""

from __future__ import annotations

import difflib
import functools
import importlib
import inspect
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from workbook_tools.errors import UnknownFunctionError
from workbook_tools.functions.catalogue.docstrings import Docstring, take_apart
from workbook_tools.functions.quantities import CheckedFunction, Parameter, Quantity, TableResult

TOPICS = ("vessel", "bath", "ph", "water", "stage", "dose", "feed", "hold", "sample", "clean", "unit")


@dataclass(frozen=True)
class Entry:
    """One function of the catalogue."""

    name: str
    topic: str
    function: Callable[..., Any]
    check: CheckedFunction
    words: Docstring

    @property
    def parameters(self) -> tuple[Parameter, ...]:
        return self.check.parameters

    @property
    def result(self) -> Quantity | TableResult:
        return self.check.result

    @property
    def python_name(self) -> str:
        return self.check.name

    @property
    def signature(self) -> str:
        """As it is typed in a cell, optional arguments in brackets with what they are when left out."""
        parts = [f"[{p.label}={p.default:g}]" if p.default is not None else p.label for p in self.parameters]
        return f"{self.name}({', '.join(parts)})"

    def call(self, *args: object) -> Any:
        """Answer for arguments already in base units."""
        return self.function(*args)


def worksheet_name(topic: str, function: str) -> str:
    """bath.top_up is BATH.TOPUP: upper case, underscores dropped, topic first."""
    return f"{topic}.{function}".replace("_", "").upper()


@functools.cache
def entries() -> tuple[Entry, ...]:
    """Every function of the catalogue."""
    found = []
    for topic in TOPICS:
        module = importlib.import_module(f"workbook_tools.functions.formulas.{topic}")
        offered = getattr(module, "__all__", None) or [
            name for name, f in vars(module).items() if inspect.isfunction(f) and f.__module__ == module.__name__
        ]
        for function in (getattr(module, name) for name in offered):
            check = getattr(function, "checked", None)
            if isinstance(check, CheckedFunction):
                name = worksheet_name(topic, function.__name__)
                found.append(Entry(name, topic, function, check, take_apart(function)))
    return tuple(found)


@functools.cache
def _by_name() -> dict[str, Entry]:
    return {e.name: e for e in entries()} | {e.python_name.upper(): e for e in entries()}


def entry(name: str) -> Entry:
    """The function of a worksheet name (BATH.TOPUP) or Python name (bath.top_up), in any case.

    Raises UnknownFunctionError with the nearest names.
    """
    key = name.strip().upper()
    if key in _by_name():
        return _by_name()[key]
    plain = key.replace("_", ".", 1) if "." not in key else key  # BATH_MASS, as Excel user functions are spelled
    if plain in _by_name():
        return _by_name()[plain]
    raise UnknownFunctionError(name, difflib.get_close_matches(key, [e.name for e in entries()], n=3, cutoff=0.5))
