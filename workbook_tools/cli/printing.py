"""How answers look in a terminal."""

from __future__ import annotations

import json
import re
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


# signs that steer a terminal or turn the direction of a text: control signs of both sets, marks and brackets of
# direction, ends of lines and paragraphs, halves of signs, signs that are never shown
STEERING = re.compile(
    "[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u206f\ufff9-\ufffb\ud800-\udfff\U000e0000-\U000e0fff]"
)


def visible(text: str, kept: str = "") -> str:
    """A text with the signs that steer a terminal spelt out: \\x1b, \\n, \\u202e.

    Every text that a command prints goes through here: what stands in a cell, in a file's name and in an error may be
    somebody else's. `kept` are signs that are left as they are.
    """
    return STEERING.sub(lambda sign: sign[0] if sign[0] in kept else _spelt(sign[0]), text)


def _spelt(sign: str) -> str:
    return sign.encode("unicode_escape").decode("ascii")


def say(*lines: object, err: bool = False) -> None:
    """Print lines, each on one line whatever stands in it; without any, an empty one."""
    for line in lines or ("",):
        click.echo(visible(str(line)), err=err)


def print_json(value: Any) -> None:
    text = json.dumps(value, ensure_ascii=False, indent=2)
    click.echo(STEERING.sub(lambda sign: "\n" if sign[0] == "\n" else _escaped(sign[0]), text))


def _escaped(sign: str) -> str:
    """As JSON spells it; beyond 16 bits in two halves."""
    return json.dumps(sign)[1:-1] if sign != "\x7f" else "\\u007f"


def print_table(title: str, headings: Sequence[str], rows: Iterable[Sequence[str]], numeric: Sequence[bool]) -> None:
    """A table with numbers to the right."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    caption = Text(visible(title)) if title else None
    table = Table(title=caption, box=box.SIMPLE_HEAD, title_justify="left", title_style="bold")
    for heading, right in zip(headings, numeric, strict=True):
        table.add_column(Text(visible(heading)), justify="right" if right else "left", overflow="fold")
    for row in rows:
        table.add_row(*(Text(visible(cell)) for cell in row))  # Text: what people type is never markup
    console().print(table)
