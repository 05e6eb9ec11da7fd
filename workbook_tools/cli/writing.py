"""How a command puts a file in its place and says so."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

import click

from workbook_tools.cli.printing import print_json, say


def named(path: Path) -> Path:
    """The path with its ending; another ending than .xlsx is refused."""
    if path.suffix == "":
        return path.with_suffix(".xlsx")
    if path.suffix.lower() != ".xlsx":
        raise click.UsageError(f"{path}: the file's name must end in .xlsx")
    return path


def made(path: Path, backup: Path | None) -> str:
    """The sentence that says what was written."""
    return f"Made {path}" + (f"; the old file is kept as {backup.name}" if backup else "")


def facts(path: Path, backup: Path | None) -> dict[str, str | None]:
    """The same as plain data."""
    return {"file": str(path), "backup": str(backup) if backup else None}


def put(path: Path, content: bytes, replace: bool, quiet: bool = False, as_json: bool = False) -> None:
    """Save a file and say that it was made, in the way that was asked for."""
    from workbook_tools.xlsx.saving.whole_file import save

    backup = save(path, content, replace)
    if as_json:
        print_json(facts(path, backup))
    elif not quiet:
        say(made(path, backup))


@contextlib.contextmanager
def held(log: Path, command: str) -> Iterator[None]:
    """Hold a log that a command reads and then writes in place, so that no other command does meanwhile."""
    from workbook_tools.xlsx.saving.lock import in_place

    with in_place(log, command) as note:
        if note:
            say(note, err=True)
        yield
