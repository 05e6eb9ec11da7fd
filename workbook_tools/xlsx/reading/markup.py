"""A part's XML: what stands before its first element, and small parts as trees.

Nothing is fetched and no entity is put in.
"""

from __future__ import annotations

import re
from typing import Any, TypeAlias

from lxml import etree

from workbook_tools.errors import ReadError
from workbook_tools.xlsx.reading.archive import shown
from workbook_tools.xlsx.reading.limits import DEEPEST, LARGEST_TREE, LONGEST_PROLOG

Element: TypeAlias = Any  # of lxml, which has no types
DOCUMENT_TYPE = "brings a document type of its own, which no spreadsheet writes."
ENCODING = re.compile(rb"""^<\?xml[^>]*?encoding\s*=\s*["']([A-Za-z0-9._-]*)["']""")
PLAIN = (b"utf-8", b"us-ascii", b"ascii", b"utf8")
ASIDE = re.compile(rb"\s+|<\?.*?\?>|<!--.*?-->", re.DOTALL)
NAME = re.compile(rb"<(?:[^\s<>/:!?]+:)?([^\s<>/:!?]+)")


TAG_WITH_APOSTROPHES = re.compile(rb"<[^<>]*=\s*'[^<>]*>")
VALUE = re.compile(rb"""\s*=\s*(?:"([^"<>]*)"|'([^'<>]*)')""")


def double_quoted(content: bytes) -> bytes:
    """A part whose attributes all stand in double quotes behind a plain sign of equality, for who reads without a
    parser: XML allows apostrophes and blanks, and some programs write them."""
    if b"='" not in content and b"= '" not in content:
        return content
    return TAG_WITH_APOSTROPHES.sub(lambda tag: VALUE.sub(_double, tag[0]), content)


def _double(value: re.Match[bytes]) -> bytes:
    said = value[1] if value[1] is not None else value[2].replace(b'"', b"&quot;")
    return b'="' + said + b'"'


def root_name(head: bytes, name: str, path: object) -> str:
    """The name of a part's first element, without its prefix, from the part's first bytes.

    Raises ReadError for a document type, another encoding than UTF-8, and where no element begins soon.
    """
    if head.startswith((b"\xff\xfe", b"\xfe\xff", b"<\0", b"\0<")):
        raise ReadError(path, f"its part {shown(name)} is not in UTF-8, as every spreadsheet program writes it.")
    head = head[:LONGEST_PROLOG].removeprefix(b"\xef\xbb\xbf")
    declared = ENCODING.match(head)
    if declared is not None and declared[1].lower() not in PLAIN:
        raise ReadError(path, f"its part {shown(name)} is not in UTF-8, as every spreadsheet program writes it.")
    at = 0
    while aside := ASIDE.match(head, at):
        at = aside.end()
    if head[at : at + 9].upper() == b"<!DOCTYPE" or head[at : at + 8].upper() == b"<!ENTITY":
        raise ReadError(path, f"its part {shown(name)} {DOCUMENT_TYPE}")
    first = NAME.match(head, at)
    if first is None:
        raise ReadError(path, f"its part {shown(name)} cannot be read: it is no XML.")
    return first[1].decode("utf-8", "replace")


def tree(content: bytes, name: str, path: object) -> Element:
    """A part as a tree; raises ReadError for a document type, for XML that is broken, too large or too deep."""
    if len(content) > LARGEST_TREE:
        raise ReadError(
            path, f"its part {shown(name)} has {len(content):,} bytes; no real one has more than {LARGEST_TREE:,}."
        )
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, huge_tree=False, load_dtd=False, strip_cdata=False
    )
    try:
        root = etree.fromstring(content, parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        raise ReadError(path, f"its part {shown(name)} cannot be read ({error}).") from error
    if root.getroottree().docinfo.internalDTD is not None:
        raise ReadError(path, f"its part {shown(name)} {DOCUMENT_TYPE}")
    return root


def check_depth(depth: int, name: str, path: object) -> None:
    """Raises ReadError where elements stand deeper in elements than is allowed."""
    if depth > DEEPEST:
        raise ReadError(path, f"its part {shown(name)} has elements more than {DEEPEST} deep in each other.")
