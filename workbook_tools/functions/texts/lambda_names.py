"""The functions as names of a workbook: in Excel 365 and 2024 a name that holds a LAMBDA is a function.

The stored spelling differs from what Excel shows: LAMBDA, LET and ISOMITTED carry `_xlfn.`, their parameters `_xlpm.`,
optional parameters `_xlop.` where they are declared.
"""

from __future__ import annotations

import functools
import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from workbook_tools.errors import TranslationError
from workbook_tools.functions.catalogue import Entry, entries
from workbook_tools.functions.quantities import Choice, Parameter, TableResult
from workbook_tools.functions.texts.cell_text import Piece, guarded, number_piece, range_tests
from workbook_tools.functions.texts.help_texts import help_text
from workbook_tools.functions.texts.let_text import let_piece
from workbook_tools.functions.texts.worksheet_functions import FORMULA_LIMIT

__all__ = ["Name", "names"]

WRONG_KIND, OUT_OF_RANGE = "#VALUE!", "#NUM!"
COMMENT_LIMIT = 255  # ECMA-376 Part 1, 18.2.5
# what a name of ours looks like, also after a save by a program that does not know LAMBDA
OURS_OR_BROKEN = re.compile(r"^\s*=?\s*((_xlfn\.)?lambda\b|#)", re.IGNORECASE)
LOOKS_LIKE_A_CELL = re.compile(r"^([a-z]{1,3}\d+|r\d*|c\d*|r\d+c\d+)$", re.IGNORECASE)


@dataclass(frozen=True)
class Name:
    """A name of a workbook: `text` is its formula as stored, without an equals sign; `comment` its help."""

    name: str
    text: str
    comment: str


def names() -> list[Name]:
    """A name for every function of the catalogue that has an exact equal as a formula."""
    return list(_names())


@functools.cache
def _names() -> tuple[Name, ...]:
    found = []
    for entry in entries():
        try:
            text = lambda_text(entry)
        except TranslationError:
            continue  # the guide says of each function where it works
        comment = textwrap.shorten(help_text(entry), COMMENT_LIMIT, placeholder=" ...")
        found.append(Name(entry.name, text, comment))
    return tuple(found)


def has_name(entry: Entry) -> bool:
    """Whether a function can be carried in a workbook as a name."""
    return any(name.name == entry.name for name in _names())


def lambda_text(entry: Entry) -> str:
    """Stored text of the LAMBDA of a function. Raises TranslationError where it has no exact equal."""
    if isinstance(entry.result, TableResult):
        raise TranslationError(entry.python_name, 1, "gives a table")
    words = [parameter_word(parameter) for parameter in entry.parameters]
    declared = [
        f"{'_xlop' if parameter.optional else '_xlpm'}.{word}"
        for parameter, word in zip(entry.parameters, words, strict=True)
    ]
    operands = []
    defaults = []
    for parameter, word in zip(entry.parameters, words, strict=True):
        given = f"_xlpm.{word}"
        if parameter.default is not None:
            default = number_piece(parameter.default).text
            used = f"_xlpm.{word}_used"
            defaults += [used, f"IF(_xlfn.ISOMITTED({given}),{default},IF(ISBLANK({given}),{default},{given}))"]
            given = used
        operands.append(Piece(given))
    body = guarded_text(entry, operands)
    if defaults:
        body = f"_xlfn.LET({','.join([*defaults, body])})"
    text = f"_xlfn.LAMBDA({','.join([*declared, body])})"
    if len(text) > FORMULA_LIMIT:
        raise TranslationError(entry.name, 1, f"the text has {len(text)} characters; a name holds {FORMULA_LIMIT}")
    return text


def guarded_text(entry: Entry, operands: Sequence[Piece]) -> str:
    """The function's body behind its tests, deciding between the two kinds of error as Python does."""
    text = guarded(entry.check, operands, let_piece(entry.function, operands).text, (WRONG_KIND, OUT_OF_RANGE))
    words = [
        test
        for parameter, operand in zip(entry.parameters, operands, strict=True)
        if isinstance(parameter.kind, Choice)
        for test in range_tests(parameter, operand)
    ]
    # a word that is not on its list is of the wrong kind, whatever the numbers beside it
    return f"IF(AND({','.join(words)}),{text},{WRONG_KIND})" if words else text


def parameter_word(parameter: Parameter) -> str:
    """Name of a LAMBDA's parameter; one that would be read as a cell, such as co2, gets a line at its end."""
    return f"{parameter.name}_" if LOOKS_LIKE_A_CELL.match(parameter.name) else parameter.name
