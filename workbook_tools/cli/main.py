"""The command `workbook-tools` and its subcommands. Heavy modules are imported by the command that needs them."""

from __future__ import annotations

import sys
from typing import Any

import click

from workbook_tools import __version__
from workbook_tools.errors import WorkbookToolsError

EPILOG = """
\b
Exit codes
  0  done; nothing found
  1  done; the check has findings
  2  could not be done: the reason is on the last line
"""


class Refusal(click.ClickException):
    """What could not be done, in one sentence or more."""

    exit_code = 2


class Commands(click.Group):
    """Turns our refusals into one plain sentence and exit code 2; keeps commands in the order of the work."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except WorkbookToolsError as error:
            raise Refusal(str(error)) from error


@click.group(cls=Commands, epilog=EPILOG, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="workbook-tools")
def cli() -> None:
    """Bath, buffer, top-up and stage arithmetic for fish health, and a case log per farm.

    Doses are reference values: the label in force, local law and the prescribing veterinarian decide.
    """


def main() -> None:
    """Entry point of the console script."""
    if hasattr(sys.stdout, "reconfigure"):
        sys.stdout.reconfigure(errors="replace")
    cli()


from workbook_tools.cli import (  # noqa: E402 - they add their commands to `cli`
    functions,
    hosts,
    merge,
    plan,
    responses,
    share,
    upgrade,
    workbooks,
)

__all__ = ["cli", "functions", "hosts", "main", "merge", "plan", "responses", "share", "upgrade", "workbooks"]
