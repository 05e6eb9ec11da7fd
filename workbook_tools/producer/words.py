"""Every word of a producer's pages, by key and language, from templates/words.csv."""

from __future__ import annotations

import csv
import functools
import re
from collections.abc import Iterator

from workbook_tools.errors import DataError
from workbook_tools.layout.load import folder

LISTED = "listed:"  # how keys of words of the log's lists begin
GAP = re.compile(r"\{\w+\}")


@functools.cache
def table() -> dict[str, dict[str, str]]:
    """Language -> key -> text.

    Raises DataError, naming every fault, where a key stands twice, a text is missing or two languages have other gaps.
    """
    with (folder() / "words.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    languages = [name for name in rows[0] if name != "key"]
    faults = []
    found: dict[str, dict[str, str]] = {language: {} for language in languages}
    for row in rows:
        key = row["key"]
        gaps = {language: sorted(GAP.findall(row[language] or "")) for language in languages}
        if key in found[languages[0]]:
            faults.append(f"words.csv: the key {key} stands twice")
        if any(not (row[language] or "").strip() for language in languages):
            faults.append(f"words.csv: {key} has no text in one language")
        if len({str(names) for names in gaps.values()}) > 1:
            faults.append(f"words.csv: {key} has other gaps in one language")
        for language in languages:
            found[language][key] = row[language] or ""
    if faults:
        raise DataError(faults)
    return found


def languages() -> list[str]:
    return list(table())


class Words:
    """The words of one language: `words("made_on", date="...")`.

    Raises DataError for a language that the table has not, KeyError for a key that it has not.
    """

    def __init__(self, language: str = "en") -> None:
        if language not in table():
            raise DataError([f"there is no language {language!r}; there are {', '.join(languages())}"])
        self.language = language
        self.texts = table()[language]

    def __call__(self, key: str, **gaps: object) -> str:
        """The text of a key, its gaps filled; what fills a gap is never looked into for gaps of its own."""
        return GAP.sub(lambda gap: str(gaps[gap[0][1:-1]]), self.texts[key])

    def listed(self, word: object) -> str:
        """A word of the log's lists in this language; a word that a person added, as it was typed."""
        text = "" if word is None else str(word)
        return self.texts.get(f"{LISTED}{text.casefold()}", text)


def log_word(text: str) -> str:
    """A word of the log's lists, from its form in any language; other text as it is."""
    folded = text.strip().casefold()
    for texts in table().values():
        for key, word in texts.items():
            if key.startswith(LISTED) and word.casefold() == folded:
                return table()["en"][key]
    return text


def fragments() -> Iterator[str]:
    """The fixed parts of all texts in all languages, cut at their gaps."""
    for texts in table().values():
        for text in texts.values():
            yield from (part.strip() for part in GAP.split(text) if part.strip())
