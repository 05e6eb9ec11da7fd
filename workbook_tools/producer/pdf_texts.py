"""The letters of a PDF, read in a process of their own: a PDF is a program, and one that never ends must not hold us.

As a program it reads a PDF from its standard input and writes a line of JSON for each text.
"""

from __future__ import annotations

import io
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TypeAlias

from workbook_tools.xlsx.reading.limits import MEBI

TEXT, BYTES, UNREAD = "text", "bytes", "unread"  # kinds of `package_texts.PackageText`
PdfText: TypeAlias = tuple[str, str, str]  # place, text and kind
ROOT = str(Path(__file__).resolve().parents[2])
WHOLE = "whole file"
SECONDS = 40.0  # for all pages; a copy of 40 pages takes 2 s
MEMORY = 1024 * MEBI  # of that process
MUTE = ("/Type0", "/Type3")  # fonts whose numbers mean nothing without a list of letters
DEEPEST = 40  # things in things
INSTALL = "a PDF, which cannot be read here: pip install 'workbook-tools[share]' brings pypdf"
NOT_READ = "a PDF that is damaged or too large, and cannot be read"


def pdf_texts(content: bytes) -> Iterator[PdfText]:
    """Every text of a PDF: of its pages, notes, forms, links, bookmarks and properties; what is unread, as such."""
    words = f"import sys; sys.path.insert(0, {ROOT!r}); from {__name__} import main; main()"
    try:
        done = subprocess.run(
            [sys.executable, "-c", words], input=content, capture_output=True, check=False, timeout=SECONDS
        )
    except (OSError, subprocess.TimeoutExpired):
        yield WHOLE, NOT_READ, UNREAD
        return
    for line in done.stdout.splitlines():
        place, text, kind = json.loads(line)
        yield place, text, kind
    if done.returncode:
        yield WHOLE, NOT_READ, UNREAD


def _texts(content: bytes) -> Iterator[PdfText]:
    """Place, text and kind of everything in a PDF."""
    try:
        import pypdf
    except ImportError:
        yield WHOLE, INSTALL, UNREAD
        return
    reader = pypdf.PdfReader(io.BytesIO(content))
    if reader.is_encrypted:
        yield WHOLE, "a PDF under a password, which cannot be read", UNREAD
        return
    for number, page in enumerate(reader.pages, start=1):
        text = page.extract_text()
        yield f"page {number}", text, TEXT
        yield f"page {number}", "".join(text.split()), TEXT  # a word may be in pieces, at the end of a line or inside
    for numbers in reader.xref.values():
        for number in numbers:
            yield from _of_object(reader.get_object(number), f"object {number}", 0)
    for number in reader.xref_objStm:
        yield from _of_object(reader.get_object(number), f"object {number}", 0)
    yield from _of_object(reader.trailer, "trailer", 0)


def _of_object(thing: Any, place: str, depth: int) -> Iterator[PdfText]:
    """Texts of one object, and what in it cannot be read; what it points to comes by itself."""
    from pypdf.generic import ArrayObject, ByteStringObject, DictionaryObject, StreamObject, TextStringObject

    if depth > DEEPEST:
        yield place, "a PDF with things too deep in each other to be read", UNREAD
    elif isinstance(thing, DictionaryObject):
        if isinstance(thing, StreamObject):
            yield from _of_stream(thing, place)
        elif (
            thing.get("/Type") == "/Font"
            and thing.get("/Subtype") in ("/Type0", "/Type3")
            and "/ToUnicode" not in thing
        ):
            yield place, "letters of a font that does not say which they are", UNREAD
        for key, value in dict.items(thing):
            yield place, str(key), BYTES
            yield from _of_object(value, place, depth + 1)
    elif isinstance(thing, ArrayObject):
        for value in list.__iter__(thing):
            yield from _of_object(value, place, depth + 1)
    elif isinstance(thing, TextStringObject):
        yield place, str(thing), TEXT
    elif isinstance(thing, ByteStringObject):
        yield place, bytes(thing).decode("latin-1"), BYTES


def _of_stream(thing: Any, place: str) -> Iterator[PdfText]:
    """What a stream says of itself: pictures and files in it are unread, properties are texts."""
    kind, under = thing.get("/Type"), thing.get("/Subtype")
    if under == "/Image":
        yield place, "a picture: words drawn in it cannot be read", UNREAD
    elif kind == "/EmbeddedFile":
        yield place, "a file attached to the PDF: take it out and look through it by itself", UNREAD
    elif kind == "/Metadata" or kind is None:
        yield place, thing.get_data().decode("utf-8", "replace"), BYTES


def _limited() -> None:
    """Keep this process from taking all memory, where the system can."""
    if sys.platform != "win32":
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))


def main() -> None:
    """Read a PDF from the standard input; texts as lines of JSON."""
    _limited()
    content = sys.stdin.buffer.read()
    for found in _texts(content):
        sys.stdout.buffer.write(json.dumps(found).encode() + b"\n")


if __name__ == "__main__":
    main()
