"""The functions as user functions of Excel 2016 to 2021 on Windows, through the xlwings library.

A VBA name holds no dot, so BATH.MASS is BATH_MASS there. This also keeps them apart from the names of `excel_names`:
a user function and a LAMBDA of one name would get in each other's way.
"""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Sequence

from workbook_tools.functions.catalogue import Entry, entries
from workbook_tools.functions.quantities import Choice, Parameter, Quantity, Text
from workbook_tools.functions.texts.help_texts import argument_help, help_text

MODULE_NAME = "workbook_tools_functions"
DOCUMENT_LIMIT = 255  # characters, what Excel's function wizard takes
# Words that VBA reserves, and the one that xlwings does; none of them can name an argument there
VBA_WORDS = frozenset(
    {
        "caller",
        *("abs", "addressof", "and", "any", "array", "as", "attribute", "boolean", "byref", "byte", "byval", "call"),
        *("case", "circle", "close", "const", "currency", "date", "debug", "decimal", "declare", "dim", "do"),
        *("doevents", "double", "each", "else", "elseif", "empty", "end", "endif", "enum", "eqv", "erase", "event"),
        *("exit", "false", "fix", "for", "friend", "function", "get", "global", "gosub", "goto", "if", "imp"),
        *("implements", "in", "input", "inputb", "int", "integer", "is", "lbound", "len", "lenb", "let", "like"),
        *("lock", "long", "longlong", "longptr", "loop", "lset", "me", "mod", "new", "next", "not", "nothing"),
        *("null", "on", "open", "option", "optional", "or", "paramarray", "preserve", "print", "private", "property"),
        *("pset", "public", "put", "raiseevent", "redim", "rem", "resume", "return", "rset", "scale", "seek"),
        *("select", "set", "sgn", "shared", "single", "spc", "static", "step", "stop", "string", "sub", "tab"),
        *("then", "to", "true", "type", "typeof", "ubound", "unlock", "until", "variant", "wend", "while", "with"),
        *("withevents", "write", "xor"),
    }
)

HEAD = '''"""The catalogue's functions for Excel on Windows. Written by a program; do not edit."""

import xlwings as xw

from workbook_tools.hosts.excel_answers import answer
'''


def function_name(entry: Entry) -> str:
    """BATH.TOPUP as VBA can hold it: BATH_TOPUP."""
    return entry.name.replace(".", "_")


def argument_name(parameter: Parameter) -> str:
    """An argument's name, made different where VBA reserves the word."""
    return f"{parameter.name}_value" if parameter.name.lower() in VBA_WORDS else parameter.name


def module_source(chosen: Sequence[Entry] | None = None) -> str:
    """Python source of the module that xlwings imports into a workbook.

    Parameters
    ----------
    chosen : the functions wanted; the whole catalogue by default.

    Returns
    -------
    Source to save as `workbook_tools_functions.py` beside the workbook.
    """
    return HEAD + "".join(_function(entry) for entry in (entries() if chosen is None else chosen))


def _function(entry: Entry) -> str:
    names = [argument_name(parameter) for parameter in entry.parameters]
    arguments = [
        f"{name}=None" if parameter.optional else name for name, parameter in zip(names, entry.parameters, strict=True)
    ]
    topic = entry.name.partition(".")[0]
    lines = ["", "", f"@xw.func(category={f'Workbook tools, {topic}'!r})"]
    for name, parameter in zip(names, entry.parameters, strict=True):
        scalar = isinstance(parameter.kind, Quantity | Choice | Text)
        options = "" if scalar else ", ndim=2"
        lines.append(f"@xw.arg({name!r}, doc={_short(argument_help(entry, parameter))!r}{options})")
    lines += [
        f"def {function_name(entry)}({', '.join(arguments)}):",
        f"    {_short(help_text(entry))!r}",
        f"    return answer({', '.join([repr(entry.name), *names])})",
    ]
    return "\n".join([*lines, ""])


def _short(text: str) -> str:
    return textwrap.shorten(text, DOCUMENT_LIMIT, placeholder=" ...")


def settings_sheet_rows() -> list[tuple[str, str, str]]:
    """Rows of the sheet `xlwings.conf`: a setting, its value, what it is; then the steps, once for each computer.

    The settings start in the first row and end at the first blank one, as xlwings reads them.
    """
    settings = [
        ("Interpreter_Win", sys.executable, "the Python that has workbook-tools installed"),
        ("PYTHONPATH", "", f"folder of {MODULE_NAME}.py, where it is not the workbook's own"),
        ("UDF Modules", MODULE_NAME, "the module with the functions"),
        ("Debug UDFs", "False", ""),
        ("Show Console", "False", ""),
    ]
    return [*settings, ("", "", ""), *((f"{number}. {step}", "", "") for number, step in enumerate(STEPS, 1))]


STEPS = (
    "Excel 365 and 2024 need none of this: there the functions are names in the workbook, BATH.MASS and so on.",
    "On Windows, with Excel 2016, 2019 or 2021: pip install 'workbook-tools[excel]'.",
    "Close Excel, then in a command window: xlwings addin install.",
    "In Excel: File, Options, Trust Center, Trust Center Settings, Macro Settings: tick 'Trust access to the VBA "
    "project object model'. Where an administrator has locked this, the functions cannot be imported.",
    f"Save {MODULE_NAME}.py in the folder of the workbook, and the workbook as .xlsm.",
    "In the workbook, press Alt+F11, Tools, References, tick xlwings.",
    "On the ribbon: xlwings, Import Functions. BATH_MASS(40,80) in a cell must then show 3.2.",
    "A range of rows, such as that of BATH_STEPS: select the cells first, type the formula, press Ctrl+Shift+Enter.",
)
