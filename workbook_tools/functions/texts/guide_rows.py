"""What the guide says of each function, read off the catalogue: a row for a sheet, a section for a page."""

from __future__ import annotations

import ast
import math
from dataclasses import dataclass, fields
from typing import Any

from workbook_tools.functions.catalogue import Entry, entries
from workbook_tools.functions.quantities import TableResult
from workbook_tools.functions.texts.cell_text import translatable
from workbook_tools.functions.texts.lambda_names import has_name

HEADINGS = (
    "Function",
    "Answers",
    "Arguments",
    "Units",
    "Ranges",
    "Result",
    "Equation",
    "Example",
    "Source",
    "Works in",
)

NOTES = (
    "Type a function as any other: =BATH.MASS(40,80). Where the computer writes a decimal comma, arguments are parted "
    "by semicolons: =BATH.MASS(40;80).",
    "An argument in [brackets] may be left out; what then counts stands after its equals sign.",
    "#VALUE! means that an argument is blank, a text, or a word that is not on its list; #NUM! that a number lies "
    "outside its range. No argument is ever put right for you.",
    "In LibreOffice Calc a function cannot tell a single blank cell from 0, nor TRUE from 1: where 0 is allowed, look "
    "that the cell is filled.",
    "In Excel 2016 to 2021 on Windows a line stands in the place of the dot: =BATH_MASS(40,80).",
    "Doses are reference values. The label in force, local law and the prescribing veterinarian decide.",
)


@dataclass(frozen=True)
class GuideRow:
    """What the guide says of one function; each field is a text."""

    function: str
    answers: str
    arguments: str
    units: str
    ranges: str
    result: str
    equation: str
    example: str
    source: str
    works_in: str

    def texts(self) -> tuple[str, ...]:
        return tuple(getattr(self, field.name) for field in fields(self))


def rows() -> list[GuideRow]:
    """A row for every function of the catalogue, in its order."""
    return [_row(entry) for entry in entries()]


def _row(entry: Entry) -> GuideRow:
    parameters = entry.parameters
    return GuideRow(
        function=entry.signature,
        answers=entry.words.summary,
        arguments="; ".join(f"{p.label}: {entry.words.parameters[p.name].rstrip('.')}" for p in parameters),
        units="; ".join(f"{p.label} {p.kind.unit}".strip() for p in parameters if p.kind.unit not in ("", "1")),
        ranges="; ".join(f"{p.label} {p.kind.allowed}" for p in parameters),
        result=f"{entry.words.returns.rstrip('.')} [{entry.result.unit}]",
        equation=entry.words.notes,
        example=example(entry),
        source=entry.words.references,
        works_in=works_in(entry),
    )


def works_in(entry: Entry) -> str:
    """The places where a function can be used."""
    places = ["Python", "LibreOffice Calc with the extension", "Excel on Windows through xlwings"]
    if has_name(entry):
        places.append("Excel 365 and 2024 as a name of the workbook")
    if translatable(entry.name):
        places.append("any spreadsheet as a plain formula")
    return ", ".join(places)


def example(entry: Entry) -> str:
    """The docstring's first example as it is typed in a cell, with the answer computed now."""
    values = example_values(entry)
    texts, cells = [], ""
    for argument, value in zip(_first_call(entry).args, values, strict=True):
        if isinstance(value, list):  # a function of a range
            texts.append(f"A1:A{len(value)}")
            cells = f" with {', '.join(_number(item) for item in value)} in A1:A{len(value)}"
        else:
            texts.append(ast.unparse(argument).replace("'", '"'))
    return f"={entry.name}({','.join(texts)}){cells} gives {_answer_text(entry, entry.call(*values))}"


def example_values(entry: Entry) -> list[Any]:
    """The arguments of the docstring's first example."""
    expressions = [ast.Expression(argument) for argument in _first_call(entry).args]
    return [eval(compile(expression, "<example>", "eval"), {"__builtins__": {}}) for expression in expressions]


def _first_call(entry: Entry) -> ast.Call:
    lines = [line[4:] for line in entry.words.examples.splitlines() if line.startswith((">>> ", "... "))]
    for node in ast.walk(ast.parse("\n".join(lines))):
        named = isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        if named and node.func.id == entry.function.__name__:  # type: ignore[attr-defined]
            assert isinstance(node, ast.Call)
            return node
    raise ValueError(f"{entry.python_name}: the docstring has no example that calls it")


def _answer_text(entry: Entry, answer: Any) -> str:
    if isinstance(entry.result, TableResult):
        shown = "; ".join(" ".join(_number(cell) for cell in row) for row in answer)
        return f"{len(answer)} rows: {shown}"
    unit = entry.result.unit
    if unit in ("", "1"):
        return _number(answer)
    return f"{_number(answer)} ({unit})" if unit[0].isdigit() else f"{_number(answer)} {unit}"


def _number(value: float) -> str:
    digits = max(0, 5 - math.floor(math.log10(abs(value)))) if value else 0
    return f"{value:.{digits}f}".rstrip("0").rstrip(".") if digits else f"{value:.0f}"
