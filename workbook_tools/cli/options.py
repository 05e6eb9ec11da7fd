"""Options and arguments that several commands have, each in one wording."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from workbook_tools.log.gate import Despite

AS_JSON = "workbook_tools.json"  # key in a context's `meta`: the command was asked for JSON

FILE = click.Path(path_type=Path)
REPLACE = click.option(
    "--replace", is_flag=True, help="Replace a file that is there; a dated backup is kept beside it."
)
QUIET = click.option("--quiet", is_flag=True, help="Print nothing but errors.")
PAPER = click.option(
    "--paper",
    type=click.Choice(["A4", "Letter"], case_sensitive=False),
    default="A4",
    show_default=True,
    help="Paper to print on.",
)


def _remember(ctx: click.Context, _: click.Parameter, value: bool) -> bool:
    ctx.meta[AS_JSON] = value
    return value


# first of all options, so that a refusal of another one knows of it
JSON = click.option(
    "--json", "as_json", is_flag=True, is_eager=True, callback=_remember, help="Print JSON for another program."
)


def _overrides(_: click.Context, __: click.Parameter, texts: tuple[str, ...]) -> tuple[Despite, ...]:
    from workbook_tools.log.gate import despite

    return tuple(despite(text) for text in texts)


DESPITE = click.option(
    "--despite",
    multiple=True,
    callback=_overrides,
    metavar='"ID: REASON"',
    help="Give it in spite of open faults of the row ID; the reason is printed on it. May be repeated.",
)
