"""The catalogue offers every function of ours that is checked, and nothing twice."""

from __future__ import annotations

import importlib
import inspect
import pkgutil

import workbook_tools.functions.formulas as package
from workbook_tools.functions.catalogue import entries
from workbook_tools.functions.quantities.checking import topic_of


def test_every_checked_function_is_offered_by_its_topic() -> None:
    written = set()
    for found in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
        module = importlib.import_module(found.name)
        functions = (f for f in vars(module).values() if inspect.isfunction(f) and hasattr(f, "checked"))
        written |= {f for f in functions if f.__module__ == found.name}
    offered = [found.function for found in entries()]
    assert set(offered) == written
    assert len(offered) == len({found.name for found in entries()}) > 50


def test_topics() -> None:
    assert (
        topic_of("workbook_tools.functions.formulas.bath.top_ups")
        == topic_of("workbook_tools.functions.formulas.bath")
        == "bath"
    )
    assert topic_of("somewhere.vessel") == "vessel"
    for found in entries():
        assert found.function.__module__.split(".")[3] == found.topic
