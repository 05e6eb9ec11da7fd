"""Changes to a small case log, made by a seeded generator: to its bytes, its zip, and the XML of its parts."""

from __future__ import annotations

import functools
import random
import struct
from copy import deepcopy

from lxml import etree

from tests.support.hostile import good, parts_of, zipped

NUMBERS = (
    *("0", "-1", "1", "99999999999", "1e309", "-1e309", "NaN", "4294967296", "1048576", "1048577", "2958466", "-0.0"),
    *("1e-320", "18446744073709551616", "", " ", "٣", "0x10", "1,5", "1_000", "true", "A1", "é"),
)
REFERENCES = (
    *("A0", "A1", "XFD1048576", "XFE1", "AAAA1", "a1", "$A$1", "A1:B2", "A1:XFD1048576", "B2:A1", "1:1", "A:A", "Z99"),
    *("#REF!", "R1C1", "Sheet!A1", "A1048577", "A-1", "", ":", "A1:", "Ä1", "A1 B2 C3"),
)
KINDS = ("s", "str", "inlineStr", "b", "n", "e", "d", "", "x")
TEXTS = ("", " ", "_x0000_", "_x005F_x0041_", "\u202e", "😀" * 40, "x" * 40_000, "=1+1", "#N/A", "2026-02-30", "=")
TAGS = ("c", "row", "v", "f", "is", "t", "si", "sheet", "xf", "Relationship", "extLst", "mergeCell", "dataValidation")
# parts that every reading looks into come up more often than charts
WEIGHTY = (
    *("xl/workbook.xml", "xl/_rels/workbook.xml.rels", "[Content_Types].xml", "_rels/.rels", "xl/sharedStrings.xml"),
    *("xl/styles.xml", "docProps/custom.xml"),
)


@functools.cache
def small() -> dict[str, bytes]:
    return parts_of(good())


@functools.cache
def shorter(part: str) -> bytes:
    """A part with no more than a few of many children alike, so that a change takes little time."""
    root = etree.fromstring(small()[part])
    for element in list(root.iter()):
        for child in list(element)[40:]:
            element.remove(child)
    return bytes(etree.tostring(root, xml_declaration=True, encoding="UTF-8", standalone=True))


def structural(chance: random.Random) -> bytes:
    """The log with one to six changes to the markup of one or two parts."""
    parts = dict(small())
    names = [name for name in parts if name.endswith((".xml", ".rels"))]
    sheets = [name for name in names if name.startswith("xl/worksheets/sheet")]
    tables = [name for name in names if name.startswith(("xl/tables/", "xl/worksheets/_rels/"))]
    for _ in range(chance.choice((1, 1, 2))):
        name = chance.choice(chance.choice((sheets, sheets, tables, WEIGHTY, names)))
        if chance.random() < 0.2:
            parts[name] = torn(parts[name], chance)
            continue
        parts[name] = mutated(parts[name] if name in WEIGHTY else shorter(name), chance)
    if chance.random() < 0.05:
        del parts[chance.choice(list(parts))]
    return zipped(parts, chance.choice((0, 8)))


def torn(content: bytes, chance: random.Random) -> bytes:
    """Markup that is none any more: pieces cut out, doubled or put elsewhere."""
    changed = bytearray(content)
    for _ in range(chance.randint(1, 3)):
        at, to = chance.randrange(len(changed) + 1), chance.randrange(len(changed) + 1)
        piece = bytes(changed[at : at + chance.choice((1, 3, 12, 60, 2000))])
        if chance.random() < 0.5:
            del changed[at : at + len(piece)]
        if chance.random() < 0.6:
            changed[to:to] = piece * chance.choice((1, 1, 2, 50))
    return bytes(changed)


def mutated(content: bytes, chance: random.Random) -> bytes:
    try:
        root = etree.fromstring(content, etree.XMLParser(huge_tree=True))
    except etree.XMLSyntaxError:  # an earlier change made it deeper than any parser takes, or no markup
        return content
    for _ in range(chance.randint(1, 6)):
        chance.choice(CHANGES)(root, chance)
    return bytes(etree.tostring(root, xml_declaration=True, encoding="UTF-8", standalone=True))


def _any(root: etree._Element, chance: random.Random) -> etree._Element:
    found = [element for element in root.iter() if isinstance(element.tag, str)]
    return chance.choice(found)


def _drop(root: etree._Element, chance: random.Random) -> None:
    element = _any(root, chance)
    parent = element.getparent()
    if parent is not None:
        parent.remove(element)


def _double(root: etree._Element, chance: random.Random) -> None:
    element = _any(root, chance)
    parent = element.getparent()
    if parent is not None:
        copy = deepcopy(element)
        parent.insert(chance.randint(0, len(parent)), copy)


def _rename(root: etree._Element, chance: random.Random) -> None:
    element = _any(root, chance)
    space = etree.QName(element).namespace
    name = chance.choice(TAGS)
    element.tag = f"{{{space}}}{name}" if space and chance.random() < 0.8 else name


def _move(root: etree._Element, chance: random.Random) -> None:
    element, to = _any(root, chance), _any(root, chance)
    if element.getparent() is not None and element not in to.iterancestors() and element is not to:
        to.append(element)


def _attribute(root: etree._Element, chance: random.Random) -> None:
    element = _any(root, chance)
    if not element.attrib or chance.random() < 0.1:
        element.set(chance.choice(("r", "s", "t", "ref", "si", "sqref", "count", "name", "id")), chance.choice(NUMBERS))
        return
    name = chance.choice(list(element.attrib))
    if chance.random() < 0.25:
        del element.attrib[name]
    else:
        element.set(name, chance.choice(chance.choice((NUMBERS, REFERENCES, KINDS, ("rId1", "rId999", "../x.xml")))))


def _text(root: etree._Element, chance: random.Random) -> None:
    text = chance.choice(chance.choice((NUMBERS, REFERENCES, TEXTS)))
    _any(root, chance).text = "".join(sign for sign in text if sign.isprintable() or sign in "\t\n")


def _cell(root: etree._Element, chance: random.Random) -> None:
    cells = list(root.iter("{*}c"))
    if not cells:
        return _attribute(root, chance)
    cell = chance.choice(cells)
    cell.set(chance.choice(("r", "s", "t", "cm")), chance.choice(chance.choice((REFERENCES, KINDS, NUMBERS))))
    for value in cell.iter("{*}v"):
        value.text = chance.choice(chance.choice((NUMBERS, ("1e300", "-1e300", "2958465.99", "60", "-5"))))
    return None


def _deeper(root: etree._Element, chance: random.Random) -> None:
    element = _any(root, chance)
    for _ in range(chance.choice((10, 300, 3000))):
        element = etree.SubElement(element, "a")


CHANGES = (
    _drop,
    _double,
    _rename,
    _move,
    _attribute,
    _attribute,
    _attribute,
    _text,
    _text,
    _cell,
    _cell,
    _cell,
    _deeper,
)


# ------------------------------------------------------------------------------------------------------ the zip


@functools.cache
def tiny() -> bytes:
    """A workbook of a few hundred bytes, so that a change is likely to hit the zip's own numbers."""
    wanted = ("[Content_Types].xml", "_rels/.rels", "xl/workbook.xml", "xl/_rels/workbook.xml.rels")
    kind = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    space = "http://schemas.openxmlformats.org/package/2006"
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    types = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    contents = (
        f'<Types xmlns="{space}/content-types"><Override PartName="/xl/workbook.xml" '
        f'ContentType="{types}.sheet.main+xml"/>'
        "</Types>",
        f'<Relationships xmlns="{space}/relationships"><Relationship Id="r" Type="{kind}/officeDocument" '
        'Target="xl/workbook.xml"/></Relationships>',
        f'<workbook xmlns="{main}" xmlns:r="{kind}"><sheets><sheet name="Sites" sheetId="1" r:id="r"/></sheets>'
        "</workbook>",
        f'<Relationships xmlns="{space}/relationships"><Relationship Id="r" Type="{kind}/worksheet" Target="s.xml"/>'
        "</Relationships>",
    )
    sheet = f'<worksheet xmlns="{main}"><sheetData><row r="1"><c r="A1"><v>1</v></c></row></sheetData></worksheet>'
    return zipped(dict(zip(wanted, map(str.encode, contents), strict=True)) | {"xl/s.xml": sheet.encode()})


def zip_change(chance: random.Random) -> bytes:
    """The tiny workbook with changes to its bytes, mostly to what the zip says of itself."""
    content = bytearray(tiny())
    marks = [at for mark in (b"PK\x01\x02", b"PK\x03\x04", b"PK\x05\x06") for at in _places(content, mark)]
    for _ in range(chance.choice((1, 1, 2, 4, 9))):
        way = chance.random()
        at = chance.choice(marks) + chance.randint(0, 46) if way < 0.8 else chance.randrange(len(content))
        at = min(at, len(content) - 4)
        if way < 0.3:
            content[at] = chance.randrange(256)
        elif way < 0.6:
            value = chance.choice((0, 1, 0xFF, 0xFFFF, 0xFFFFFFFF, 0x7FFFFFFF, len(content), chance.randrange(2**32)))
            struct.pack_into("<L", content, at, value)
        elif way < 0.9:
            content[at] ^= 1 << chance.randrange(8)
        elif way < 0.95:
            del content[at : at + chance.randint(1, 60)]
        else:
            start = chance.randrange(len(content))
            content[at:at] = content[start : start + chance.randint(1, 200)]
        if len(content) < 60:
            break
    return bytes(content)


def _places(content: bytearray, mark: bytes) -> list[int]:
    found, at = [], content.find(mark)
    while at >= 0:
        found.append(at)
        at = content.find(mark, at + 1)
    return found
