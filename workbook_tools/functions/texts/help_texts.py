"""Help on functions and arguments in one or two sentences, the same in every host."""

from __future__ import annotations

from workbook_tools.functions.catalogue import Entry
from workbook_tools.functions.quantities import Parameter


def help_text(entry: Entry) -> str:
    """What a function answers, and in which unit."""
    unit = f" [{entry.result.unit}]" if entry.result.unit not in ("", "1") else ""
    return f"{entry.words.summary} Result: {entry.words.returns.rstrip('.')}{unit}."


def argument_help(entry: Entry, parameter: Parameter) -> str:
    """What an argument is, its range with unit, and what counts when it is left out."""
    text = f"{entry.words.parameters[parameter.name].rstrip('.')}: {parameter.kind.allowed}."
    return text if parameter.default is None else f"{text} {parameter.default:g} when left out."
