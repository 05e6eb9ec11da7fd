"""Writes `templates/guide/what-you-type.md` from the rows that the tests try.

python3 -m tests.support.write_what_you_type
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from tests.support import typed_rows as rows

GUIDE = Path(__file__).resolve().parents[2] / "templates" / "guide" / "what-you-type.md"
HEAD = """# What becomes of what you type

Each line was typed into a log and read back by the tests. What cannot be read is named by `workbook-tools check` with
its sheet, row and column and the words below; nothing is computed from such a cell, and nothing is guessed.
"""
TITLES = {
    "In a cell for a number": "A dose, a volume, a share. Type figures alone, in the unit of the heading.",
    "In a cell for text, a name or a choice": "",
    "In a cell for a date or a time": "Cells show dates as year-month-day, so that you see what was understood.",
}
OFFICE = """
## The same keys, another language

A spreadsheet takes a comma or a point by the language that it runs in. This is what a spreadsheet in English and one in
German make of the same keys in a cell for litres. What it takes for a number is read as it stands in the cell: look at
the cell after typing.
"""
DONE = "\n## What is done to the sheets\n"


def guide() -> str:
    """The whole page."""
    parts = [HEAD]
    numbers = [*rows.IN_NUMBERS, *rows.SHARE, rows.PERCENT]
    groups = (numbers, [row for _, row in rows.IN_TEXTS], [row for _, row in rows.IN_DAYS])
    for (title, words), group in zip(TITLES.items(), groups, strict=True):
        parts.append(f"\n## {title}\n" + (f"\n{words}\n" if words else ""))
        parts.append(table(("Typed", "What becomes of it"), ((shown(row.typed), row.outcome) for row in group)))
    parts.append(OFFICE)
    lines = ((shown(row.typed), of_office(row.english), of_office(row.german)) for row in rows.IN_OFFICE)
    parts.append(table(("Typed", "English", "German"), lines))
    parts.append(DONE)
    parts.append(table(("Done", "What becomes of it"), ((row.done, row.words) for row in rows.DONE)))
    return "".join(parts)


def shown(typed: str) -> str:
    """A typed text with words for what cannot be seen in it."""
    for sign, name in (
        ("\u00a0", "(space that does not break)"),
        ("\ufeff", "(byte order mark)"),
        ("\u200b", "(space of no width)"),
    ):
        typed = typed.replace(sign, name)
    if typed != typed.strip():
        typed = typed.strip() + " (space)"
    return typed.replace("|", "\\|")


def of_office(outcome: float | str) -> str:
    if isinstance(outcome, str):
        return "refused, with the reason"
    return f"read as {outcome:.10g}"


def table(head: tuple[str, ...], lines: Iterable[tuple[str, ...]]) -> str:
    marked = [head, tuple("---" for _ in head), *lines]
    return "\n" + "".join(f"| {' | '.join(line)} |\n" for line in marked)


if __name__ == "__main__":
    GUIDE.parent.mkdir(exist_ok=True)
    GUIDE.write_text(guide(), encoding="utf-8")
