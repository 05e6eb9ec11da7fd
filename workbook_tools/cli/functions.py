"""`calc` and `functions`: the catalogue at the prompt."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from workbook_tools.cli.group import cli
from workbook_tools.cli.options import JSON
from workbook_tools.cli.printing import number, print_json, print_table, say

if TYPE_CHECKING:
    from workbook_tools.functions.catalogue import Entry


def _names(ctx: click.Context, parameter: click.Parameter, incomplete: str) -> list[str]:
    """Names of functions for the shell to complete."""
    from workbook_tools.functions.catalogue import entries

    del ctx, parameter
    return [found.name for found in entries() if found.name.startswith(incomplete.upper())]


@cli.command(
    short_help="Compute one function, with units, and print the answer.",
    context_settings={"ignore_unknown_options": True},
)
@click.argument("function", shell_complete=_names)
@click.argument("arguments", nargs=-1)
@JSON
def calc(function: str, arguments: tuple[str, ...], as_json: bool) -> None:
    """Compute one FUNCTION and print the answer with its unit.

    Arguments are numbers in the function's own units, or carry a unit and are converted. An optional one is left out
    at the end, or in the middle as ''.

    \b
    Examples
      workbook-tools calc BATH.MASS 40 80
      workbook-tools calc BATH.MASS "12 gal" "80 mg/L"
      workbook-tools calc BATH.STEPS 40 80 20 120
      workbook-tools calc STAGE.SECONDS 23:58:30 00:01:10
    """
    from workbook_tools.functions.catalogue import call, converted, entry

    found = entry(function)
    result = call(function, *arguments)
    if as_json:
        given = converted(function, *arguments)
        print_json({"function": found.name, "args": given, "result": result, "unit": found.result.unit})
    elif isinstance(result, list):
        _print_rows(found, result)
    else:
        unit = "" if found.result.unit in ("", "1") else f" {found.result.unit}"
        say(f"{number(result)}{unit}")


def _print_rows(found: Entry, rows: list[list[Any]]) -> None:
    from workbook_tools.functions.quantities import TableResult

    assert isinstance(found.result, TableResult)
    headings = [f"{name} {unit}".strip() for name, unit in found.result.columns]
    print_table(found.name, headings, [[number(value) for value in row] for row in rows], [True] * len(headings))


@cli.command(short_help="List the functions, or explain one of them.")
@click.argument("name", required=False, shell_complete=_names)
@JSON
def functions(name: str | None, as_json: bool) -> None:
    """List the functions, or explain the one called NAME.

    \b
    Examples
      workbook-tools functions
      workbook-tools functions BATH.TOPUP
    """
    from workbook_tools.functions.catalogue import entries, entry

    chosen = entries() if name is None else (entry(name),)
    if as_json:
        print_json([described(found) for found in chosen])
    elif name is None:
        rows = [(found.signature, found.result.unit, found.words.summary) for found in chosen]
        print_table("Functions", ("Function", "Result", "What it answers"), rows, (False, False, False))
    else:
        _explain(chosen[0])


def described(found: Entry) -> dict[str, Any]:
    """A function as plain data."""
    return {
        "name": found.name,
        "python": found.python_name,
        "summary": found.words.summary,
        "arguments": [
            {
                "name": parameter.label,
                "unit": parameter.kind.unit,
                "allowed": parameter.kind.allowed,
                "default": parameter.default,
                "meaning": found.words.parameters.get(parameter.name, ""),
            }
            for parameter in found.parameters
        ],
        "result": {"unit": found.result.unit, "meaning": found.words.returns},
        "notes": found.words.notes,
        "references": found.words.references,
    }


def _explain(found: Entry) -> None:
    facts = described(found)
    say(found.signature, "", facts["summary"], "")
    for argument in facts["arguments"]:
        default = "" if argument["default"] is None else f" Left out: {number(argument['default'])}."
        say(f"  {argument['name']}: {argument['meaning']} Allowed: {argument['allowed']}.{default}")
    unit = f" [{facts['result']['unit']}]" if facts["result"]["unit"] else ""
    say("", f"Answer: {facts['result']['meaning']}{unit}")
    say("", *facts["notes"].split("\n"), "", *f"Source: {facts['references']}".split("\n"))
    if found.check.relations:
        say("Refused when: " + "; ".join(relation.sentence for relation in found.check.relations) + ".")
