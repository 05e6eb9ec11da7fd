"""How answers look in a terminal."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from rich.console import Console


def console() -> Console:
    """A console that keeps colours to terminals and honours NO_COLOR."""
    from rich.console import Console

    plain = Console(highlight=False)
    return plain if plain.is_terminal else Console(highlight=False, width=160)  # a file has no edge to fold at


def number(value: Any, digits: int = 10) -> str:
    """A value as a person reads it; a blank is a dash."""
    if value is None or value == "":
        return "-"
    return f"{value:.{digits}g}" if isinstance(value, int | float) else str(value)


def print_json(value: Any) -> None:
    click.echo(json.dumps(value, ensure_ascii=False, indent=2))


def print_table(title: str, headings: Sequence[str], rows: Iterable[Sequence[str]], numeric: Sequence[bool]) -> None:
    """A table with numbers to the right."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(title=title, box=box.SIMPLE_HEAD, title_justify="left", title_style="bold")
    for heading, right in zip(headings, numeric, strict=True):
        table.add_column(heading, justify="right" if right else "left", overflow="fold")
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))  # Text: what people type is never markup
    console().print(table)
