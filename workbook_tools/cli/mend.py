"""`mend`: a case log of which formulas, lists, names or rules are broken, put right."""

from __future__ import annotations

import contextlib
from pathlib import Path

import click

from workbook_tools.cli.group import cli
from workbook_tools.cli.options import FILE, JSON, QUIET
from workbook_tools.cli.printing import print_json, say
from workbook_tools.cli.writing import held, named


@cli.command(short_help="Put right formulas, lists and ids that were broken.")
@click.argument("path", type=FILE)
@click.option("--out", type=FILE, help="Write a new file and leave PATH as it is.")
@JSON
@QUIET
def mend(path: Path, out: Path | None, as_json: bool, quiet: bool) -> None:
    """Put right what a spreadsheet or a hand has broken in the case log at PATH; a dated backup is kept beside it.

    Formulas that were moved, shortened, typed over or lost, rows that were inserted without formulas or an id,
    drop-down lists, functions by name, and what LibreOffice leaves out when it saves. What you typed stays.

    \b
    Examples
      workbook-tools mend "River farm.xlsx"
      workbook-tools mend "River farm.xlsx" --out "River farm mended.xlsx"
    """
    from workbook_tools.layout import case_log
    from workbook_tools.log.upgrading import mending

    target = None if out is None else named(out)
    with held(path, "mend") if target is None else contextlib.nullcontext():
        done, backup = mending.mend(path, case_log(), target)
    if as_json:
        print_json(
            {
                "file": str(path),
                "written": None if done.content is None else str(target or path),
                "backup": None if backup is None else str(backup),
                "changes": done.changes,
                "looks": done.looks,
            }
        )
    elif not quiet and done.content is None:
        say(f"{path}: nothing is broken; nothing was changed.")
    elif not quiet:
        say(f"Mended {target or path}" + (f"; the old file is kept as {backup.name}" if backup else ""))
        for change in done.changes:
            say(f"  {change}")
        if done.looks:
            say("Wants a look:")
        for look in done.looks:
            say(f"  {look}")
