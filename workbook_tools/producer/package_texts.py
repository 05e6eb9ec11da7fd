"""Every text in a file: cells, names, rules, comments, properties, caches, pictures, and the zip itself.

XML parts are read whatever their encoding: texts, attributes, comments and instructions, and the runs of a text joined.
Parts that are no XML are searched for runs of letters in UTF-8, UTF-16 of both orders and Latin-1; packages inside
packages are opened, the letters of a PDF are read. What is drawn, packed in another way or another program's own is
said to be unread, for no search of its bytes would tell what it says. Of the zip itself the names, comments and extra
fields of its entries are read, and whatever bytes lie before, between and after them.
"""

from __future__ import annotations

import contextlib
import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from xml.etree.ElementTree import Element, ParseError, TreeBuilder

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser

from workbook_tools.errors import ReadError
from workbook_tools.log.checking.silent_cells import sheet_parts
from workbook_tools.producer.pdf_texts import pdf_texts
from workbook_tools.xlsx.editing.book import unescaped
from workbook_tools.xlsx.reading import Archive, Foreign, foreign_in
from workbook_tools.xlsx.reading.files import ENTRY, PDF
from workbook_tools.xlsx.reading.limits import DEEPEST, LARGEST_AUDITED, MEBI, MOST_RAW

TEXT, REFERENCE, NUMBER, ADDRESS, BYTES, UNREAD = "text", "reference", "number", "address", "bytes", "unread"
REFERENCES = frozenset(("r", "ref", "sqref", "activeCell", "topLeftCell", "location", "spans", "s", "si", "cell"))
FORMULAS = frozenset(
    ("f", "formula", "formula1", "formula2", "definedName", "calculatedColumnFormula", "totalsRowFormula")
)
WHOLES = frozenset(("si", "is", "text", "p", "rich", "comment", "textbox", "t"))  # runs of one text stand in these
SHORT_NUMBER = re.compile(r"[0-9]{1,9}$")
A_NUMBER = re.compile(r"[-+]?\d*\.?\d+(?:[eE][-+]?\d+)?%?$")
SCHEMA = re.compile(r"(?:https?://(?:schemas|purl|www)\.[\w./-]+|application/[\w.+-]+|image/[\w.+-]+)$")
QUOTED = re.compile(r'"((?:[^"]|"")*)"')
FOOTER_CODE = re.compile(r'&(?:"[^"]*"|K[0-9A-Fa-f]{6}|\d+|[A-Z])')
ZLIB = re.compile(rb"x[\x01\x5e\x9c\xda]")  # how a compressed stream begins, as in pictures and PDF files
MOST_INFLATED = 1 << 22
SHORTEST_RUN = 4
READABLE = rb"[\x20-\x7e\x80-\xff]"
RUN = re.compile(READABLE + rb"{%d,}" % SHORTEST_RUN)
WIDE = {
    "utf-16-le": re.compile(rb"(?:[\x20-\x7e\xa0-\xff]\x00|[\x00-\xff][\x01-\x06\x1e\x20]){%d,}" % SHORTEST_RUN),
    "utf-16-be": re.compile(rb"(?:\x00[\x20-\x7e\xa0-\xff]|[\x01-\x06\x1e\x20][\x00-\xff]){%d,}" % SHORTEST_RUN),
}
DEEPEST_PACKAGE = 4
# how a file or part begins whose words cannot be read -> what it is
UNREADABLE = (
    (b"\x89PNG", "a picture: words drawn in it cannot be read"),
    (b"\xff\xd8\xff", "a picture: words drawn in it cannot be read"),
    (b"GIF8", "a picture: words drawn in it cannot be read"),
    (b"BM", "a picture: words drawn in it cannot be read"),
    (b"II*\0", "a picture: words drawn in it cannot be read"),
    (b"MM\0*", "a picture: words drawn in it cannot be read"),
    (b"RIFF", "a picture, a sound or a film: what is in it cannot be read"),
    (b"\x01\0\0\0", "a drawing: words in it cannot be read"),
    (b"\xd7\xcd\xc6\x9a", "a drawing: words in it cannot be read"),
    (b"\x1f\x8b", "a packed file (.gz), which cannot be read"),
    (b"BZh", "a packed file (.bz2), which cannot be read"),
    (b"\xfd7zXZ", "a packed file (.xz), which cannot be read"),
    (b"\x28\xb5\x2f\xfd", "a packed file (.zst), which cannot be read"),
    (b"7z\xbc\xaf", "a packed folder (.7z), which cannot be read"),
    (b"Rar!", "a packed folder (.rar), which cannot be read"),
    (b"\xd0\xcf\x11\xe0", "a file of an old program, or locked with a password, which cannot be read"),
    (b"{\\rtf", "a text document (.rtf), which cannot be read: save it as text or as a PDF"),
    (b"PAR1", "a table (.parquet), which cannot be read"),
    (b"SQLite", "a database, which cannot be read"),
)
NO_TEXT = "is neither a workbook nor a text nor a PDF, and cannot be read"
CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f]")
PACKED_TEXT = re.compile(r"(?:[A-Za-z0-9+/]{60,}={0,2}\r?\n){4}")  # how mail carries what is attached
MARKUP = re.compile(r"<[^<>]{1,2000}>")


@dataclass(frozen=True)
class PackageText:
    """A text of a file: the part it stands in, where in the part, and of what kind it is.

    `kind` is "text", "reference" (cell references or a formula without its quoted texts), "number" (a number in a cell
    or an attribute), "address" (a schema's), "bytes" (found in a part that is no XML), or "unread": what could not be
    looked into, its reason in `text`.
    """

    part: str
    place: str
    text: str
    kind: str = TEXT


@dataclass
class Room:
    """How many bytes may still be unpacked, packages in packages counted with the rest."""

    left: int = LARGEST_AUDITED
    streams: int = field(default=LARGEST_AUDITED)  # the same for compressed streams inside parts
    raw: int = field(default=MOST_RAW)  # bytes that are searched for runs of letters


def check_size(content: bytes, path: object) -> None:
    """Raises ReadError where a file is too large to be looked through, or is a zip that promises what none should."""
    size = len(content)
    if content.startswith(ENTRY):
        size = sum(entry.file_size for entry in Archive(content, path, strict=False).entries.values())
    if size > LARGEST_AUDITED:
        raise ReadError(
            path,
            f"has {size:,} bytes to look through; a copy of more than {LARGEST_AUDITED // MEBI} MB is not audited.",
        )


def acting(content: bytes) -> list[Foreign]:
    """What in a workbook could act on the computer that opens it; nothing where it is none or cannot be read."""
    try:
        return foreign_in(Archive(content, "file", strict=False))
    except ReadError:
        return []  # `package_texts` says that it could not be looked into


def package_texts(content: bytes, name: str = "", depth: int = 0, room: Room | None = None) -> Iterator[PackageText]:
    """Every text of a file.

    Parameters
    ----------
    content : the file's bytes; a zip package, or any other file.
    name : what its parts' names are put after.
    depth : how many packages it stands in.
    room : what may still be unpacked.
    """
    room = room or Room()
    try:
        archive = Archive(content, name or "file", strict=False)
    except ReadError as error:
        if content.startswith(ENTRY):
            yield PackageText(name or "file", "whole file", f"cannot be unpacked: {error.reason}", UNREAD)
            yield from _from_bytes(content, name or "file", room)
        else:
            yield from _file_texts(content, name or "file", room)
        return
    yield from _zip_texts(archive, content, name, room)
    cells = _Cells(archive)
    for entry in archive.names():
        part = f"{name}{entry}"
        held = _unpacked(archive, entry, room)
        if held is None:
            yield PackageText(part, "whole part", "cannot be unpacked", UNREAD)
        elif held[:4] == ENTRY:
            if depth < DEEPEST_PACKAGE:
                yield from package_texts(held, f"{part}!", depth + 1, room)
            else:
                yield PackageText(part, "whole part", f"a file more than {DEEPEST_PACKAGE} files deep", UNREAD)
        elif held.startswith(PDF):
            yield from _pdf_texts(held, part)
        else:
            yield from _part_texts(held, part, entry, cells, room)


def unreadable(content: bytes) -> str:
    """What a file or part is, where its words cannot be read; nothing for any other."""
    return next((say for beginning, say in UNREADABLE if content.startswith(beginning)), "")


def _file_texts(content: bytes, part: str, room: Room) -> Iterator[PackageText]:
    """Texts of what is no package: a PDF, a text in letters, or something that cannot be read."""
    if content.startswith(PDF):
        yield from _pdf_texts(content, part)
        return
    why = unreadable(content)
    text = None if why else _decoded(content)
    if text is None:
        yield PackageText(part, "whole file", why or NO_TEXT, UNREAD)
        yield from _from_bytes(content, part, room)
        return
    yield PackageText(part, "text", text)
    if MARKUP.search(text):  # a name may be in pieces between tags
        yield PackageText(part, "text without markup", MARKUP.sub("", text))
        yield PackageText(part, "text without markup, apart", MARKUP.sub(" ", text))
    if PACKED_TEXT.search(text):
        yield PackageText(part, "text", "something attached, packed as letters (base64), which cannot be read", UNREAD)


def _pdf_texts(content: bytes, part: str) -> Iterator[PackageText]:
    return (PackageText(part, place, text, kind) for place, text, kind in pdf_texts(content))


def _decoded(content: bytes) -> str | None:
    """The text of a file, where it is one."""
    wide = content.startswith((b"\xff\xfe", b"\xfe\xff"))
    for encoding in ("utf-16",) if wide else ("utf-8-sig", "cp1252", "latin-1"):
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        return None if CONTROL.search(text) else text
    return None


def _unpacked(archive: Archive, name: str, room: Room) -> bytes | None:
    room.left -= archive.entries[name].file_size
    if room.left < 0:
        return None
    try:
        return archive.read(name)
    except ReadError:
        return None  # whatever the reason, a part that cannot be read is a hit of the audit


class _Builder(TreeBuilder):
    """A tree no deeper than is allowed; what is deeper is searched as bytes."""

    depth = 0

    def start(self, tag: Any, attrs: Any, /) -> Element:
        self.depth += 1
        if self.depth > DEEPEST:
            raise ValueError("too deep")
        return super().start(tag, attrs)

    def end(self, tag: str, /) -> Element:
        self.depth -= 1
        return super().end(tag)


def parsed_markup(content: bytes) -> Element | None:
    """The XML of a part, comments and instructions in it; None where it is no XML, or deeper than any real one."""
    parser = DefusedXMLParser(target=_Builder(insert_comments=True, insert_pis=True))
    try:
        parser.feed(content)
        root = parser.close()
    except (ParseError, DefusedXmlException, ValueError, LookupError):
        return None
    return root if isinstance(root, Element) else None


class _Cells:
    """Where the shared texts of a workbook stand: their numbers -> cells."""

    def __init__(self, archive: Archive) -> None:
        self.sheets: dict[str, str] = {}
        self.users: dict[int, list[str]] = {}
        try:
            self.sheets = {part: name for name, part in sheet_parts(archive).items()}
            for part, sheet in self.sheets.items():
                self._note(parsed_markup(archive.read(part)), sheet)
        except ReadError:
            return  # no workbook, or one whose list of sheets cannot be read: places then go by parts

    def _note(self, root: Element | None, sheet: str) -> None:
        for cell in () if root is None else _elements(root, "c"):
            value = next((child.text for child in cell if local_name(child.tag) == "v"), None)
            if cell.get("t") == "s" and value and SHORT_NUMBER.match(value.strip()):
                self.users.setdefault(int(value), []).append(f"{sheet}!{cell.get('r', '?')}")

    def of(self, number: int) -> str:
        found = self.users.get(number, [])
        more = f" and {len(found) - 3} more" if len(found) > 3 else ""
        return ", ".join(found[:3]) + more if found else "in no cell"


def _elements(root: Element, name: str) -> Iterator[Element]:
    return (element for element in root.iter() if local_name(element.tag) == name)


def local_name(tag: object) -> str:
    """A tag without its namespace; comments and instructions have names of their own."""
    return tag.rpartition("}")[2] if isinstance(tag, str) else "comment of the XML"


def _part_texts(content: bytes, part: str, name: str, cells: _Cells, room: Room) -> Iterator[PackageText]:
    root = parsed_markup(content)
    if root is None:
        why = unreadable(content)
        if why:
            yield PackageText(part, "whole part", why, UNREAD)
        yield from _from_bytes(content, part, room)
    elif local_name(root.tag) == "sst":
        numbers = (child for child in root if local_name(child.tag) == "si")
        yield from _attributes(root, part, "sst")
        for number, item in enumerate(numbers):
            yield from _of_element(item, part, cells.of(number))
    else:
        yield from _of_element(root, part, cells.sheets.get(name, ""))


def _of_element(element: Element, part: str, where: str) -> Iterator[PackageText]:
    """Texts and attributes of an element and all that it holds; an inner cell names its own place."""
    tag = local_name(element.tag)
    if tag == "c" and element.get("r"):
        where = f"{where.partition('!')[0]}!{element.get('r')}"
    elif element.get("sqref") or (tag == "comment" and element.get("ref")):
        where = f"{where.partition('!')[0]}!{element.get('sqref') or element.get('ref')}"
    place = where or tag
    yield from _attributes(element, part, place)
    if element.text and element.text.strip():
        yield from _of_text(element, tag, part, place)
    if tag in WHOLES and len(element):
        whole = "".join(str(text) for text in element.itertext())
        if whole.strip():
            yield PackageText(part, place, unescaped(whole))
    for child in element:
        yield from _of_element(child, part, where)
        if child.tail and child.tail.strip():
            yield PackageText(part, place, unescaped(child.tail))


def _of_text(element: Element, tag: str, part: str, place: str) -> Iterator[PackageText]:
    text = unescaped(element.text or "")
    if tag in FORMULAS or (tag == "f" and not element.attrib):
        for quoted in QUOTED.findall(text):
            yield PackageText(part, place, quoted.replace('""', '"'))
        yield PackageText(part, place, QUOTED.sub(" ", text), REFERENCE)
    elif A_NUMBER.match(text.strip()) and tag in ("v", "x", "y", "n"):
        yield PackageText(part, place, text, NUMBER)
    else:
        if tag.endswith(("Header", "Footer")):  # codes such as &L touch the text
            yield PackageText(part, place, FOOTER_CODE.sub(" ", text))
        yield PackageText(part, f"{place} {tag}" if not isinstance(element.tag, str) else place, text)


def _attributes(element: Element, part: str, place: str) -> Iterator[PackageText]:
    for name, value in element.attrib.items():
        key = local_name(name)
        if not value.strip():
            continue
        if key in REFERENCES:
            kind = REFERENCE
        elif A_NUMBER.match(value):
            kind = NUMBER
        else:
            kind = ADDRESS if SCHEMA.match(value) else TEXT
        yield PackageText(part, f"{place} @{key}", unescaped(value), kind)


def _from_bytes(content: bytes, part: str, room: Room) -> Iterator[PackageText]:
    """Runs of letters in bytes, by the encodings that a text may be in; where there are too many bytes, that."""
    room.raw -= len(content)
    if room.raw < 0:
        yield PackageText(part, "whole part", f"more than {MOST_RAW // MEBI} MB that are no text: not searched", UNREAD)
        return
    for match in RUN.finditer(content):
        place = f"byte {match.start()}"
        yield PackageText(part, place, match[0].decode("utf-8", "replace"), BYTES)
        if any(byte > 127 for byte in match[0]):
            yield PackageText(part, place, match[0].decode("latin-1"), BYTES)
    if room.streams < SHORTEST_RUN:
        yield PackageText(part, "whole part", "more packed pieces than can be unpacked: not searched", UNREAD)
    for start, held in _inflated(content, room):
        for match in RUN.finditer(held):
            yield PackageText(part, f"compressed at byte {start}", match[0].decode("utf-8", "replace"), BYTES)
    for encoding, pattern in WIDE.items():
        for start in (0, 1):  # both alignments: a match begins anywhere, but may swallow the wrong half
            for match in pattern.finditer(content, start):
                yield PackageText(part, f"byte {match.start()}", match[0].decode(encoding, "replace"), BYTES)


def _inflated(content: bytes, room: Room) -> Iterator[tuple[int, bytes]]:
    """Compressed streams inside bytes, unpacked as far as they go."""
    whole = memoryview(content)
    for match in ZLIB.finditer(content):
        most = min(MOST_INFLATED, room.streams)
        if most < SHORTEST_RUN:
            return
        with contextlib.suppress(zlib.error):
            held = zlib.decompressobj().decompress(whole[match.start() : match.start() + MOST_INFLATED], most)
            room.streams -= len(held)
            if len(held) >= SHORTEST_RUN:
                yield match.start(), held


def _zip_texts(archive: Archive, content: bytes, name: str, room: Room) -> Iterator[PackageText]:
    """Names, comments and extra fields, and the bytes that belong to no entry's content."""
    held: list[tuple[int, int]] = []
    for entry in archive.entries.values():
        part = f"{name}{entry.filename}"
        yield PackageText(part, "name of the part", entry.filename)
        if entry.comment:
            yield from _relabelled(_from_bytes(entry.comment, part, room), "comment of the part")
        begin = archive.begins[entry.filename]
        held.append((begin, begin + entry.compress_size))
    position = 0
    for begin, end in [*sorted(held), (len(content), len(content))]:
        between = content[position:begin]
        if between.count(ENTRY) > 1:
            yield PackageText(
                f"{name}zip", f"byte {position}", "an entry that the zip's directory does not list", UNREAD
            )
        yield from _relabelled(_from_bytes(between, f"{name}zip", room), f"between entries, from byte {position}")
        position = max(position, end)


def _relabelled(found: Iterator[PackageText], place: str) -> Iterator[PackageText]:
    return (PackageText(one.part, place, one.text, one.kind) for one in found)
