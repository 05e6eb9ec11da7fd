"""Takes a formula's docstring apart into its named sections."""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable
from dataclasses import dataclass

SECTIONS = ("Parameters", "Returns", "Raises", "Notes", "Examples", "References")
UNIT_AT_END = re.compile(r"\s*\[[^\]]*\]\s*$")


@dataclass(frozen=True)
class Docstring:
    summary: str
    parameters: dict[str, str]
    returns: str
    raises: str
    notes: str
    examples: str
    references: str


def take_apart(function: Callable[..., object]) -> Docstring:
    """The sections of a docstring; raises ValueError where one of them is missing."""
    text = inspect.cleandoc(function.__doc__ or "")
    pieces = re.split(rf"^({'|'.join(SECTIONS)})\n-+\n", text, flags=re.MULTILINE)
    found = {name: body.strip() for name, body in zip(pieces[1::2], pieces[2::2], strict=True)}
    missing = [name for name in SECTIONS if not found.get(name)]
    if missing or not pieces[0].strip():
        raise ValueError(f"{function.__module__}.{function.__name__}: the docstring lacks {', '.join(missing)}")
    return Docstring(
        summary=" ".join(pieces[0].split()),
        parameters=_parameters(found["Parameters"]),
        returns=UNIT_AT_END.sub("", " ".join(found["Returns"].split())),
        raises=" ".join(found["Raises"].split()),
        notes=" ".join(found["Notes"].split()),
        examples=found["Examples"],
        references=" ".join(found["References"].split()),
    )


def _parameters(body: str) -> dict[str, str]:
    found: dict[str, str] = {}
    name = ""
    for line in body.splitlines():
        match = re.match(r"^(\w+) : (.*)$", line)
        if match:
            name, words = match[1], match[2]
            found[name] = words
        elif name:
            found[name] += " " + line.strip()
    return {name: UNIT_AT_END.sub("", words) for name, words in found.items()}
