"""The functions of one topic as a Calc add-in.

How an answer comes out of Calc: a number as it is, NaN as #NUM!, an exception of Python as #VALUE!, a sequence of
sequences as an array. How arguments come in: a number, a date, TRUE and FALSE as a float; a text as a str; an argument
left out as None; a range as a tuple of rows, in which a blank cell is ''; a single blank cell as 0, which nothing can
tell from a typed 0.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Mapping
from typing import Any

import uno  # only inside LibreOffice
import unohelper

from workbook_tools.errors import ArgumentError
from workbook_tools.functions.quantities import CheckedFunction, Choice, Parameter, Quantity, TableResult, Text

MODULE = "workbooktools"  # of the interfaces; their names hold no underscore
NOT_A_NUMBER = float("nan")


def component(topic: str, service: str, functions: Mapping[str, str]) -> Any:
    """What LibreOffice asks for the add-in of a topic.

    Parameters
    ----------
    topic : name of the module in workbook_tools.functions.formulas.
    service : name of the topic in cells, "BATH".
    functions : Python name of each function by its name in the interface.

    Raises
    ------
    Whatever the import of the topic's module raises: Calc then shows an error for the functions of this topic, and the
    other topics go on.
    """
    module = importlib.import_module(f"workbook_tools.functions.formulas.{topic}")
    methods = {name: _method(getattr(module, function)) for name, function in functions.items()}
    interface = uno.getClass(f"{MODULE}.X{service}")
    adapter = type(f"{service}Functions", (unohelper.Base, interface), {"__init__": _without_context, **methods})
    helper = unohelper.ImplementationHelper()
    helper.addImplementation(adapter, f"{MODULE}.{service}", (service,))
    return helper


def _without_context(self: object, context: object) -> None:
    """LibreOffice hands its context to every object it makes; the functions need none."""


def _method(function: Callable[..., Any]) -> Callable[..., Any]:
    """The interface's method that answers a catalogue function."""
    check: CheckedFunction = function.checked  # type: ignore[attr-defined]
    gives_table = isinstance(check.result, TableResult)

    def method(self: object, *given: object) -> object:
        try:
            answer = check(*map(calc_argument, given, check.parameters))
        except ArgumentError as error:
            if error.kind != "range":
                raise
            answer = [[NOT_A_NUMBER]] if gives_table else NOT_A_NUMBER
        return tuple(map(tuple, answer)) if gives_table else answer

    return method


def calc_argument(given: object, parameter: Parameter) -> object:
    """An argument of Calc as a formula takes it: one value, or for a function of a range the list of its cells."""
    cells = given if isinstance(given, tuple) else ((given,),)
    flat = [None if cell == "" else cell for row in cells for cell in row]
    if isinstance(parameter.kind, Quantity | Choice | Text) and len(flat) == 1:
        return flat[0]
    return flat
