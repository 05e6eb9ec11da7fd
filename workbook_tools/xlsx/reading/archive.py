"""A zip that was looked at before it was unpacked: its directory first, then each part no further than it says."""

from __future__ import annotations

import contextlib
import io
import posixpath
import re
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import TypeVar, cast

from workbook_tools.errors import ReadError
from workbook_tools.xlsx.reading.files import ENTRY, NOT_OR_CUT, what_it_is
from workbook_tools.xlsx.reading.limits import (
    HIGHEST_RATIO,
    LARGEST_PART,
    LARGEST_WHOLE,
    LONGEST_NAME,
    MOST_ENTRIES,
    RATIO_FROM,
)
from workbook_tools.xlsx.reading.shortened import Shortened

Found = TypeVar("Found")
END, LISTED = b"PK\x05\x06", b"PK\x01\x02"
END_SIZE, LOCAL_SIZE = 22, 30
WIDE = 0xFFFF, 0xFFFFFFFF  # "see the wide directory"
LOCKED = 0x0001 | 0x0040 | 0x2000  # a password, a strong one, a masked directory
METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
PIECE = 256 * 1024  # what a processor keeps at hand
KEPT = 128 << 20  # bytes of unpacked parts that are kept, so that most logs are unpacked once
PACKED_PIECE = 64 * 1024
SHOWN_FAULTS = 3
LARGEST_RENAMED = 256 << 20  # bytes, unpacked, of a zip whose parts get their usual names
TYPES = "[Content_Types].xml"  # with the lists of links, the parts that are found by their names
LINKS = re.compile(r"(^|.*/)_rels/([^/]*)\.rels$", re.IGNORECASE)
TARGET = re.compile(rb"""(\bTarget\s*=\s*)(?:"([^"<>]*)"|'([^'<>]*)')""")
STRANGE_NAME = re.compile(r"[\x00-\x1f\x7f]|^/|^[A-Za-z]:|(^|/)\.\.(/|$)")


def shown(name: str) -> str:
    """A part's name for a sentence: on one line, not too long."""
    plain = name if name.isprintable() else repr(name)[1:-1]
    return plain if len(plain) <= 80 else f"{plain[:77]}..."


class Archive:
    """A zip whose directory holds what it should.

    Parameters
    ----------
    content : the bytes of the file.
    path : what to call it in sentences.
    strict : whether bytes before and behind the zip, comments and headers that disagree are refused; the leak audit,
        which reads those too, does without.
    renamed : whether parts with backslashes or ./ in their names, and links to a part in other capitals, get the usual
        spelling; `content` is then that of the zip so mended. As `strict` where it is not said.

    `shortened` : the sheets of which only some columns were asked for, by their part.

    Raises
    ------
    ReadError : it is no zip, or the directory says what no workbook needs; the sentence names the limit.
    """

    def __init__(self, content: bytes, path: object, strict: bool = True, renamed: bool | None = None) -> None:
        self._open(content, path, strict)
        if strict if renamed is None else renamed:
            mended = _mended(self)
            if mended is not None:
                self._open(mended, path, strict)

    def _open(self, content: bytes, path: object, strict: bool) -> None:
        self.content, self.path = content, path
        self._kept: dict[str, bytes] = {}
        self._room = KEPT
        self.shortened: dict[str, Shortened] = {}
        self._found: dict[object, object] = {}
        if strict and not content.startswith(ENTRY):
            raise ReadError(path, what_it_is(content))
        _check_end(content, path, strict)
        try:
            with zipfile.ZipFile(io.BytesIO(content)) as archive:
                entries = archive.infolist()
                self.comment = archive.comment
        # UnicodeDecodeError is a ValueError: a name that is not in the letters it says it is in. NotImplementedError is
        # the library's word for a zip of a later version
        except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError, struct.error, IndexError) as error:
            raise ReadError(path, NOT_OR_CUT) from error
        self.entries = {entry.filename: entry for entry in entries}
        faults = [*_faults(entries), *self._placed(entries), *self._fronts(entries, strict)]
        if faults:
            more = f" There are {len(faults) - SHOWN_FAULTS} faults more." if len(faults) > SHOWN_FAULTS else ""
            raise ReadError(path, "; ".join(faults[:SHOWN_FAULTS]) + "." + more)
        self.folded = {name.casefold(): name for name in self.entries}

    def _placed(self, entries: Sequence[zipfile.ZipInfo]) -> Iterator[str]:
        """Where each entry lies: inside the file, behind a header of its own, and on no other."""
        self.begins: dict[str, int] = {}
        spans = []
        for entry in entries:
            start = entry.header_offset
            header = self.content[start : start + LOCAL_SIZE]
            if len(header) < LOCAL_SIZE or not header.startswith(ENTRY):
                yield f"its part {shown(entry.filename)} is not where the zip's directory says"
                continue
            begin = start + LOCAL_SIZE + sum(struct.unpack_from("<HH", header, 26))
            end = begin + entry.compress_size
            if end > len(self.content):
                yield f"its part {shown(entry.filename)} is cut short"
            self.begins[entry.filename] = begin
            spans.append((start, end, entry.filename))
        spans.sort()
        for (_, end, first), (start, _, second) in pairwise(spans):
            if start < end:
                yield f"its parts {shown(first)} and {shown(second)} lie on top of each other"

    def _fronts(self, entries: Sequence[zipfile.ZipInfo], strict: bool) -> Iterator[str]:
        """Where the header in front of a part says another thing than the directory: readers would not agree."""
        for entry in entries if strict else ():
            front = self.content[entry.header_offset : self.begins.get(entry.filename, entry.header_offset)]
            if len(front) < LOCAL_SIZE:
                continue  # said already
            flags, method = struct.unpack_from("<HH", front, 6)
            name = front[LOCAL_SIZE : LOCAL_SIZE + struct.unpack_from("<H", front, 26)[0]]
            if method != entry.compress_type or flags & LOCKED != entry.flag_bits & LOCKED:
                yield f"its part {shown(entry.filename)} says two things of itself"
            if not _same_name(name, flags, entry):
                yield f"its part {shown(entry.filename)} has another name in front than in the zip's directory"

    def once(self, look: Callable[[Archive], Found]) -> Found:
        """What a function finds in it; asked again it is not looked for again."""
        if look not in self._found:
            self._found[look] = look(self)
        return cast(Found, self._found[look])

    # ------------------------------------------------------------------------------------------------- parts

    def names(self) -> list[str]:
        return list(self.entries)

    def has(self, name: str) -> bool:
        return name in self.entries

    def chunks(self, name: str) -> Iterator[bytes]:
        """A part, unpacked, in pieces; raises ReadError as soon as it is more or other than the directory says."""
        if name in self._kept:
            kept = self._kept[name]
            yield from (kept[start : start + PIECE] for start in range(0, len(kept), PIECE))
            return
        entry = self.entries.get(name)
        if entry is None:
            raise ReadError(self.path, f"is damaged: its part {shown(name)} is missing.")
        if entry.file_size <= self._room:
            self._keep(entry)
            yield from self.chunks(name)
            return
        size, check = 0, 0
        for piece in self._unpacked(entry):
            size += len(piece)
            if size > entry.file_size:
                break
            check = zlib.crc32(piece, check)
            yield piece
        self._check(entry, size, check)

    def _keep(self, entry: zipfile.ZipInfo) -> None:
        """Unpack a part at once: there is room for what it says it is."""
        whole = self._whole(entry)
        self._check(entry, len(whole), zlib.crc32(whole))
        self._kept[entry.filename] = whole
        self._room -= len(whole)

    def _check(self, entry: zipfile.ZipInfo, size: int, check: int) -> None:
        if size > entry.file_size:
            raise self._damaged(entry, f"unpacks to more than the {entry.file_size:,} bytes that it says")
        if size != entry.file_size or check != entry.CRC:
            raise self._damaged(entry, "is damaged: it is not what the zip says of it")

    def head(self, name: str) -> bytes:
        """How a part begins: some thousand bytes, or all of it."""
        return next(self.chunks(name), b"")

    def read(self, name: str) -> bytes:
        """A part, unpacked."""
        unpacked = b"".join(self.chunks(name)) if name not in self._kept else b""
        return self._kept.get(name, unpacked)

    def shorten(self, name: str, short: Shortened) -> None:
        """Have a sheet shortened; the whole of it is unpacked anew where it is asked for."""
        self.shortened[name] = short
        self._room += len(self._kept.pop(name, b""))

    def packed(self, name: str) -> memoryview:
        """A part as it lies in the file."""
        begin = self.begins[name]
        return memoryview(self.content)[begin : begin + self.entries[name].compress_size]

    def _whole(self, entry: zipfile.ZipInfo) -> bytes:
        """A part as it unpacks, a byte more than it says at most."""
        packed, most = self.packed(entry.filename), entry.file_size + 1
        if entry.compress_type == zipfile.ZIP_STORED:
            return bytes(packed[:most])
        unpacking = zlib.decompressobj(-zlib.MAX_WBITS)
        try:
            whole = unpacking.decompress(packed, most)
            if not unpacking.eof and len(whole) < most:
                whole += unpacking.decompress(unpacking.unconsumed_tail, 1)
        except zlib.error as error:
            raise self._damaged(entry, f"cannot be unpacked ({error})") from error
        if not unpacking.eof and len(whole) < most:
            raise self._damaged(entry, "is cut short")
        return whole

    def _damaged(self, entry: zipfile.ZipInfo, what: str) -> ReadError:
        return ReadError(self.path, f"its part {shown(entry.filename)} {what}.")

    def _unpacked(self, entry: zipfile.ZipInfo) -> Iterator[bytes]:
        packed = self.packed(entry.filename)
        if entry.compress_type == zipfile.ZIP_STORED:
            for start in range(0, len(packed), PIECE):
                yield bytes(packed[start : start + PIECE])
            return
        unpacking = zlib.decompressobj(-zlib.MAX_WBITS)
        try:
            for start in range(0, len(packed), PACKED_PIECE):
                waiting = bytes(packed[start : start + PACKED_PIECE])
                while waiting and not unpacking.eof:
                    piece = unpacking.decompress(waiting, PIECE)
                    waiting = unpacking.unconsumed_tail
                    if piece:
                        yield piece
                if unpacking.eof:
                    break
            while not unpacking.eof and (piece := unpacking.decompress(b"", PIECE)):
                yield piece
        except zlib.error as error:
            raise self._damaged(entry, f"cannot be unpacked ({error})") from error
        if not unpacking.eof:
            raise self._damaged(entry, "is cut short")


def _check_end(content: bytes, path: object, strict: bool) -> None:
    """The record at the end of a zip, before its directory is read: how many parts, and where they are listed."""
    end = content.rfind(END, max(0, len(content) - END_SIZE - 0xFFFF))
    if end < 0 or end + END_SIZE > len(content):
        raise ReadError(path, NOT_OR_CUT)
    disk, first, here, entries, size, offset, comment = struct.unpack_from("<4H2LH", content, end + 4)
    if disk or first or here != entries:
        raise ReadError(path, "is one piece of a zip in several; put it together, or ask for the whole file.")
    if entries == WIDE[0] or WIDE[1] in (size, offset) or entries > MOST_ENTRIES:
        raise ReadError(path, f"has more than the {MOST_ENTRIES:,} parts that a workbook may have.")
    if strict and (end + END_SIZE + comment != len(content) or END in content[end + 4 :]):
        raise ReadError(path, "has something behind its end, which no spreadsheet writes there.")
    if strict and offset + size != end:
        raise ReadError(path, NOT_OR_CUT)
    if size > end or content.count(LISTED, end - size, end) > MOST_ENTRIES:
        raise ReadError(path, f"has more than the {MOST_ENTRIES:,} parts that a workbook may have.")


def _faults(entries: Sequence[zipfile.ZipInfo]) -> Iterator[str]:
    """What the directory says that no workbook needs."""
    if not entries:
        yield "has no parts"
    whole = sum(entry.file_size for entry in entries)
    if whole > LARGEST_WHOLE:
        yield f"would unpack to {whole:,} bytes; {LARGEST_WHOLE:,} are allowed"
    names: dict[str, str] = {}
    for entry in entries:
        name = shown(entry.orig_filename)
        folded = usual_name(entry.filename).casefold()
        if folded in names:
            alike = usual_name(names[folded]) == usual_name(entry.filename)
            yield (
                f"has two parts of the same name, {name}" if alike else f"has two parts named {name}, but for capitals"
            )
        names[folded] = entry.filename
        if (
            STRANGE_NAME.search(entry.orig_filename.replace("\\", "/"))
            or not 0 < len(entry.orig_filename) <= LONGEST_NAME
        ):
            yield f"has a part with a name that leads out of the file or that no spreadsheet writes, {name}"
        if entry.flag_bits & LOCKED:
            yield f"its part {name} is locked with a password"
        elif entry.compress_type not in METHODS:
            yield f"its part {name} is packed in a way (number {entry.compress_type}) that no spreadsheet uses"
        if entry.file_size > LARGEST_PART:
            yield f"its part {name} would unpack to {entry.file_size:,} bytes; {LARGEST_PART:,} are allowed"
        if entry.file_size > RATIO_FROM and entry.file_size > HIGHEST_RATIO * entry.compress_size:
            times = entry.file_size // max(1, entry.compress_size)
            yield f"its part {name} would unpack to {times:,} times its size; {HIGHEST_RATIO} times are allowed"


def usual_name(name: str) -> str:
    """The name of a part as programs write it."""
    return posixpath.normpath(name.replace("\\", "/")) + ("/" if name.endswith(("/", "\\")) else "")


def _found_by_name(name: str) -> str:
    """A part's name, in the letters in which it is looked for."""
    links = LINKS.match(name)
    if links is not None:
        return f"{links[1]}_rels/{links[2]}.rels"
    return TYPES if name.casefold() == TYPES.casefold() else name


def _mended(archive: Archive) -> bytes | None:
    """A zip whose parts have their usual names and whose links name them so; None where all is as usual."""
    names = {name: _found_by_name(usual_name(name)) for name in archive.entries}
    folded = {name.casefold(): name for name in names.values()}
    changed: dict[str, bytes] = {}
    for name, plain in names.items():
        if plain.endswith(".rels") and archive.entries[name].file_size <= RATIO_FROM:
            with contextlib.suppress(ReadError):  # said by who reads it
                content = archive.read(name)
                new = TARGET.sub(lambda found, part=plain: _link(found, part, folded), content)  # type: ignore[misc]
                if new != content:
                    changed[name] = new
    if not changed and all(name == plain for name, plain in names.items()):
        return None
    if sum(entry.file_size for entry in archive.entries.values()) > LARGEST_RENAMED:
        raise ReadError(archive.path, "has parts with names that no spreadsheet writes, and is too large to be mended.")
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as out:
        for name, plain in names.items():
            info = zipfile.ZipInfo(plain, archive.entries[name].date_time)
            out.writestr(info, changed.get(name) or archive.read(name), zipfile.ZIP_DEFLATED)
    return target.getvalue()


def _link(found: re.Match[bytes], part: str, folded: dict[str, str]) -> bytes:
    """A link's target as it is, or spelt as the part that it leads to is named."""
    said = (found[2] if found[2] is not None else found[3]).decode("utf-8", "replace")
    folder = posixpath.dirname(posixpath.dirname(part))
    whole = posixpath.normpath(posixpath.join("/", folder, said.replace("\\", "/"))).lstrip("/")
    there = folded.get(whole.casefold())
    usual = there == whole and "\\" not in said and not said.startswith("./") and "/./" not in said
    if there is None or usual:
        return found[0]
    return found[1] + b'"' + posixpath.relpath(f"/{there}", f"/{folder}").encode() + b'"'


def _same_name(raw: bytes, flags: int, entry: zipfile.ZipInfo) -> bool:
    try:
        return raw.decode("utf-8" if flags & 0x800 else "cp437") == entry.orig_filename
    except UnicodeDecodeError:
        return False
