"""What could make a reader refuse a package: read from the bytes of its headers, without a zip library."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import NamedTuple
from xml.etree import ElementTree  # only over what the product has just written
from zlib import MAX_WBITS, decompress

END, LISTED, FRONT = b"PK\x05\x06", b"PK\x01\x02", b"PK\x03\x04"
DEFLATED = 8
PLAIN = 20  # version 2.0 of the format, which is the first with folders and deflated parts


class Listed(NamedTuple):
    """An entry of the directory at the end of a zip (APPNOTE.TXT 4.3.12)."""

    mark: bytes
    made_by: int
    needed: int
    flags: int
    method: int
    time: int
    date: int
    check: int
    packed: int
    size: int
    name_length: int
    extra_length: int
    comment_length: int
    disk: int
    internal: int
    external: int
    offset: int


class Front(NamedTuple):
    """The header in front of a part (APPNOTE.TXT 4.3.7)."""

    mark: bytes
    needed: int
    flags: int
    method: int
    time: int
    date: int
    check: int
    packed: int
    size: int
    name_length: int
    extra_length: int


LISTED_FORM, FRONT_FORM = struct.Struct("<4s6H3I5H2I"), struct.Struct("<4s5H3I2H")


def faults(content: bytes) -> list[str]:
    """Every header and every link that a plain reader might not take; none where the package is as it should be."""
    return [*_header_faults(content), *_link_faults(content)]


def _directory(content: bytes) -> Iterator[tuple[str, Listed]]:
    """The entries of the directory; the archive has no comment, so its end record is the last 22 bytes."""
    assert content[-22:-18] == END, "the zip does not end with its directory's end"
    count, _, place = struct.unpack("<HII", content[-12:-2])
    for _ in range(count):
        entry = Listed(*LISTED_FORM.unpack_from(content, place))
        assert entry.mark == LISTED
        begin = place + LISTED_FORM.size
        yield content[begin : begin + entry.name_length].decode("ascii"), entry
        place = begin + entry.name_length + entry.extra_length + entry.comment_length
    assert content[place:] == content[-22:], "something lies between the directory and its end"


def _header_faults(content: bytes) -> Iterator[str]:
    for name, entry in _directory(content):
        front = Front(*FRONT_FORM.unpack_from(content, entry.offset))
        assert front.mark == FRONT
        for where, needed, flags, extra in (
            ("directory", entry.needed, entry.flags, entry.extra_length),
            ("front", front.needed, front.flags, front.extra_length),
        ):
            if needed != PLAIN:
                yield f"{name}: its {where} asks for version {needed}"
            if flags:
                yield f"{name}: its {where} has flags {flags:#x}"
            if extra:
                yield f"{name}: its {where} has {extra} bytes of extra fields"
        if (front.method, front.check, front.packed, front.size) != (
            *(entry.method, entry.check, entry.packed, entry.size),
        ):
            yield f"{name}: its front says another size, packing or checksum than the directory"
        if entry.method != DEFLATED:
            yield f"{name}: is packed by method {entry.method}"
        if (entry.made_by, entry.external, entry.internal, entry.comment_length, entry.disk) != (PLAIN, 0, 0, 0, 0):
            yield f"{name}: its directory tells the system or the program it was made on"


def _link_faults(content: bytes) -> Iterator[str]:
    for name, entry in _directory(content):
        if name.endswith(".rels"):
            front = Front(*FRONT_FORM.unpack_from(content, entry.offset))
            begin = entry.offset + FRONT_FORM.size + front.name_length + front.extra_length
            for link in ElementTree.fromstring(decompress(content[begin : begin + entry.packed], -MAX_WBITS)):
                if link.get("TargetMode") != "External" and str(link.get("Target")).startswith("/"):
                    yield f"{name}: points to {link.get('Target')} from the top"
