"""Looks through a file for anything that a copy for one site may not hold.

What may not be there
    Every text that the log has in rows of other sites and in rows that belong to nobody; in private columns of any row,
    the site's own too; on sheets that are no site's (lots that the site never used, what the log has learned). A text
    of several lines or sentences counts as a whole, and so does each line, and each sentence of three words or more.

How it is compared
    Capitals or not, runs of blanks as one blank, anywhere inside a text between the ends of words; a text of eight
    letters or more also inside words. Telephone numbers and other long numbers are compared without their spaces and
    marks too.

What is no leak
    An occurrence that is, or lies inside, a text which the copy may well hold: a text of the site's own shareable
    columns, a word of the log's lists, a fixed word of the pages, a heading, or what a copy with no data in it has. So
    "T01" is no leak where the site has a T01 too, nor is "yes"; but another's name that a note of the site's own
    mentions is one wherever it stands outside that note.
    Numbers typed for other sites are not compared alone, nor are texts that are a date or a number with its unit. Of
    texts that look like numbers (lots, telephones) those with fewer than three digits are not compared, and numbers in
    cells and attributes only with such as have six digits or more. Texts with fewer than two letters or digits are not
    compared, in parts that are no XML those with fewer than four. A cell's address (T12) inside a reference is not the
    tank T12. A number joined to its unit by a space that does not break is a figure of the page.

What it cannot see
    Words in the pixels of a picture; texts cut in pieces or put in a cipher; columns and sheets that a person added to
    the log, which no copy reads.
"""

from __future__ import annotations

import bisect
import functools
import itertools
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from workbook_tools.errors import ReadError
from workbook_tools.intake import file_content
from workbook_tools.layouts.amounts import JOINT
from workbook_tools.layouts.compute import Computed
from workbook_tools.sharing.forbidden import DIGITS_ONLY, LONG_NUMBER, TOKEN, Origin, Secrets, evened, secrets
from workbook_tools.sharing.package_texts import (
    ADDRESS,
    BYTES,
    NUMBER,
    REFERENCE,
    UNREAD,
    PackageText,
    acting,
    check_room,
    package_texts,
)
from workbook_tools.sharing.selection import folded

FEWEST_IN_BYTES = 4  # letters or digits: fewer turn up by chance
CUT = 500  # characters from which a text of a page may be cut
LONG_TEXT = 8  # letters or digits from which a text is looked for inside words too
MARKS_IN_NUMBERS = re.compile(r"(?<=\d)[\s\u00a0./()-]+(?=\d)")
CELL_ADDRESS = re.compile(r"[a-z]{1,3}[1-9]\d*$")


@dataclass(frozen=True)
class Hit:
    """A text that may not be there: part and place in the file, the text, and its origin in the log."""

    part: str
    place: str
    text: str
    origin: Origin | None

    def __str__(self) -> str:
        source = f" is from {self.origin}" if self.origin else ""
        return f"{self.part}, {self.place}: {self.text!r}{source}"

    def as_dict(self) -> dict[str, Any]:
        origin = self.origin
        where = (
            None
            if origin is None
            else {"sheet": origin.sheet, "row": origin.row, "column": origin.column, "why": origin.why}
        )
        return {"part": self.part, "place": self.place, "text": self.text, "origin": where}


# ------------------------------------------------------------------------------------------------------ comparing


def audit(content: bytes, computed: Computed, site: str) -> list[Hit]:
    """Everything in a file that a copy for one site may not hold.

    Parameters
    ----------
    content : the file's bytes: a workbook, or anything else.
    computed : the log.
    site : id of the site that the file is for.

    Returns
    -------
    Hits with their places and origins; parts that could not be looked into are hits too, and so is what could act on a
    computer (macros, links to programs). None is the wanted answer.
    """
    foreign = (Hit(one.part, one.code, one.say, None) for one in acting(content))
    return [*compared(package_texts(content), secrets(computed, site)), *foreign]


def compared(texts: Iterable[PackageText], held: Secrets) -> list[Hit]:
    """Hits of the forbidden texts in the texts of a file."""
    hits: dict[Hit, None] = {}
    index = _Index()
    for found in texts:
        if found.kind == UNREAD:
            hits[Hit(found.part, found.place, found.text, None)] = None
        else:
            index.add(found)
    masks = _Masks(held.allowed)
    for key, (typed, origin) in held.forbidden.items():
        for form, long in _forms(key):
            for found, even in index.holding(form) if is_long(form) else index.with_all(form, long):
                if _is_there(form, found, even, masks):
                    hits[Hit(found.part, found.place, typed, origin)] = None
    return list(hits)


def is_long(text: str) -> bool:
    """Whether a text is so long that it is looked for inside words too; numbers never are."""
    return not DIGITS_ONLY.match(text) and sum(character.isalnum() for character in text) >= LONG_TEXT


def _forms(key: str) -> Iterator[tuple[str, bool]]:
    """A text as it is, and a long number without its marks."""
    yield key, False
    digits = re.sub(r"\D", "", key)
    if DIGITS_ONLY.match(key) and len(digits) >= LONG_NUMBER:
        yield digits, True


class _Index:
    """Texts of a file by the words in them: a text that lacks a word of the wanted one need not be searched."""

    def __init__(self) -> None:
        self.texts: list[tuple[PackageText, str]] = []
        self.words: tuple[dict[str, set[int]], dict[str, set[int]]] = (defaultdict(set), defaultdict(set))
        self.seen: set[tuple[str, str, str]] = set()

    def add(self, found: PackageText) -> None:
        even = evened(found.text)
        if (found.part, found.place, even) in self.seen or not even:
            return
        self.seen.add((found.part, found.place, even))
        self._enter(found, even, 0)
        if sum(character.isdigit() for character in even) >= LONG_NUMBER:
            self._enter(found, MARKS_IN_NUMBERS.sub("", even), 1)

    def _enter(self, found: PackageText, even: str, long: int) -> None:
        number = len(self.texts)
        self.texts.append((found, even))
        for word in set(TOKEN.findall(even)):
            self.words[long][word].add(number)

    @functools.cached_property
    def whole(self) -> tuple[str, list[int]]:
        """All texts as one, and where each begins in it."""
        plain = [even.replace(JOINT, " ") for _, even in self.texts]
        starts = list(itertools.accumulate((len(text) + 1 for text in plain), initial=0))
        return "\0".join(plain), starts

    def holding(self, wanted: str) -> Iterator[tuple[PackageText, str]]:
        """Texts that have the wanted one anywhere."""
        whole, starts = self.whole
        plain = wanted.replace(JOINT, " ")
        place = whole.find(plain)
        while place >= 0:
            number = bisect.bisect_right(starts, place) - 1
            yield self.texts[number]
            place = whole.find(plain, starts[number + 1])

    def with_all(self, wanted: str, long: bool) -> Iterator[tuple[PackageText, str]]:
        """Texts that have every word of the wanted one."""
        words = self.words[int(long)]
        tokens = set(TOKEN.findall(wanted))
        if not tokens or not all(token in words for token in tokens):
            return
        sets = sorted((words[token] for token in tokens), key=len)
        for number in sorted(set.intersection(*sets)):
            yield self.texts[number]


class _Masks:
    """Allowed texts that hold a forbidden one, with where they hold it; found once for each forbidden text."""

    def __init__(self, allowed: set[str]) -> None:
        self.allowed = allowed
        self.words: dict[str, set[str]] = defaultdict(set)
        for text in allowed:
            for word in set(TOKEN.findall(text)):
                self.words[word].add(text)

    @functools.cache  # noqa: B019 - lives as long as one comparison
    def around(self, wanted: str) -> tuple[tuple[str, int], ...]:
        if is_long(wanted):
            candidates = {text for text in self.allowed if wanted.replace(JOINT, " ") in text.replace(JOINT, " ")}
        else:
            sets = [self.words.get(token, set()) for token in set(TOKEN.findall(wanted))]
            candidates = set.intersection(*sets) if sets else set()
        found: list[tuple[str, int]] = []
        for text in candidates:
            found += [(text, start) for start in _places(wanted, text)]
        return tuple(found)


def _places(wanted: str, text: str) -> Iterator[int]:
    """Where a text stands in another, at the ends of words; a blank that does not break counts as a blank."""
    plain = text.replace(JOINT, " ")
    wanted = wanted.replace(JOINT, " ")
    start = plain.find(wanted)
    while start >= 0:
        if is_long(wanted) or _bounded(text, start, start + len(wanted), wanted):
            yield start
        start = plain.find(wanted, start + 1)


def _bounded(text: str, start: int, end: int, wanted: str) -> bool:
    before, after = text[start - 1 : start], text[end : end + 1]
    if (before.isalnum() and wanted[0].isalnum()) or (after.isalnum() and wanted[-1].isalnum()):
        return False
    if not wanted.isdigit():
        return True
    # a part of a longer number, of a date, or a figure joined to its unit
    joined = JOINT in (before, after)
    around = (text[start - 2 : start], text[end : end + 2])
    inside = any(
        len(pair) == 2 and any(one.isdigit() for one in pair) and any(one in ".,:/-" for one in pair) for pair in around
    )
    return not joined and not inside


def _is_there(wanted: str, found: PackageText, even: str, masks: _Masks) -> bool:
    if found.kind == BYTES and sum(character.isalnum() for character in wanted) < FEWEST_IN_BYTES:
        return False
    if found.kind == NUMBER and not (wanted.isdigit() and len(wanted) >= LONG_NUMBER):
        return False
    if found.kind == REFERENCE and CELL_ADDRESS.match(wanted):
        return False
    if found.kind == ADDRESS and " " not in wanted and wanted.isalpha():
        return False  # a word of a schema's address
    return any(not _masked(wanted, start, even, masks) for start in _places(wanted, even))


def _masked(wanted: str, start: int, even: str, masks: _Masks) -> bool:
    """Whether an occurrence lies inside a longer text that may be there."""
    for text, offset in masks.around(wanted):
        begin = start - offset
        if begin >= 0 and even[begin : begin + len(text)] == text:
            return True
        if len(even) >= CUT:  # the page went on in the cell below: the allowed text may be cut at either end
            cut = text[max(0, -begin) : len(even) - begin]
            if even[max(0, begin) : max(0, begin) + len(cut)] == cut and (begin < 0 or begin + len(text) > len(even)):
                return True
    return False


# --------------------------------------------------------------------------------------------------- files


def audit_file(path: Path, computed: Computed, site: str | None = None) -> tuple[str, list[Hit]]:
    """The site that a file is for, and its hits. Without `site` the copy itself must say which it is for.

    Raises ReadError where the file cannot be read, is locked with a password, or does not say which site it is for.
    """
    return audit_content(file_content(path), computed, site, path)


def audit_content(content: bytes, computed: Computed, site: str | None, path: object) -> tuple[str, list[Hit]]:
    """As `audit_file`, for bytes."""
    from workbook_tools.sharing.returned import identity

    if content.startswith(b"\xd0\xcf\x11\xe0"):
        raise ReadError(path, "is locked with a password: say --password-file, or take the password off first.")
    check_room(content, path)
    if site is None:
        known = identity(content)
        if known is None:
            raise ReadError(path, "does not say which site it is for; name it with --site.")
        site = known.site
    known_sites = {folded(row["site"]) for row in computed.data["sites"] if row["site"] is not None}
    if folded(site) not in known_sites:
        raise ReadError(path, f"is for site {site!r}, which the log does not have.")
    return site, audit(content, computed, site)
