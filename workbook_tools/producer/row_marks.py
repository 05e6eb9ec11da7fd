"""What a copy says of itself, and marks of its rows by which an edit of the veterinarian's pages is seen.

Both stand in plain sight on the page about the copy, and the first as properties of the file too: nothing is hidden.
A mark is a short digest of a row's texts as a reader finds them; the row's old text cannot be had from it. The marks of
a page are written without gaps, so that none of them can be taken for a name.
"""

from __future__ import annotations

import datetime
import hashlib
import hmac
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from openpyxl import Workbook
from openpyxl.packaging.custom import StringProperty

LAYOUT = "producer-copy"
VERSION = "1"
DIGITS = 5
SEAL_DIGITS = 32
SEAL = "Copy seal"
BLANK = "0" * DIGITS  # the mark of a blank row
UNMARKED = [BLANK]  # of a daily sheet, which is there to be changed: that it was given is all that is noted
MARKS = re.compile(rf"(?:[0-9a-f]{{{DIGITS}}})+$")
PROPERTIES = ("Copy layout", "Copy version", "Log version", "Copy site", "Copy made", "Copy language", "Copy units")
LINE = re.compile(
    rf"^{LAYOUT} version=(\S+) log=(\S+) made=(\d{{4}}-\d\d-\d\dT\d\d:\d\d) language=(\w+) units=(\w+)"
    rf"(?: seal=([0-9a-f]{{{SEAL_DIGITS}}}))? site=(.*)$",
    re.DOTALL,
)


@dataclass(frozen=True)
class Identity:
    """Which copy it is: version of its layout and of the log's, its site, when it was made, its language and units.

    `seal` is a digest of these and of its log's key, by which the log knows its own copies; empty where it has none.
    """

    version: str
    log_version: str
    site: str
    made: datetime.datetime
    language: str
    units: str
    seal: str = ""

    @property
    def line(self) -> str:
        """As it stands on the page about the copy."""
        sealed = f" seal={self.seal}" if self.seal else ""
        return (
            f"{LAYOUT} version={self.version} log={self.log_version} made={self.made:%Y-%m-%dT%H:%M} "
            f"language={self.language} units={self.units}{sealed} site={self.site}"
        )

    def sealed(self, key: str) -> Identity:
        """The same with the seal of a log's key; without one where there is no key."""
        plain = replace(self, seal="")
        if not key:
            return plain
        digest = hmac.new(key.encode("utf-8"), plain.line.encode("utf-8", "surrogatepass"), hashlib.sha256)
        return replace(plain, seal=digest.hexdigest()[:SEAL_DIGITS])

    def is_sealed_with(self, key: str) -> bool:
        return bool(key) and hmac.compare_digest(self.seal.encode(), self.sealed(key).seal.encode())

    @property
    def footer(self) -> str:
        """As it stands at the foot of each page."""
        return f"{LAYOUT} {self.version} | {self.site} | {self.made:%Y-%m-%d}"

    def put_into(self, frame: Workbook) -> None:
        """As properties of the file."""
        values = (
            LAYOUT,
            self.version,
            self.log_version,
            self.site,
            f"{self.made:%Y-%m-%dT%H:%M}",
            self.language,
            self.units,
        )
        for name, value in zip(PROPERTIES, values, strict=True):
            frame.custom_doc_props.append(StringProperty(name=name, value=value))
        if self.seal:
            frame.custom_doc_props.append(StringProperty(name=SEAL, value=self.seal))


def from_properties(found: Mapping[str, str]) -> Identity | None:
    """The identity that a file's properties give; None where they do not give all of it."""
    if found.get(PROPERTIES[0]) != LAYOUT or not all(name in found for name in PROPERTIES):
        return None
    try:
        made = datetime.datetime.fromisoformat(found["Copy made"])
    except ValueError:
        return None
    values = (found[name] for name in PROPERTIES[1:4])
    version, log_version, site = values
    return Identity(version, log_version, site, made, found["Copy language"], found["Copy units"], found.get(SEAL, ""))


def from_line(text: str) -> Identity | None:
    """The identity that the line on the page about the copy gives, or None."""
    found = LINE.match(text)
    if not found:
        return None
    version, log_version, made, language, units, seal, site = found.groups()
    return Identity(version, log_version, site, datetime.datetime.fromisoformat(made), language, units, seal or "")


def row_texts(row: Sequence[object]) -> list[str]:
    """The texts of a row's cells as a person reads them, blanks left out."""
    texts = []
    for value in row:
        if value is None or value == "":
            continue
        text = f"{value:.9g}" if isinstance(value, int | float) and not isinstance(value, bool) else str(value)
        text = " ".join(text.split())
        if text:
            texts.append(text)
    return texts


def row_mark(row: Sequence[object]) -> str:
    texts = row_texts(row)
    return hashlib.sha256("\x1f".join(texts).encode("utf-8", "surrogatepass")).hexdigest()[:DIGITS] if texts else BLANK


def sheet_marks(cells: Sequence[Sequence[object]]) -> list[str]:
    """A mark for each row, blank rows at the end left out."""
    marks = [row_mark(row) for row in cells]
    while marks and marks[-1] == BLANK:
        marks.pop()
    return marks


def marks_in(text: str) -> list[str]:
    """The marks in a text that holds nothing else; none in any other."""
    if not MARKS.match(text):
        return []
    return [text[start : start + DIGITS] for start in range(0, len(text), DIGITS)]
