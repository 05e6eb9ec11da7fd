"""Looks through a file for anything that a copy for one site may not hold.

What may not be there
    Every text that the log has in rows of other sites and in rows that belong to nobody; in private columns of any row,
    the site's own too; on sheets that are no site's (lots that the site never used, what the log has learned). A text
    of several lines or sentences counts as a whole, and so does each line, and each sentence of three words or more.
    The first word of another site's name and the last of its contact's count alone, where they have four letters or
    more, begin with a capital in the log, and are no word of lists, headings, pages, the site's own names, or places.

How it is compared
    Capitals, accents, what stands between words (blanks, underscores, hyphens, ends of lines, %20, +), entities of HTML
    and signs that are not shown make no difference (`forbidden.evened`). A text counts anywhere between the ends of
    words; one of eight letters or more also inside words; a name of several words also written as one. Telephone
    numbers and other long numbers are compared without their spaces and marks, and, of seven digits or more, with or
    without the code of a country or the zeros before it.

What is no leak
    An occurrence that is, or lies inside, a text which the copy may well hold: an id, name or choice of the site's own,
    a word of the log's lists, a fixed word of the pages, a heading, or what a copy with no data in it has. So "T01" is
    no leak where the site has a T01 too, nor is "yes". What was written about the site in sentences excuses a sentence
    like it of another site, and ids of rows; it excuses no name, telephone number, lot or site's id of another site and
    no private text of two words or more. What a person allows by name is listed, and is none either.
    Numbers typed for other sites are not compared alone, nor are texts that are a date or a number with its unit. Of
    texts that look like numbers (lots, telephones) those with fewer than three digits are not compared, and numbers in
    cells and attributes only with such as have six digits or more. Texts with fewer than two letters or digits are not
    compared, in parts that are no XML those with fewer than four. A cell's address (T12) inside a reference is not the
    tank T12. A number joined to its unit by a space that does not break is a figure of the page.

What it cannot see
    Texts cut in pieces or put in a cipher, misspelt names, a name split inside a word; columns and sheets that a person
    added to the log, which no copy reads. Pictures, packed files, files of other programs and pages of a PDF without
    letters are said to be unread: a file with one of them is never called clean.
"""

from __future__ import annotations

import bisect
import functools
import itertools
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Set
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from workbook_tools.errors import ReadError
from workbook_tools.functions.quantities.amounts import JOINT
from workbook_tools.layout.compute import Computed
from workbook_tools.layout.ids import id_key
from workbook_tools.producer.forbidden import DIGITS_ONLY, LONG_NUMBER, TOKEN, Origin, Secret, Secrets, evened, secrets
from workbook_tools.producer.package_texts import (
    ADDRESS,
    BYTES,
    NUMBER,
    REFERENCE,
    UNREAD,
    PackageText,
    acting,
    check_size,
    package_texts,
    unreadable,
)
from workbook_tools.xlsx.reading import file_content
from workbook_tools.xlsx.reading.files import LOCKED, OLE, what_it_is

FEWEST_IN_BYTES = 4  # letters or digits: fewer turn up by chance
CUT = 500  # characters from which a text of a page may be cut
LONG_TEXT = 8  # letters or digits from which a text is looked for inside words too
CALLABLE, LONGEST_CALLED = 7, 15  # digits of a telephone number: without a code, and at most (ITU-T E.164)
LONGEST_CODE = 4  # digits: a country's three, and a zero
LONGEST_RUN = 1_000  # groups of digits that are put together in all ways
MOST_GROUPS = 7  # of digits in which a telephone number is written
MOST_JOINED, FEWEST_JOINED = 4, 6  # words of a name that may be written as one, and letters of it then
MOST_WORK = 60_000_000_000  # letters times texts: a minute's search takes as many
CALLED_RUN = re.compile(r"\d+(?:[ \u00a0./()+-]{1,3}\d+)*")
SPELT = re.compile("%[0-9A-Fa-f]{2}")
MARKS_IN_NUMBERS = re.compile(r"(?<=\d)[\s\u00a0./()-]+(?=\d)")
CELL_ADDRESS = re.compile(r"[a-z]{1,3}[1-9]\d*$")


@dataclass(frozen=True)
class Hit:
    """A text that may not be there: part and place in the file, the text, and its origin in the log.

    `unread` : it is none that was found, but something that could not be looked into; `text` says what.
    """

    part: str
    place: str
    text: str
    origin: Origin | None
    unread: bool = False

    def __str__(self) -> str:
        if self.unread:
            return f"{self.part}, {self.place}: {self.text}"
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


@dataclass(frozen=True)
class Sorted:
    """Hits in three kinds: leaks, those that a person has allowed by name, and what could not be looked into.

    `unused` : names that were allowed and not found.
    """

    leaks: list[Hit]
    allowed: list[Hit]
    unread: list[Hit]
    unused: list[str]


def sorted_hits(hits: Iterable[Hit], allowed: Iterable[str]) -> Sorted:
    """Hits as a person has to see them; `allowed` are the texts that may be there, spelt as they like."""
    names = {evened(text): text for text in allowed}
    kinds = Sorted([], [], [], [])
    used = set()
    for hit in hits:
        key = evened(hit.text)
        if hit.unread:
            kinds.unread.append(hit)
        elif hit.origin is not None and key in names:
            kinds.allowed.append(hit)
            used.add(key)
        else:
            kinds.leaks.append(hit)
    kinds.unused.extend(text for key, text in names.items() if key not in used)
    return kinds


def compared(texts: Iterable[PackageText], held: Secrets) -> list[Hit]:
    """Hits of the forbidden texts in the texts of a file."""
    hits: dict[Hit, None] = {}
    forms = {key: list(_forms(key, secret)) for key, secret in held.forbidden.items()}
    wanted = [form for found in forms.values() for form in found]
    index = _Index(wanted)
    for found in texts:
        if found.kind == UNREAD:
            hits[Hit(found.part, found.place, found.text, None, True)] = None
        else:
            index.add(found)
    if index.work > MOST_WORK:
        say = f"has {index.size:,} letters, too many to be searched for {len(held.forbidden):,} texts"
        return [*hits, Hit("file", "whole file", say, None, True)]
    allowed = held.allowed | {_as_one(text) for text in held.allowed}
    excused, named = _Masks(allowed | held.own), _Masks(allowed)
    for key, secret in held.forbidden.items():
        masks = named if secret.named else excused
        inside = _Masks({whole for whole in held.forbidden if key in whole and whole != key}) if secret.alone else None
        for form in forms[key]:
            for found, even in index.having(form):
                if secret.exact and not _has_exactly(found, secret):
                    continue
                if form.kind == CALLED or _is_there(form.text, found, even, masks, inside):
                    hits[Hit(found.part, found.place, secret.typed, secret.origin)] = None
    return list(hits)


PLAIN, INSIDE, DIGITS, CALLED = "plain", "inside", "digits", "called"


@dataclass(frozen=True)
class Spelling:
    """One way in which a text is written: its words in their order, also inside words, its digits without marks, or a
    number to call with or without what stands before it."""

    text: str
    kind: str


def is_long(text: str) -> bool:
    """Whether a text is so long that it is looked for inside words too; numbers never are."""
    return not DIGITS_ONLY.match(text) and sum(character.isalnum() for character in text) >= LONG_TEXT


def _forms(key: str, secret: Secret) -> Iterator[Spelling]:
    """A text as it is; a long number without its marks; a name of several words as one."""
    yield Spelling(key, INSIDE if is_long(key) and not secret.alone else PLAIN)
    if DIGITS_ONLY.match(key):
        digits = re.sub(r"\D", "", key)
        if len(digits) >= LONG_NUMBER:
            yield Spelling(digits, DIGITS)
        if CALLABLE <= len(digits.lstrip("0")) <= LONGEST_CALLED:
            yield Spelling(digits.lstrip("0"), CALLED)
    elif secret.named and 1 < len(key.split()) <= MOST_JOINED:
        joined = _as_one(key)
        if len(joined) >= FEWEST_JOINED:
            yield Spelling(joined, INSIDE if is_long(joined) else PLAIN)


def _has_exactly(found: PackageText, secret: Secret) -> bool:
    """Whether an id stands in a text with the signs between its letters."""
    wanted = secret.typed.casefold()
    return wanted in found.text.casefold() or wanted in unquote(found.text, errors="replace").casefold()


def _as_one(text: str) -> str:
    """A text without its blanks, as a page of a PDF is searched too."""
    return text.replace(" ", "").replace(JOINT, "")


class _Index:
    """Texts of a file by those of their words that are wanted: a text that lacks one need not be searched."""

    def __init__(self, wanted: Iterable[Spelling]) -> None:
        forms = list(wanted)
        self.texts: list[tuple[PackageText, str]] = []
        self.vocabulary = {word for form in forms if form.kind != CALLED for word in TOKEN.findall(form.text)}
        self.inside = sum(form.kind == INSIDE for form in forms)
        self.endings = {form.text[-CALLABLE:] for form in forms if form.kind == CALLED}
        self.words: dict[bool, dict[str, set[int]]] = {False: defaultdict(set), True: defaultdict(set)}
        self.called: dict[str, set[tuple[str, int]]] = defaultdict(set)
        self.seen: set[tuple[str, str, str]] = set()
        self.size = 0

    @property
    def work(self) -> int:
        """How many letters all searches together go over."""
        return self.size * self.inside

    def add(self, found: PackageText) -> None:
        self._add(found, evened(found.text))
        if SPELT.search(found.text):  # as an address spells signs; where it is none, this is a text more to search
            self._add(found, evened(unquote(found.text, errors="replace")))

    def _add(self, found: PackageText, even: str) -> None:
        if (found.part, found.place, even) in self.seen or not even:
            return
        self.seen.add((found.part, found.place, even))
        number = self._enter(found, even, False)
        if sum(map(even.count, "0123456789")) >= LONG_NUMBER:
            joined = MARKS_IN_NUMBERS.sub("", even)
            self._enter(found, joined, True)
            if found.kind not in (REFERENCE, ADDRESS) and (found.kind != NUMBER or even.isdigit()):
                endings = {ending for ending in self.endings if ending in joined.replace(" ", "")}
                for digits in _called(even, endings) if endings else ():
                    self.called[digits[-CALLABLE:]].add((digits, number))

    def _enter(self, found: PackageText, even: str, long: bool) -> int:
        number = len(self.texts)
        self.texts.append((found, even))
        self.size += len(even)
        for word in self.vocabulary.intersection(TOKEN.findall(even)):
            self.words[long][word].add(number)
        return number

    @functools.cached_property
    def whole(self) -> tuple[str, list[int]]:
        """All texts as one, and where each begins in it."""
        plain = [even.replace(JOINT, " ") for _, even in self.texts]
        starts = list(itertools.accumulate((len(text) + 1 for text in plain), initial=0))
        return "\0".join(plain), starts

    def having(self, form: Spelling) -> Iterator[tuple[PackageText, str]]:
        """Texts that may have a form."""
        if form.kind == INSIDE:
            return self._holding(form.text)
        if form.kind == CALLED:
            return self._calling(form.text)
        return self._with_all(form.text, form.kind == DIGITS)

    def _holding(self, wanted: str) -> Iterator[tuple[PackageText, str]]:
        """Texts that have the wanted one anywhere."""
        whole, starts = self.whole
        plain = wanted.replace(JOINT, " ")
        place = whole.find(plain)
        while place >= 0:
            number = bisect.bisect_right(starts, place) - 1
            yield self.texts[number]
            place = whole.find(plain, starts[number + 1])

    def _calling(self, digits: str) -> Iterator[tuple[PackageText, str]]:
        """Texts with a number that is the wanted one, but for what stands before it: a country's code."""
        for there, number in sorted(self.called.get(digits[-CALLABLE:], ())):
            short, long = sorted((there, digits), key=len)
            if long.endswith(short) and len(long) - len(short) <= LONGEST_CODE:
                yield self.texts[number]

    def _with_all(self, wanted: str, long: bool) -> Iterator[tuple[PackageText, str]]:
        """Texts that have every word of the wanted one."""
        words = self.words[long]
        tokens = set(TOKEN.findall(wanted))
        if not tokens or not all(token in words for token in tokens):
            return
        sets = sorted((words[token] for token in tokens), key=len)
        for number in sorted(set.intersection(*sets)):
            yield self.texts[number]


def _called(even: str, endings: Set[str]) -> Iterator[str]:
    """Numbers in a text that can be called and end in wanted ways, without the zeros before them: groups of digits that
    stand side by side. In a run of very many groups the endings alone, whatever stands before them."""
    for run in CALLED_RUN.finditer(even):
        groups = re.findall(r"\d+", run[0])
        if len(groups) > LONGEST_RUN:
            yield from (ending for ending in endings if ending in "".join(groups))
            continue
        for start in range(len(groups)):
            digits = ""
            for group in groups[start : start + MOST_GROUPS]:
                digits += group
                plain = digits.lstrip("0")
                if len(plain) > LONGEST_CALLED:
                    break
                if plain[-CALLABLE:] in endings:
                    yield plain


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


def _places(wanted: str, text: str, whole_word: bool = False) -> Iterator[int]:
    """Where a text stands in another, at the ends of words; a blank that does not break counts as a blank."""
    plain = text.replace(JOINT, " ")
    wanted = wanted.replace(JOINT, " ")
    start = plain.find(wanted)
    while start >= 0:
        if (is_long(wanted) and not whole_word) or _bounded(text, start, start + len(wanted), wanted):
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


def _is_there(wanted: str, found: PackageText, even: str, masks: _Masks, inside: _Masks | None) -> bool:
    if found.kind == BYTES and sum(character.isalnum() for character in wanted) < FEWEST_IN_BYTES:
        return False
    if found.kind == NUMBER and not (wanted.isdigit() and len(wanted) >= LONG_NUMBER):
        return False
    if found.kind == REFERENCE and CELL_ADDRESS.match(wanted):
        return False
    if found.kind == ADDRESS and " " not in wanted and wanted.isalpha():
        return False  # a word of a schema's address
    return any(
        not _masked(wanted, start, even, masks) and not (inside and _masked(wanted, start, even, inside))
        for start in _places(wanted, even, inside is not None)
    )


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
    from workbook_tools.producer.returned_rows import identity

    if content.startswith(OLE):
        locked = "is locked with a password: say --password-file, or take the password off first."
        raise ReadError(path, locked if LOCKED in content else what_it_is(content))
    why = unreadable(content)
    if why:
        raise ReadError(path, f"is {why}.")
    check_size(content, path)
    if site is None:
        known = identity(content)
        if known is None:
            raise ReadError(path, "does not say which site it is for; name it with --site.")
        site = known.site
    known_sites = {id_key(row["site"]) for row in computed.data["sites"] if row["site"] is not None}
    if id_key(site) not in known_sites:
        raise ReadError(path, f"is for site {site!r}, which the log does not have.")
    return site, audit(content, computed, site)
