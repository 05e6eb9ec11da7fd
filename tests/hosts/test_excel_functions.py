"""User functions of Excel on Windows: the VBA that xlwings makes of them, and what they answer through it."""

from __future__ import annotations

import contextlib
import datetime
import importlib
import io
import re
import sys
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from tests.hosts.excel_stand_in import MISSING, VT_ERROR, ExcelRange, Variant, Workbook, excel
from tests.hosts.samples import NAMES, samples
from tests.hosts.sheet import disagreements
from workbook_tools.errors import HostError
from workbook_tools.functions.catalogue import entries, entry
from workbook_tools.hosts import excel_answers
from workbook_tools.hosts.excel_functions import (
    MODULE_NAME,
    VBA_WORDS,
    argument_name,
    function_name,
    module_source,
    settings_sheet_rows,
)

KINDS = {excel_answers.WRONG_KIND: "value", excel_answers.NUMBER_OUT_OF_RANGE: "range"}


@pytest.fixture(scope="module")
def udfs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """xlwings with our module ready to import."""
    folder = tmp_path_factory.mktemp("functions")
    (folder / f"{MODULE_NAME}.py").write_text(module_source(), encoding="utf-8")
    excel_answers._variant.cache_clear()
    with excel() as working, pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(folder)
        yield working
    sys.modules.pop(MODULE_NAME, None)
    excel_answers._variant.cache_clear()


def called(udfs: Any, name: str, *arguments: object) -> object:
    """What the cell gets, an error value as its kind."""
    handed = tuple(MISSING if argument is None else argument for argument in arguments)
    rows = udfs.call_udf(MODULE_NAME, function_name(entry(name)), handed)
    cells = [[_kind(cell) for cell in row] for row in rows]
    return cells[0][0] if len(cells) == 1 and len(cells[0]) == 1 else cells


def _kind(cell: object) -> object:
    if not isinstance(cell, Variant):
        return cell
    assert cell.varianttype == VT_ERROR
    return KINDS[cell.value]


def as_range(argument: object) -> object:
    """An argument as VBA hands over a reference: a range, whatever is in it."""
    items = argument if isinstance(argument, tuple) else (argument,)
    return ExcelRange(tuple(items) if len(items) > 1 else items[0])


@pytest.mark.parametrize("name", NAMES)
def test_answers_through_the_converters(name: str, udfs: Any) -> None:
    calls = [sample.arguments for sample in samples(name)]
    answers = [called(udfs, name, *map(as_range, call)) for call in calls]
    assert disagreements("Excel on Windows", entry(name), calls, answers) == []


def test_arguments_written_in_the_call(udfs: Any) -> None:
    assert called(udfs, "BATH.MASS", 40.0, 80.0) == 3.2
    assert called(udfs, "BATH.MASS", 40.0, 80.0, None) == 3.2
    assert called(udfs, "BATH.MASS", 40.0, 80.0, 0.5) == 6.4
    assert called(udfs, "BATH.STEPS", 40.0, 80.0, 20.0, 100.0, None, 1.0) == [
        [1, 80, 3.2, 3.2, 3.2],
        [2, 100, 0.8, 0.8, 4],
    ]


def test_dates_money_and_error_cells(udfs: Any) -> None:
    start, end = datetime.datetime(2026, 3, 2, 14, 5), datetime.datetime(2026, 3, 2, 14, 8, 20)
    assert called(udfs, "STAGE.SECONDS", ExcelRange(start), ExcelRange(end)) == 200.0
    evening, night = datetime.datetime(1899, 12, 30, 23, 59), datetime.datetime(1899, 12, 30, 0, 1)
    assert called(udfs, "STAGE.SECONDS", ExcelRange(evening), ExcelRange(night)) == 120.0
    assert called(udfs, "BATH.MASS", ExcelRange(Decimal("40")), 80.0) == 3.2
    division_by_zero = -2146826281  # as COM reads an error cell
    assert called(udfs, "BATH.MASS", ExcelRange(division_by_zero), 80.0) == "value"
    assert called(udfs, "UNIT.CONVERT", ExcelRange(division_by_zero), "m", "cm") == "value"
    assert called(udfs, "BATH.MASS", ExcelRange((40.0, 41.0)), 80.0) == "value"


def test_failure_inside_is_an_error_value_not_a_text(udfs: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*arguments: object) -> float:
        raise ZeroDivisionError

    monkeypatch.setattr(type(entry("BATH.MASS")), "call", fails)
    assert called(udfs, "BATH.MASS", 40.0, 80.0) == "value"


def test_vba_module_and_help(udfs: Any) -> None:
    workbook = Workbook()
    with contextlib.redirect_stdout(io.StringIO()):
        udfs.import_udfs(MODULE_NAME, workbook)
    heads = dict(re.findall(r"^Function (\w+)\((.*)\)$", workbook.imported, re.MULTILINE))
    assert set(heads) == {function_name(found) for found in entries()} == set(workbook.help)
    for found in entries():
        arguments = [text.strip() for text in heads[function_name(found)].split(",")]
        optional = ["Optional " if parameter.optional else "" for parameter in found.parameters]
        assert arguments == [f"{o}{argument_name(p)}" for o, p in zip(optional, found.parameters, strict=True)]
        assert not {argument.lower().removeprefix("optional ") for argument in arguments} & VBA_WORDS
        words = workbook.help[function_name(found)]
        assert words["Description"].startswith(found.words.summary[:200])
        assert words["Category"] == f"Workbook tools, {found.name.partition('.')[0]}"
        assert len(words["ArgumentDescriptions"]) == len(found.parameters)
        assert all(0 < len(text) <= 255 for text in words["ArgumentDescriptions"])


def test_names_differ_from_those_of_the_workbook() -> None:
    assert all("." not in function_name(found) for found in entries())
    assert len({function_name(found) for found in entries()}) == len(entries())


def test_settings_sheet() -> None:
    rows = settings_sheet_rows()
    blank = rows.index(("", "", ""))
    settings = {name: value for name, value, _ in rows[:blank]}
    assert settings["UDF Modules"] == MODULE_NAME
    assert settings["Interpreter_Win"] == sys.executable
    assert all(row[0][0].isdigit() and row[1:] == ("", "") for row in rows[blank + 1 :])
    assert any(called_without_excel() in row[0] for row in rows)


def called_without_excel() -> str:
    """The step that names an answer, with the answer computed."""
    return f"BATH_MASS(40,80) in a cell must then show {entry('BATH.MASS').call(40, 80):g}"


def test_without_pywin32_the_error_names_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    excel_answers._variant.cache_clear()
    monkeypatch.setitem(sys.modules, "win32com.client", None)
    with pytest.raises(HostError, match=r"pip install 'workbook-tools\[excel\]'"):
        excel_answers.answer("BATH.MASS", None, 80.0)
    assert excel_answers.answer("BATH.MASS", 40.0, 80.0) == 3.2


def test_module_imports_where_there_is_no_excel(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "elsewhere_functions.py").write_text(module_source(), encoding="utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    module = importlib.import_module("elsewhere_functions")
    assert module.BATH_MASS(40.0, 80.0) == 3.2
    sys.modules.pop("elsewhere_functions")
