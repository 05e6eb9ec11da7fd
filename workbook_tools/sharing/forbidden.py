"""What a copy for a site may not hold, and what it may: read off the log. The rule stands at the top of `audit`."""

from __future__ import annotations

import datetime
import functools
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field

from workbook_tools.layouts.amounts import JOINT
from workbook_tools.layouts.compute import Computed, Row
from workbook_tools.layouts.model import Column
from workbook_tools.layouts.showing import written
from workbook_tools.layouts.trees import is_number
from workbook_tools.sharing.package_texts import UNREAD, package_texts
from workbook_tools.sharing.selection import LEADS, Owners, folded, owners
from workbook_tools.sharing.words import fragments

FEWEST_SIGNS = 2  # letters or digits
LONG_NUMBER = 6  # digits from which a number is compared in cells, and without its marks
FEWEST_DIGITS = 3  # of a text of digits alone
WORDS_OF_A_SENTENCE = 3
TOKEN = re.compile(r"[^\W_]+")
BLANKS = re.compile(r"[ \t\r\n\f\v]+")
DIGITS_ONLY = re.compile(r"[\d\s.,/+()-]+$")
PARTS = re.compile(r"[\r\n]+|(?<=[.!?;])\s+")
UNIT = "g|kg|mg|ml|l|c|f|m|cm|mm|ft|in|min|h|s|d|days?|fish|%|oz|lb|gal|fl oz|(?:mg|g|ul)/(?:l|kg)|kg/m3|mg/kg a day"
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
    """A text as texts are compared: composed, in small letters, one blank for a run of them."""
    return BLANKS.sub(" ", unicodedata.normalize("NFC", text).casefold()).strip(" ")


@dataclass
class Secrets:
    """Texts that may not be there with their origins, and texts that may. Both are evened."""

    forbidden: dict[str, tuple[str, Origin]] = field(default_factory=dict)  # evened -> as typed, origin
    allowed: set[str] = field(default_factory=set)

    def forbid(self, value: object, origin: Origin) -> None:
        if is_number(value) and (value != int(value) or not 10 ** (LONG_NUMBER - 1) <= abs(value) < 1e15):
            return  # a number where a text belongs: compared only where it may be a telephone
        text = written(value).strip()
        pieces = [part for part in PARTS.split(text) if len(part.split()) >= WORDS_OF_A_SENTENCE or "\n" in text]
        for piece in (text, *pieces):
            key = evened(piece)
            if comparable(key):
                self.forbidden.setdefault(key, (piece.strip(), origin))

    def allow(self, value: object) -> None:
        key = evened(written(value))
        if key:
            self.allowed.add(key)


def comparable(text: str) -> bool:
    """Whether a text is long enough to say anything."""
    if A_FIGURE.match(text) or A_DATE.match(text):
        return False
    signs = sum(len(token) for token in TOKEN.findall(text))
    return signs >= (FEWEST_DIGITS if DIGITS_ONLY.match(text) else FEWEST_SIGNS)


def secrets(computed: Computed, site: str) -> Secrets:
    """What a copy for a site may not hold, and what it may."""
    found = owners(computed)
    wanted = folded(site)
    held = Secrets()
    for text in _common(computed):
        held.allow(text)
    lots = _used_lots(computed, found, wanted)
    for key, table in computed.layout.tables.items():
        if key not in LEADS and not table.private:
            continue
        for position, row in enumerate(computed.data[key]):
            owner = found.of_rows[key][position] if key in LEADS else None
            why = "a sheet that no copy has" if key not in LEADS else "another site's" if owner else "of no one site"
            for column in table.columns:
                if not _is_text(column, row.get(column.key)):
                    continue
                if owner == wanted and not column.private:
                    _own(row[column.key], column, held)
                elif key == "stores" and column.key == "lot" and folded(row["lot"]) in lots:
                    held.allow(row["lot"])
                else:
                    reason = "private" if column.private else why
                    held.forbid(
                        row[column.key], Origin(table.sheet, computed.number(table, position), column.heading, reason)
                    )
    for text in held.allowed & held.forbidden.keys():
        del held.forbidden[text]
    return held


def _is_text(column: Column, value: object) -> bool:
    """Whether a cell of a log is a text: also a text that somebody typed where a number belongs."""
    if value is None or isinstance(value, bool):
        return False
    return (column.typed or column.kind == "text") and (isinstance(value, str) or column.kind in TEXT_KINDS)


def _own(value: object, column: Column, held: Secrets) -> None:
    """A text of the site's own. A reference is none: what it names may be another site's."""
    if column.kind != "reference" or column.loose:
        held.allow(value)


def _used_lots(computed: Computed, found: Owners, wanted: str) -> set[str]:
    """Lots that rows of the site name."""
    lots = set()
    for table, keys in (("baths", ("lot", "buffer_lot")), ("treatments", ("lot",))):
        for row, owner in zip(computed.data[table], found.of_rows[table], strict=True):
            if owner == wanted:
                lots |= {folded(row[key]) for key in keys if row[key] is not None}
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
    from workbook_tools.layouts import case_log
    from workbook_tools.sharing.copy import producer_copy
    from workbook_tools.sharing.words import languages

    data: dict[str, list[Row]] = {"sites": [{"site": "S", "name": None}], "stocks": [{"stock": "K", "site": "S"}]}
    data["losses"] = [{"day": "D", "date": 1.0, "stock": "K", "dead": 1, "temperature": 1.0, "oxygen": 1.0}]
    texts = set()
    for language in languages():
        copy = producer_copy(Computed(case_log(), data), "S", datetime.datetime(2000, 1, 1), language=language)
        texts |= {found.text for found in package_texts(copy.content) if found.kind != UNREAD}
    return frozenset(texts)
