"""Pages to read, told once and written twice: as Markdown, and as HTML that any browser, and LibreOffice, can show."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class GuideHeading:
    """A heading; the title of the page has level 1."""

    text: str
    level: int = 2


@dataclass(frozen=True)
class GuideParagraph:
    text: str


@dataclass(frozen=True)
class Items:
    """A list of texts."""

    texts: tuple[str, ...]


@dataclass(frozen=True)
class GuideTable:
    """A table of texts."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


GuideBlock = GuideHeading | GuideParagraph | Items | GuideTable

PAGE = """\
<!DOCTYPE html>
<html lang="en">
<head><meta charset="utf-8"><title>{title}</title>
<style>
body {{ font-family: sans-serif; max-width: 75em; margin: 2em auto; padding: 0 1em; line-height: 1.4 }}
table {{ border-collapse: collapse }}
th, td {{ border: 1px solid #767676; padding: 0.3em 0.5em; text-align: left; vertical-align: top }}
</style>
</head>
<body>
{body}
</body>
</html>
"""


def markdown(title: str, blocks: Sequence[GuideBlock]) -> str:
    """The page as Markdown."""
    return (
        "\n".join(line for block in (GuideHeading(title, 1), *blocks) for line in (*_lines(block), "")).rstrip() + "\n"
    )


def page(title: str, blocks: Sequence[GuideBlock]) -> str:
    """The page as HTML, in one file."""
    body = "\n".join(_elements(block) for block in (GuideHeading(title, 1), *blocks))
    return PAGE.format(title=html.escape(title), body=body)


def _lines(block: GuideBlock) -> list[str]:
    match block:
        case GuideHeading(text, level):
            return [f"{'#' * level} {text}"]
        case GuideParagraph(text):
            return [_unmarked(text)]
        case Items(texts):
            return [f"- {_unmarked(text)}" for text in texts]
        case GuideTable(headings, rows):
            lines = [headings, ("---",) * len(headings), *rows]
            return ["| " + " | ".join(_unmarked(text).replace("|", "\\|") for text in line) + " |" for line in lines]


def _unmarked(text: str) -> str:
    """A text in which Markdown shall see no marks of its own."""
    return text.replace("\\", "\\\\").replace("*", "\\*").replace("_", "\\_").replace("<", "&lt;")


def _elements(block: GuideBlock) -> str:
    match block:
        case GuideHeading(text, level):
            return f"<h{level}>{html.escape(text)}</h{level}>"
        case GuideParagraph(text):
            return f"<p>{html.escape(text)}</p>"
        case Items(texts):
            items = "\n".join(f"<li>{html.escape(text)}</li>" for text in texts)
            return f"<ul>\n{items}\n</ul>"
        case GuideTable(headings, rows):
            head = _row("th", headings)
            return "\n".join(["<table>", head, *(_row("td", row) for row in rows), "</table>"])


def _row(element: str, texts: Sequence[str]) -> str:
    return "<tr>" + "".join(f"<{element}>{html.escape(text)}</{element}>" for text in texts) + "</tr>"
