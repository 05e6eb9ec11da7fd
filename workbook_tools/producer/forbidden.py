"""What a copy for a site may not hold, and what it may: read off the log. The rule stands at the top of `audit`."""

from __future__ import annotations

import datetime
import functools
import html
import re
import unicodedata
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from workbook_tools.functions.quantities.amounts import JOINT
from workbook_tools.layout.compute import Computed, Row
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import id_key, id_text
from workbook_tools.layout.model import Column
from workbook_tools.producer.package_texts import UNREAD, package_texts
from workbook_tools.producer.selection import LEADS, Owners, owners, site_rows
from workbook_tools.producer.words import fragments

FEWEST_SIGNS = 2  # letters or digits
LONG_NUMBER = 6  # digits from which a number is compared in cells, and without its marks
FEWEST_DIGITS = 3  # of a text of digits alone
WORDS_OF_A_SENTENCE = 3
TOKEN = re.compile(r"[^\W_]+")
# what is made a blank: all that is no letter or digit, but for signs between two digits
BETWEEN = re.compile(r"(?:(?!(?<=\d)[-.,:/+()]\d)[\W_])+")
UNSEEN = ("Mn", "Me", "Cf")  # accents on their own, signs around others, signs that are not shown
FEWEST_OF_A_NAME = 4  # letters of one word of a name
NAMES = {("sites", "name"), ("sites", "contact"), ("sites", "telephone"), ("vessels", "name")}
PEOPLE = {("sites", "name"), ("sites", "contact")}  # of which one word counts alone
COMMON_IN_PLACES = (
    "aqua aquarium blue centre center cold deep east estate farm farms fish fishery fresh great green grey hatchery "
    "head high hill house island lake lakes large little long lower main middle north pond ponds pool public raceway "
    "river salmon school short silver small south spring springs state station tank the trout upper valley warm water "
    "waters well west white wild"
)
PLACE_WORDS = frozenset(COMMON_IN_PLACES.split())
DIGITS_ONLY = re.compile(r"[\d\s.,/+()-]+$")
PARTS = re.compile(r"[\r\n]+|(?<=[.!?;])\s+")
UNIT = (
    "g|kg|mg|ml|l|c|f|m|cm|mm|ft|in|min|h|s|d|days?|fish|%|oz|lb|gal|fl oz|(?:mg|g|ul)[ /](?:l|kg)|kg[ /]m3|"
    "mg[ /]kg a day"
)
A_FIGURE = re.compile(rf"[-+]?\d[\d.,]*[ {JOINT}]?(?:{UNIT})$")
A_DATE = re.compile(r"\d{4}-\d\d?-\d\d?$|\d\d?[./-]\d\d?[./-]\d{2,4}$")
TEXT_KINDS = ("id", "text", "list", "reference")


@dataclass(frozen=True)
class Origin:
    """Where the log has a text, and why a copy may not."""

    sheet: str
    row: int
    column: str
    why: str

    def __str__(self) -> str:
        return f"{self.sheet} row {self.row}, {self.column} ({self.why})"


def evened(text: str) -> str:
    """A text as texts are compared: what people and programs vary is made alike.

    Small letters without accents; no soft hyphens, signs of no width or of direction; entities of HTML are
    themselves; whatever is no letter or digit (underscores, hyphens, ends of lines,
    apostrophes) is one blank, but for a sign between two digits, and for the blank that joins a figure to its unit.
    """
    if "&" in text:
        text = html.unescape(text)
    if not text.isascii():
        text = JOINT.join(map(_plain, text.split(JOINT)))
    return JOINT.join(BETWEEN.sub(" ", piece) for piece in text.casefold().split(JOINT)).strip(" ")


def _plain(text: str) -> str:
    """A text in compatible signs, without accents and what is not seen."""
    signs = unicodedata.normalize("NFKD", text)
    return "".join(sign for sign in signs if unicodedata.category(sign) not in UNSEEN)


@dataclass(frozen=True)
class Secret:
    """A text that may not be there: as it was typed, where the log has it, and how it is searched.

    `named` : it names somebody, is private or a number: the site's own sentences do not excuse it. `alone` : one word
    of a name, which counts where it is a whole word and not in the name itself. `exact` : an id, which counts with the
    signs that it has: "S-1" is not in "it's (1 counted)".
    """

    typed: str
    origin: Origin
    named: bool = False
    alone: bool = False
    exact: bool = False


@dataclass
class Secrets:
    """Texts that may not be there, by how they are compared, and texts that may.

    `allowed` may be anywhere, with what is in them: lists, headings, words of the pages, the site's own names. `own`
    are what was written about the site in sentences: they excuse a sentence like them, and no name and no private text.
    """

    forbidden: dict[str, Secret] = field(default_factory=dict)
    allowed: set[str] = field(default_factory=set)
    own: set[str] = field(default_factory=set)

    def forbid(self, value: object, origin: Origin, named: bool = False, exact: bool = False) -> None:
        if is_number(value) and (value != int(value) or not 10 ** (LONG_NUMBER - 1) <= abs(value) < 1e15):
            return  # a number where a text belongs: compared only where it may be a telephone
        text = id_text(value).strip()
        pieces = [part for part in PARTS.split(text) if len(part.split()) >= WORDS_OF_A_SENTENCE or "\n" in text]
        for piece in (text, *pieces):
            self._enter(piece.strip(), Secret(piece.strip(), origin, named, exact=exact))

    def forbid_word(self, word: str, origin: Origin) -> None:
        """One word of a name, where it is none that anybody writes."""
        key = evened(word)
        if key not in self.forbidden:
            self.forbidden[key] = Secret(word, origin, named=True, alone=True)

    def _enter(self, piece: str, secret: Secret) -> None:
        key = evened(piece)
        if A_FIGURE.match(piece.casefold()) or not comparable(key):
            return
        before = self.forbidden.get(key)
        if before is None or before.alone or (before.exact and not secret.exact):
            self.forbidden[key] = secret
        elif secret.named and not before.named:
            self.forbidden[key] = replace(before, named=True)

    def allow(self, value: object) -> None:
        key = evened(id_text(value))
        if key:
            self.allowed.add(key)

    def excuse(self, value: object) -> None:
        """A text in sentences of the site's own."""
        key = evened(id_text(value))
        if key:
            self.own.add(key)

    def settle(self) -> None:
        """Take out what may be there whole."""
        for text in self.allowed & self.forbidden.keys():
            del self.forbidden[text]
        for text in self.own & self.forbidden.keys():
            if not self.forbidden[text].named:
                del self.forbidden[text]


def comparable(text: str) -> bool:
    """Whether a text is long enough to say anything."""
    if A_FIGURE.match(text) or A_DATE.match(text):
        return False
    signs = sum(len(token) for token in TOKEN.findall(text))
    return signs >= (FEWEST_DIGITS if DIGITS_ONLY.match(text) else FEWEST_SIGNS)


def secrets(computed: Computed, site: str) -> Secrets:
    """What a copy for a site may not hold, and what it may."""
    found = owners(computed)
    wanted = id_key(site)
    held = Secrets()
    for text in _common(computed):
        held.allow(text)
    lots = _used_lots(computed, found, wanted)
    codes = _codes(computed)
    names: list[tuple[str, str, Origin]] = []
    for key, table in computed.layout.tables.items():
        if key not in LEADS and not table.private:
            continue
        for position, row in enumerate(computed.data[key]):
            owner = found.of_rows[key][position] if key in LEADS else None
            why = "a sheet that no copy has" if key not in LEADS else "another site's" if owner else "of no one site"
            for column in table.columns:
                value = row.get(column.key)
                if not _is_text(column, value):
                    continue
                if owner == wanted and not column.private:
                    _own(key, column, value, held)
                elif key == "stores" and column.key == "lot" and id_key(row["lot"]) in lots:
                    held.allow(row["lot"])
                else:
                    reason = "private" if column.private else why
                    origin = Origin(table.sheet, computed.number(table, position), column.heading, reason)
                    held.forbid(value, origin, _is_named(key, column, value, codes), column.kind in ("id", "reference"))
                    if (key, column.key) in PEOPLE:
                        names.append((column.key, id_text(value), origin))
    held.settle()
    _names_alone(names, held)
    return held


def _is_text(column: Column, value: object) -> bool:
    """Whether a cell of a log is a text: also a text that somebody typed where a number belongs."""
    if value is None or isinstance(value, bool):
        return False
    return (column.typed or column.kind == "text") and (isinstance(value, str) or column.kind in TEXT_KINDS)


def _own(table: str, column: Column, value: object, held: Secrets) -> None:
    """A text of the site's own. A reference is none: what it names may be another site's."""
    if column.kind == "text" and (table, column.key) not in NAMES:
        held.excuse(value)
    elif column.kind != "reference" or column.loose:
        held.allow(value)


def _is_named(table: str, column: Column, value: object, codes: Mapping[str, int]) -> bool:
    """Whether a text gives somebody away wherever it stands: a name, a number to call, a private text.

    Not so the ids of rows, which are alike on many farms, but for a site's; and not a private text of one word.
    """
    text = id_text(value)
    if (table, column.key) in NAMES:
        return True
    if column.kind == "id":
        return table in ("sites", "stores") and codes[id_key(value)] == 1
    return (column.private or table == "stores") and len(evened(text).split()) > 1


def _codes(computed: Computed) -> Counter[str]:
    """In how many sheets each id stands."""
    found: Counter[str] = Counter()
    for key, table in computed.layout.tables.items():
        if key in LEADS or table.private:
            ids = [column.key for column in table.columns if column.kind == "id"]
            found.update({id_key(row[one]) for row in computed.data[key] for one in ids if row.get(one) is not None})
    return found


def _names_alone(names: list[tuple[str, str, Origin]], held: Secrets) -> None:
    """The first word of a farm's name and the last of a person's, where nobody writes it for another reason.

    It has four letters or more and begins with a capital in the log; no list, heading, page or name of the site's own
    has it, and it is no common word of places.
    """
    ordinary = {word for text in held.allowed for word in text.split()} | PLACE_WORDS
    for column, name, origin in names:
        words = re.findall(r"[^\W\d_]+", unicodedata.normalize("NFC", name))
        word = (words[0] if column == "name" else words[-1]) if len(words) > 1 else ""
        if len(word) >= FEWEST_OF_A_NAME and word[0].isupper() and evened(word) not in ordinary:
            held.forbid_word(word, origin)


def _used_lots(computed: Computed, found: Owners, wanted: str) -> set[str]:
    """Lots that rows of the site name."""
    lots = set()
    for table, keys in (("baths", ("lot", "buffer_lot")), ("treatments", ("lot",))):
        for row, owner in zip(computed.data[table], found.of_rows[table], strict=True):
            if owner == wanted:
                lots |= {id_key(row[key]) for key in keys if row[key] is not None}
    return lots


def _common(computed: Computed) -> Iterator[str]:
    """Texts that are no site's: words of lists and of the reference, headings, words of the pages, an empty copy."""
    for key, table in computed.layout.tables.items():
        yield table.sheet
        yield table.name
        yield from (column.heading for column in table.columns)
        if not table.log and not table.key_source and not table.private:
            for row in computed.data[key]:
                yield from (value for value in row.values() if isinstance(value, str))
    yield from fragments()
    yield from empty_copy_texts()


@functools.cache
def empty_copy_texts() -> frozenset[str]:
    """What a copy for a site with no data has: names of styles, fonts and parts, words of the format."""
    from workbook_tools.layout import case_log
    from workbook_tools.producer.copy import copy_of
    from workbook_tools.producer.page_making import Making
    from workbook_tools.producer.units import Units
    from workbook_tools.producer.words import Words, languages

    data: dict[str, list[Row]] = {"sites": [{"site": "S", "name": None}], "stocks": [{"stock": "K", "site": "S"}]}
    data["losses"] = [{"day": "D", "date": 1.0, "stock": "K", "dead": 1, "temperature": 1.0, "oxygen": 1.0}]
    texts = set()
    for language in languages():
        computed = Computed(case_log(), data)
        making = Making(site_rows(computed, "S"), Words(language), Units(), datetime.datetime(2000, 1, 1))
        copy = copy_of(computed, making)
        texts |= {found.text for found in package_texts(copy.content) if found.kind != UNREAD}
    return frozenset(texts)
