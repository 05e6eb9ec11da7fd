"""`extension`, `names`, `excel`, `guide`: the functions by name in each spreadsheet."""

from __future__ import annotations

import tempfile
from pathlib import Path

import click

from workbook_tools.cli.group import cli
from workbook_tools.cli.options import FILE, JSON, QUIET, REPLACE
from workbook_tools.cli.printing import print_json, print_table, say
from workbook_tools.cli.writing import facts, held, made, put


@cli.command(short_help="Write or install the LibreOffice Calc extension.")
@click.argument("path", type=FILE, required=False)
@click.option("--install", is_flag=True, help="Hand it to LibreOffice as well.")
@click.option("--remove", is_flag=True, help="Take it out of LibreOffice; needs no PATH.")
@click.option("--shared", is_flag=True, help="For all people of this computer (as root: the only way).")
@REPLACE
@JSON
@QUIET
def extension(
    path: Path | None, install: bool, remove: bool, shared: bool, replace: bool, as_json: bool, quiet: bool
) -> None:
    """Write the LibreOffice Calc extension to PATH (.oxt): the functions by name, and a small menu.

    \b
    Examples
      workbook-tools extension functions.oxt
      workbook-tools extension functions.oxt --install
      workbook-tools extension --remove
    """
    from workbook_tools.hosts import extension as host
    from workbook_tools.xlsx.saving.whole_file import save

    if remove:
        if path is not None or install:
            raise click.UsageError("--remove goes with no path and no --install")
        host.remove(shared=shared)
        if as_json:
            print_json({"removed": True})
        elif not quiet:
            say("Taken out of LibreOffice.")
        return
    if path is None:
        raise click.UsageError("name the file to write, such as functions.oxt")
    if path.suffix.lower() != ".oxt":
        raise click.UsageError(f"{path}: the name of an extension ends in .oxt")
    with tempfile.TemporaryDirectory() as folder:
        content = host.build(Path(folder) / "functions.oxt").read_bytes()
    backup = save(path, content, replace)
    if not quiet and not as_json:
        say(made(path, backup))
    if install:
        host.install(path, shared=shared)
    if as_json:
        print_json(facts(path, backup) | {"installed": install})
    elif install and not quiet:
        say("Installed: start LibreOffice and type =BATH.MASS(40;80) in a cell.")


@cli.command(short_help="Put the functions as names into a workbook of yours.")
@click.argument("path", type=FILE)
@JSON
@QUIET
def names(path: Path, as_json: bool, quiet: bool) -> None:
    """Put the functions as names into the workbook at PATH, or mend names that a save has spoilt.

    For Excel 365 and 2024, where such a name is a function. Nothing else in the workbook changes; a dated backup is
    kept beside it.

    \b
    Example
      workbook-tools names "My own sheet.xlsx"
    """
    from workbook_tools.hosts.workbook_names import put_names
    from workbook_tools.xlsx.opened import Opened
    from workbook_tools.xlsx.saving.inputs import Seen
    from workbook_tools.xlsx.saving.whole_file import save

    with held(path, "names"):
        file = Opened(path)
        known, content = put_names(file)
        backup = save(path, content, replace=True, seen=Seen(file), in_place=True)
    if as_json:
        print_json(facts(path, backup) | {"names": len(known)})
    elif not quiet:
        say(f"{made(path, backup)}. {len(known)} names are in it.")


@cli.command(short_help="Write the user functions for Excel 2016 to 2021.")
@click.argument("path", type=FILE)
@REPLACE
@JSON
@QUIET
def excel(path: Path, replace: bool, as_json: bool, quiet: bool) -> None:
    """Write the module of user functions for Excel 2016 to 2021 on Windows to PATH (.py), and print the steps.

    \b
    Example
      workbook-tools excel fish_functions.py
    """
    from workbook_tools.hosts.excel_functions import MODULE_NAME, module_source, settings_sheet_rows

    if path.suffix.lower() != ".py":
        raise click.UsageError(f"{path}: a module's name ends in .py, such as {MODULE_NAME}.py")
    put(path, module_source().encode("utf-8"), replace, quiet, as_json)
    if not quiet and not as_json:
        print_table(
            "Sheet xlwings.conf of the workbook, then the steps",
            ("Setting", "Value", "What it is"),
            settings_sheet_rows(),
            (False, False, False),
        )


@cli.command(short_help="Write the guide to functions, columns or findings.")
@click.argument("path", type=FILE)
@click.option(
    "--about",
    type=click.Choice(["functions", "columns", "findings"]),
    default="functions",
    show_default=True,
    help="The functions by name, the columns of the case log, or what the check says and what to do.",
)
@REPLACE
@JSON
@QUIET
def guide(path: Path, about: str, replace: bool, as_json: bool, quiet: bool) -> None:
    """Write a guide to PATH: Markdown (.md), or a page (.html).

    \b
    Examples
      workbook-tools guide functions.md
      workbook-tools guide columns.html --about columns
      workbook-tools guide findings.html --about findings
    """
    from workbook_tools.hosts import column_guide, finding_guide
    from workbook_tools.hosts import guide as function_guide

    guides = {"functions": function_guide, "columns": column_guide, "findings": finding_guide}
    makers = {".md": guides[about].markdown, ".html": guides[about].page}
    if path.suffix.lower() not in makers:
        raise click.UsageError(f"{path}: the guide's name ends in .md or .html")
    put(path, makers[path.suffix.lower()]().encode("utf-8"), replace, quiet, as_json)
