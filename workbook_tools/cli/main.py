"""The whole command line. Heavy modules are imported by the command that needs them."""

from __future__ import annotations

import sys

from workbook_tools.cli import (
    completion,
    functions,
    hosts,
    mend,
    merge,
    plan,
    programme,
    responses,
    share,
    upgrade,
    workbooks,
)
from workbook_tools.cli.group import cli

__all__ = ["cli", "main"]
__all__ += [
    "completion",
    "functions",
    "hosts",
    "mend",
    "merge",
    "plan",
    "programme",
    "responses",
    "share",
    "upgrade",
    "workbooks",
]


def main() -> None:
    """Entry point of the console script."""
    if hasattr(sys.stdout, "reconfigure"):
        sys.stdout.reconfigure(errors="replace")
    cli(prog_name="workbook-tools")
