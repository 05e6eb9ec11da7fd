"""Looks for words in the raw bytes of files, however they were made: zips, PDF, pictures, plain bytes."""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from urllib.parse import quote

import pypdf
from pypdf.generic import ArrayObject, ByteStringObject, DictionaryObject, StreamObject, TextStringObject

from tests.support.practices import MADE, Practice, practice
from workbook_tools.producer.audit import audit
from workbook_tools.producer.copy import producer_copy

ENCODINGS = ("utf-8", "utf-16-le", "utf-16-be")
PNG = b"\x89PNG\r\n\x1a\n"


def raw_parts(content: bytes) -> bytes:
    """Every part of a zip, unpacked, and the bytes of the zip itself; in small letters, without knowing any format."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        parts = [archive.read(entry) for entry in archive.infolist()]
    return b"\n".join([*parts, content]).lower()


def in_bytes(mark: str, raw: bytes) -> bool:
    """Whether a word stands in bytes in small letters, in any of three encodings."""
    return any(mark.lower().encode(encoding) in raw for encoding in ENCODINGS)


def unpacked(content: bytes) -> Iterator[bytes]:
    """A file's bytes, and those of everything packed in it: parts of zips, streams of PDF, texts of pictures."""
    yield content
    if content.startswith(b"PK"):
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            for entry in archive.infolist():
                yield entry.filename.encode() + b"\n" + entry.comment + b"\n" + entry.extra
                yield from unpacked(archive.read(entry))
    elif content.startswith(b"%PDF"):
        yield from _of_pdf(content)
    elif content.startswith(PNG):
        yield from _of_picture(content)


def _of_pdf(content: bytes) -> Iterator[bytes]:
    reader = pypdf.PdfReader(io.BytesIO(content))
    for numbers in reader.xref.values():
        for number in numbers:
            yield from _of_object(reader.get_object(number))
    for number in reader.xref_objStm:
        yield from _of_object(reader.get_object(number))
    yield from _of_object(reader.trailer)
    for page in reader.pages:
        yield page.extract_text().encode()


def _of_object(thing: object) -> Iterator[bytes]:
    """Texts and streams of one object; what it points to comes by itself."""
    if isinstance(thing, StreamObject):
        yield thing.get_data()
    if isinstance(thing, DictionaryObject):
        for key, value in dict.items(thing):
            yield str(key).encode()
            yield from _of_object(value)
    elif isinstance(thing, ArrayObject):
        for value in list.__iter__(thing):
            yield from _of_object(value)
    elif isinstance(thing, TextStringObject):
        yield str(thing).encode()
    elif isinstance(thing, ByteStringObject):
        yield bytes(thing)


def _of_picture(content: bytes) -> Iterator[bytes]:
    """The text chunks of a PNG, unpacked."""
    place = len(PNG)
    while place < len(content):
        size = int.from_bytes(content[place : place + 4], "big")
        kind, data = content[place + 4 : place + 8], content[place + 8 : place + 8 + size]
        if kind in (b"zTXt", b"iTXt"):
            begin = data.find(b"x\x9c")
            yield zlib.decompress(data[begin:]) if begin >= 0 else data
        place += size + 12


def words_in(content: bytes, words: Iterable[str]) -> list[str]:
    """Which of the words stand anywhere in a file, as they are or as an address spells them."""
    everything = b"\n".join(unpacked(content)).lower()
    return [word for word in words if in_bytes(word, everything) or in_bytes(quote(word), everything)]


# ------------------------------------------------------------------------------------ copies of invented practices


@dataclass
class CopyFigures:
    """Copies made and looked through, and every leak in words."""

    practices: int = 0
    copies: int = 0
    marks: int = 0
    leaks: list[str] = field(default_factory=list)


def look_at_copies(made: Practice, seed: int, figures: CopyFigures) -> None:
    """Make the copy of each site of a practice; the audit and a search of raw bytes must find nothing foreign."""
    figures.practices += 1
    for site in made.sites:
        computed = made.computed()
        language, units = ("en", "es")[seed % 2], ("metric", "us")[seed // 2 % 2]
        paper = ("A4", "Letter")[seed // 4 % 2]
        copy = producer_copy(computed, site, MADE, language=language, units=units, paper=paper)
        figures.copies += 1
        figures.leaks += [f"practice {seed}, {site}: {hit}" for hit in audit(copy.content, computed, site)]
        raw = raw_parts(copy.content)
        foreign = made.marks_not_for(site)
        figures.marks += len(foreign)
        figures.leaks += [f"practice {seed}, {site}: {mark}" for mark in foreign if in_bytes(mark, raw)]
        own = made.open_marks[site]
        if sum(in_bytes(mark, raw) for mark in own) <= len(own) / 8:  # the search must find what is there
            figures.leaks.append(f"practice {seed}, {site}: too little of the site's own is found; the search is blind")


def copies_of(practices: int) -> CopyFigures:
    """The copies of so many invented practices."""
    figures = CopyFigures()
    for seed in range(practices):
        look_at_copies(practice(seed), seed, figures)
    return figures
