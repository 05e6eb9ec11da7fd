"""`upgrade`: a case log of an older layout brought to that of today."""

from __future__ import annotations

import contextlib
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from workbook_tools.cli.group import cli
from workbook_tools.cli.options import FILE, JSON, QUIET
from workbook_tools.cli.printing import print_json, say
from workbook_tools.cli.writing import held, named

if TYPE_CHECKING:
    from workbook_tools.log.upgrading.log_upgrade import Upgrade


@cli.command(short_help="Bring a case log of an older layout to today's.")
@click.argument("path", type=FILE)
@click.option("--out", type=FILE, help="Write a new file and leave PATH as it is.")
@JSON
@QUIET
def upgrade(path: Path, out: Path | None, as_json: bool, quiet: bool) -> None:
    """Bring the case log at PATH to the layout of today, in place; a dated backup is kept beside it.

    What you typed, and the columns, sheets, notes and charts that you added, stay.

    \b
    Examples
      workbook-tools upgrade "River farm.xlsx"
      workbook-tools upgrade "River farm.xlsx" --out "River farm new.xlsx"
    """
    from workbook_tools.layout import case_log
    from workbook_tools.log.upgrading import log_upgrade, mending
    from workbook_tools.xlsx.opened import Opened

    target = None if out is None else named(out)
    with held(path, "upgrade") if target is None else contextlib.nullcontext():
        log = Opened(path)
        done, backup = log_upgrade.upgrade(log, case_log(), target)
        if done.content is None:  # of this layout already: what is broken in it is put right all the same
            mended, backup = mending.mend(log, case_log(), target)
            done = replace(done, content=mended.content, changes=mended.changes, looks=mended.looks)
    if as_json:
        print_json(
            {
                "file": str(path),
                "before": done.before,
                "after": done.after,
                "written": None if done.content is None else str(target or path),
                "backup": None if backup is None else str(backup),
                "changes": done.changes,
                "looks": done.looks,
            }
        )
    elif not quiet:
        say_upgrade(done, path if target is None else target, backup)


def say_upgrade(done: Upgrade, path: Path, backup: Path | None) -> None:
    """What was done, a line for each change."""
    if done.content is None:
        say(f"{path} is of layout {done.after} already; nothing was changed.")
        return
    kept = f"; the old file is kept as {backup.name}" if backup else ""
    was = "mended" if done.before == done.after else f"before {done.before}"
    say(f"{path} is of layout {done.after} now, {was}{kept}")
    for change in done.changes:
        say(f"  {change}")
    if done.looks:
        say("Wants a look:")
    for look in done.looks:
        say(f"  {look}")
