"""Workbooks that nobody should have to open: broken, lying, oversized, locked and misnamed files, made by code.

`refused(folder)` makes the files that every command must turn away, `acting(folder)` those that are read and reported.
`figures()` runs the check over all of them, each in a process of its own under limits, and answers the numbers;
`python -m tests.support.hostile` prints them.
"""

from __future__ import annotations

import functools
import io
import json
import os
import re
import struct
import tempfile
import time
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from tests.support.forked import MEMORY, SECONDS, Job, run_all
from workbook_tools.layout import case_log
from workbook_tools.log.building.log_workbook import build_log

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
RELATION = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
WORKBOOK, RELATIONS, TYPES = "xl/workbook.xml", "xl/_rels/workbook.xml.rels", "[Content_Types].xml"
STRINGS, STYLES, SHEET = "xl/sharedStrings.xml", "xl/styles.xml", "xl/worksheets/sheet2.xml"
Make = Callable[[], bytes]


@functools.cache
def good() -> bytes:
    """A small case log with a few rows in use."""
    rows = {
        "sites": [{"site": "S01", "name": "Alder springs", "kind": "farm", "food_fish": "yes"}],
        "visits": [{"visit": "V001", "date": 46_000, "site": "S01"}],
    }
    return build_log(case_log(), rows, rows=5)


def parts_of(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def zipped(parts: Mapping[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", method) as out:
        for name, content in parts.items():
            out.writestr(zipfile.ZipInfo(name, (2026, 1, 1, 0, 0, 0)), content, method)
    return target.getvalue()


def changed(changes: Mapping[str, bytes | None]) -> bytes:
    parts = parts_of(good()) | dict(changes)  # type: ignore[operator]
    return zipped({name: content for name, content in parts.items() if content is not None})


def replaced(part: str, old: bytes, new: bytes, count: int = 1) -> bytes:
    """The good log with a change in one part; fails where there is nothing to change."""
    content = parts_of(good())[part]
    assert old in content, (part, old)
    return changed({part: content.replace(old, new, count)})


def in_sheet(rows: bytes) -> bytes:
    """The good log with other rows on one of its sheets, and nothing else there."""
    return changed({SHEET: b'<worksheet xmlns="%s"><sheetData>%s</sheetData></worksheet>' % (MAIN.encode(), rows)})


def packed(name: str, raw: bytes, size: int, check: int, method: int = 8, flags: int = 0, local: str = "") -> bytes:
    """The good log with an entry more that says of itself what it is told to."""
    content = good()
    end = content.rindex(b"PK\x05\x06")
    entries, directory, offset = struct.unpack_from("<HLL", content, end + 10)
    front, behind = (local or name).encode(), name.encode()
    numbers = struct.pack("<4HLLL", flags, method, 0, 0x5C21, check, len(raw), size)
    header = b"PK\x03\x04" + struct.pack("<H", 20) + numbers + struct.pack("<HH", len(front), 0) + front
    listed = b"PK\x01\x02" + struct.pack("<HH", 20, 20) + numbers
    listed += struct.pack("<5H2L", len(behind), 0, 0, 0, 0, 0, offset) + behind
    whole = content[:offset] + header + raw
    last = struct.pack("<4H2LH", 0, 0, entries + 1, entries + 1, directory + len(listed), len(whole), 0)
    return whole + content[offset:end] + listed + b"PK\x05\x06" + last


def deflated(content: bytes) -> bytes:
    packing = zlib.compressobj(9, zlib.DEFLATED, -15)
    return packing.compress(content) + packing.flush()


@functools.cache
def deflated_zeros(size: int) -> tuple[bytes, int]:
    """So many zeros packed, and their checksum."""
    packing, check = zlib.compressobj(9, zlib.DEFLATED, -15), 0
    pieces, piece = [], bytes(1 << 20)
    for _ in range(size >> 20):
        pieces.append(packing.compress(piece))
        check = zlib.crc32(piece, check)
    return b"".join([*pieces, packing.flush()]), check


def bomb(size: int, said: int) -> bytes:
    raw, check = deflated_zeros(size)
    return packed("xl/media/image9.png", raw, said, check)


def overlapping() -> bytes:
    """Many entries of the directory that share one piece of packed bytes."""
    content = packed("xl/media/a.bin", deflated(bytes(1 << 20)), 1 << 20, zlib.crc32(bytes(1 << 20)))
    end = content.rindex(b"PK\x05\x06")
    entries, size, offset = struct.unpack_from("<HLL", content, end + 10)
    listed = content[content.rindex(b"PK\x01\x02", 0, end) : end]
    more = b"".join(listed.replace(b"xl/media/a.bin", b"xl/media/%05d" % n) for n in range(500))
    last = struct.pack("<4H2LH", 0, 0, entries + 500, entries + 500, size + len(more), offset, 0)
    return content[:end] + more + b"PK\x05\x06" + last


def nested(depth: int, name: str = "a") -> bytes:
    return f"<{name}>".encode() * depth + f"</{name}>".encode() * depth


LAUGHS = (
    b'<!DOCTYPE lolz [<!ENTITY a "ha">'
    + b"".join(b'<!ENTITY a%d "%s">' % (n, b"&a%d;" % (n - 1) * 10 if n else b"&a;" * 10) for n in range(12))
    + b"]>"
)
OUTSIDE = b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]>'
PARAMETER = b'<!DOCTYPE x [<!ENTITY % a SYSTEM "http://127.0.0.1:9/x.dtd"> %a;]>'


def with_type(part: str, kind: bytes) -> bytes:
    """A part with a document type in front of its first element."""
    content = parts_of(good())[part]
    head = re.match(rb"\s*(<\?xml.*?\?>)?", content)
    assert head is not None
    return changed({part: head[0] + kind + content[head.end() :]})


def main_type(new: bytes) -> bytes:
    return replaced(TYPES, b"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml", new)


def row(number: int, cells: bytes) -> bytes:
    return b'<row r="%d">%s</row>' % (number, cells)


MANY_FORMATS = [b'<xf numFmtId="%d" fontId="%d"/>' % (n * 7919 % 4099, n * 104_729 % 65_537) for n in range(1_000_000)]
ROWS_OUT_OF_ORDER = row(5, b'<c r="A5"><v>1</v></c>') + row(3, b'<c r="A3"><v>1</v></c>')
OPEN_DOCUMENT = {"mimetype": b"application/vnd.oasis.opendocument.spreadsheet", "content.xml": b"<a/>"}

# bytes that every command turns away: a name, how they are made, and words of the reason


def said_texts_part(number: bytes) -> bytes:
    return re.sub(rb'uniqueCount="\d+"', b'uniqueCount="%b"' % number, parts_of(good())[STRINGS], count=1)


def said_texts(number: bytes) -> bytes:
    """A table of texts that says it has so many."""
    return changed({STRINGS: said_texts_part(number)})


def without_texts() -> bytes:
    """The links of the workbook, without the one to its texts; readers find the part by its name."""
    return re.sub(rb"<Relationship [^>]*sharedStrings[^>]*/>", b"", parts_of(good())[RELATIONS])


REFUSED: dict[str, tuple[Make, str]] = {
    "empty": (lambda: b"", "0 bytes"),
    "one byte": (lambda: b"P", "not an .xlsx"),
    "text": (lambda: b"site;name\nS01;Alder springs\n", "but text"),
    "page": (lambda: b"<html><table><tr><td>1</td></tr></table></html>", "HTML"),
    "xml workbook": (lambda: b'<?xml version="1.0"?><Workbook/>', "HTML"),
    "document": (lambda: b"%PDF-1.7\n", "PDF"),
    "program": (lambda: b"MZ" + bytes(600), "program"),
    "noise": (lambda: zlib.compress(bytes(range(256)) * 40) * 9, "not an .xlsx"),
    "old workbook": (lambda: b"\xd0\xcf\x11\xe0" + bytes(508) + "Workbook".encode("utf-16-le"), "old .xls"),
    "locked workbook": (lambda: b"\xd0\xcf\x11\xe0" + bytes(508) + "EncryptedPackage".encode("utf-16-le"), "password"),
    "open document": (lambda: zipped(OPEN_DOCUMENT), ".ods"),
    "empty zip": (lambda: zipped({}), "not an .xlsx"),
    "other zip": (lambda: zipped({"readme.txt": b"hello"}), "has no [Content_Types].xml"),
    "cut in half": (lambda: good()[: len(good()) // 2], "cut short"),
    "end cut off": (lambda: good()[:-1], "cut short"),
    "beginning cut off": (lambda: good()[1:], "not an .xlsx"),
    "bytes in front": (lambda: b"#!/bin/sh\n" + good(), "not an .xlsx"),
    "bytes behind": (lambda: good() + b"more", "behind its end"),
    "two zips": (lambda: good() + good(), "cut short"),
    "a byte changed": (lambda: good()[:2000] + bytes([good()[2000] ^ 0xFF]) + good()[2001:], "its part"),
    # zip bombs and other lies of a zip
    "bomb": (lambda: bomb(512 << 20, 512 << 20), "100 times are allowed"),
    "bomb that says little": (lambda: bomb(512 << 20, 1000), "more than the 1,000 bytes"),
    "bomb that says much": (lambda: packed("xl/media/a.png", deflated(b"a"), (1 << 32) - 2, 0), "are allowed"),
    "parts on top of each other": (overlapping, "on top of each other"),
    "20,000 parts": (lambda: zipped({f"xl/media/{n}": b"" for n in range(20_000)}), "10,000 parts"),
    "two parts of one name": (
        lambda: packed(WORKBOOK, b"<workbook/>", 11, zlib.crc32(b"<workbook/>"), 0),
        "two parts of the same name",
    ),
    "two names but for capitals": (lambda: packed("xl/WORKBOOK.xml", b"", 0, 0, 0), "but for capitals"),
    "path upward": (lambda: packed("../../outside.xml", b"", 0, 0, 0), "leads out of the file"),
    "path from the root": (lambda: packed("/etc/outside.xml", b"", 0, 0, 0), "leads out of the file"),
    "path with a drive": (lambda: packed("C:/outside.xml", b"", 0, 0, 0), "leads out of the file"),
    "path with backslashes": (lambda: packed("xl\\..\\outside.xml", b"", 0, 0, 0), "leads out of the file"),
    "name with a zero": (lambda: packed("xl/a\0.xml", b"", 0, 0, 0), "leads out of the file"),
    "name with a line end": (lambda: packed("xl/a\n\x1b[2Jb.xml", b"", 0, 0, 0), "leads out of the file"),
    "name of 60,000 letters": (lambda: packed("x" * 60_000, b"", 0, 0, 0), "leads out of the file"),
    "another name in front": (lambda: packed("xl/a.xml", b"", 0, 0, 0, local="xl/b.xml"), "another name"),
    "locked part": (lambda: packed("xl/a.xml", b"abc", 3, 1, 0, flags=1), "locked with a password"),
    "unknown packing": (lambda: packed("xl/a.xml", b"abc", 3, 1, 99), "number 99"),
    "packed by another method": (lambda: zipped(parts_of(good()), zipfile.ZIP_BZIP2), "number 12"),
    "wrong checksum": (lambda: packed("xl/media/a.png", b"abc", 3, 1, 0), "not what the zip says"),
    "not packed at all": (lambda: packed("xl/media/a.png", b"\xff" * 9, 3, 1), "cannot be unpacked"),
    "packed part cut": (lambda: packed("xl/media/a.png", deflated(b"abc" * 99)[:-3], 297, 1), "its part"),
    # no workbook, or not this kind
    "macros under another name": (lambda: main_type(b"application/vnd.ms-excel.sheet.macroEnabled.main+xml"), ".xlsm"),
    "template": (
        lambda: main_type(b"application/vnd.openxmlformats-officedocument.spreadsheetml.template.main+xml"),
        "template",
    ),
    "text document": (
        lambda: main_type(b"application/vnd.openxmlformats-officedocument.wordprocessingml.document.main+xml"),
        "text document",
    ),
    "unknown type": (lambda: main_type(b"text/plain"), "content types"),
    "no types": (lambda: changed({TYPES: None}), "no [Content_Types].xml"),
    "no links": (lambda: changed({"_rels/.rels": None}), "no _rels/.rels"),
    "no workbook": (lambda: changed({WORKBOOK: None}), "missing"),
    "no links of the workbook": (lambda: changed({RELATIONS: None}), "is not in the file"),
    "no sheet": (lambda: changed({SHEET: None}), "is not in the file"),
    "sheet outside": (
        lambda: replaced(RELATIONS, b'Target="worksheets/sheet2.xml"', b'Target="file:///x" TargetMode="External"'),
        "is not in the file",
    ),
    "sheet that is the workbook": (
        lambda: replaced(RELATIONS, b'Target="worksheets/sheet2.xml"', b'Target="/xl/workbook.xml"'),
        "no sheet of cells",
    ),
    "two sheets of one name": (lambda: replaced(WORKBOOK, b'name="Vessels"', b'name="sites"'), "two sheets named"),
    "20,000 sheets": (
        lambda: replaced(WORKBOOK, b"</sheets>", b'<sheet name="x" sheetId="9"/>' * 20_000 + b"</sheets>"),
        "sheets; 1,000 are allowed",
    ),
    "empty workbook part": (lambda: changed({WORKBOOK: b""}), "cannot be read"),
    "workbook of another kind": (lambda: changed({WORKBOOK: b"<document/>"}), "another kind"),
    "sheet cut short": (lambda: changed({SHEET: parts_of(good())[SHEET][:700]}), "cannot be read"),
    "sheet that is noise": (lambda: changed({SHEET: bytes(range(256)) * 9}), "no XML"),
    # markup that does harm
    "entities in the workbook": (lambda: with_type(WORKBOOK, LAUGHS), "document type"),
    "entities in a sheet": (lambda: with_type(SHEET, LAUGHS), "document type"),
    "entities in the texts": (lambda: with_type(STRINGS, LAUGHS), "document type"),
    "entities in the types": (lambda: with_type(TYPES, LAUGHS), "document type"),
    "entity from outside": (lambda: with_type(STRINGS, OUTSIDE), "document type"),
    "entity from a server": (lambda: with_type("docProps/custom.xml", PARAMETER), "document type"),
    "document type far down": (lambda: with_type(SHEET, b"<!--" + b" " * 9000 + b"-->" + OUTSIDE), "no XML"),
    "sheet in UTF-16": (
        lambda: changed({SHEET: parts_of(good())[SHEET].decode().encode("utf-16")}),
        "not in UTF-8",
    ),
    "sheet that says another encoding": (
        lambda: changed({SHEET: b'<?xml version="1.0" encoding="utf-7"?><worksheet/>'}),
        "not in UTF-8",
    ),
    "deep links": (lambda: changed({"_rels/.rels": nested(100_000)}), "cannot be read"),
    # sheets that ask for too much room, or lie about where cells are
    "used range of a whole sheet": (
        lambda: in_sheet(row(1, b'<c r="A1"><v>1</v></c>') + row(1_048_576, b'<c r="XFD1048576"><v>1</v></c>')),
        "stray cell",
    ),
    "far row in a near one": (lambda: in_sheet(row(1, b'<c r="XFD1048576"><v>1</v></c>')), "stands in row 1"),
    "far cell spelt otherwise": (
        lambda: in_sheet(b"<row\tr = '1048576' ><c\nr = 'XFD1048576'><v>1</v></c></row>"),
        "stray cell",
    ),
    "far cell behind another prefix": (
        lambda: changed(
            {
                SHEET: b'<worksheet xmlns="%s" xmlns:o="%s"><sheetData><o:row r="1048576"><o:c r="XFD1048576">'
                b"<o:v>1</o:v></o:c></o:row></sheetData></worksheet>" % (MAIN.encode(), MAIN.encode())
            }
        ),
        "stray cell",
    ),
    "cells without addresses": (
        lambda: in_sheet(row(1, b"<c><v>1</v></c>" * 16_000) + row(1_048_576, b"<c><v>1</v></c>")),
        "stray cell",
    ),
    "more columns than there are": (lambda: in_sheet(row(1, b"<c><v>1</v></c>" * 20_000)), "there are 16,384"),
    "column that is none": (lambda: in_sheet(row(1, b'<c r="XFE1"><v>1</v></c>')), "there are 16,384"),
    "row that is none": (lambda: in_sheet(row(99_999_999, b'<c r="A99999999"><v>1</v></c>')), "99,999,999"),
    "row of no number": (lambda: in_sheet(b'<row r="-1"><c r="A1"><v>1</v></c></row>'), "number that is none"),
    "address that is none": (lambda: in_sheet(row(1, b'<c r="1A"><v>1</v></c>')), "address that is none"),
    "rows out of order": (lambda: in_sheet(ROWS_OUT_OF_ORDER), "stands after row 5"),
    "one row twice": (lambda: in_sheet(row(4, b'<c r="A4"><v>1</v></c>') * 2), "stands after row 4"),
    "rows without an end": (
        lambda: in_sheet(b"".join(b'<row r="%d"><c r="A%d"><v>%d</v></c>' % (n, n, n * n) for n in range(1, 30_000))),
        "has no end",
    ),
    "cell in no row": (lambda: in_sheet(b'<c r="XFD1048576"><v>1</v></c>'), "in no row"),
    "tag without an end": (lambda: in_sheet(row(1, b'<c r="A1' * 50_000)), "a tag that cannot be read"),
    "row of 80 MB": (
        lambda: in_sheet(row(1, b"<c r='A1' t='str'><v>" + os.urandom(41 << 20).hex().encode() + b"</v></c>")),
        "64 MB",
    ),
    "a million styles": (
        lambda: replaced(STYLES, b"</cellXfs>", b"".join(MANY_FORMATS) + b"</cellXfs>"),
        "65,490 are allowed",
    ),
    "four thousand million texts": (lambda: said_texts(b"4294967295"), "5,000,000 are allowed"),
    "texts of no number": (lambda: said_texts(b"-1"), "texts; 5,000,000"),
    "texts in a nested table": (
        lambda: replaced(STRINGS, b"</sst>", b"<sst uniqueCount = '4294967295'/></sst>"),
        "5,000,000 are allowed",
    ),
    "texts that nothing points to": (
        lambda: changed({RELATIONS: without_texts(), STRINGS: said_texts_part(b"4294967295")}),
        "5,000,000 are allowed",
    ),
    "text that is not there": (
        lambda: in_sheet(row(1, b'<c r="A1" t="s"><v>99999999</v></c>')),
        "string index not found",
    ),
}

MACROS = {"xl/vbaProject.bin": b"\xd0\xcf\x11\xe0" + bytes(600)}


SAYS_HOW_MANY = re.compile(rb'\b(\w*[cC]ount|spans|maxSheets|dxfId|numFmtId)="\d+"')


def linked(kind: str, target: str, outside: bool = False) -> dict[str, bytes]:
    """A link of the workbook more."""
    mode = ' TargetMode="External"' if outside else ""
    link = f'<Relationship Id="rIdX" Type="{RELATION}/{kind}" Target="{target}"{mode}/></Relationships>'
    return {RELATIONS: parts_of(good())[RELATIONS].replace(b"</Relationships>", link.encode())}


def outside_links(kind: str, target: str) -> bytes:
    return (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" '
        f'Type="{RELATION}/{kind}" Target="{target}" TargetMode="External"/></Relationships>'
    ).encode()


def with_name(text: bytes) -> bytes:
    return replaced(WORKBOOK, b"</definedNames>", b'<definedName name="Odd">%s</definedName></definedNames>' % text)


def hostile_counts() -> Iterator[tuple[str, bytes]]:
    """The good log, with every number that says how many of something there are changed for one that lies."""
    parts = parts_of(good())
    kinds = {re.sub(r"\d+", "", name): name for name in sorted(parts, reverse=True)}  # the first of each kind
    for name in kinds.values():
        content = parts[name]
        for said in sorted(set(SAYS_HOW_MANY.findall(content))):
            for number in (b"-1", b"100000000", b"4294967295", b"18446744073709551615", b"99999999999999999999"):
                yield (
                    f"{name} {said.decode()} {number.decode()}",
                    changed({name: re.sub(rb"\b%b=\"\d+\"" % said, b'%b="%b"' % (said, number), content)}),
                )


DDE = (
    b'<externalLink xmlns="%s"><ddeLink ddeService="cmd" ddeTopic="/c calc"><ddeItems><ddeItem name="A0"/></ddeItems>'
    b"</ddeLink></externalLink>" % MAIN.encode()
)
# files that are read: a name, how they are made, and the code of the finding
ACTING: dict[str, tuple[Make, str]] = {
    "macros": (lambda: changed(MACROS | linked("vbaProject", "/xl/vbaProject.bin")), "macros"),
    "link to another file": (
        lambda: changed(
            linked("externalLink", "/xl/externalLinks/externalLink1.xml")
            | {
                "xl/externalLinks/externalLink1.xml": b'<externalLink xmlns="%s"/>' % MAIN.encode(),
                "xl/externalLinks/_rels/externalLink1.xml.rels": outside_links("externalLinkPath", "file:///x.xlsx"),
            }
        ),
        "external-link",
    ),
    "link to a program": (
        lambda: changed(
            linked("externalLink", "/xl/externalLinks/externalLink1.xml") | {"xl/externalLinks/externalLink1.xml": DDE}
        ),
        "program-link",
    ),
    "formula that asks a program": (lambda: with_name(b'DDE("soffice","x","y")'), "formula-reaches-out"),
    "formula with a pipe": (lambda: with_name(b"cmd|' /C calc'!A0"), "formula-reaches-out"),
    "formula that fetches": (
        lambda: with_name(b'_xlfn.WEBSERVICE("http://127.0.0.1:9/")'),
        "formula-reaches-out",
    ),
    "embedded object": (
        lambda: changed(
            {"xl/embeddings/oleObject1.bin": b"\xd0\xcf\x11\xe0" + bytes(99)}
            | linked("oleObject", "/xl/embeddings/oleObject1.bin")
        ),
        "object-embedded",
    ),
    "embedded program": (lambda: changed({"xl/embeddings/tool.bin": b"MZ" + bytes(99)}), "program-embedded"),
    "connection": (
        lambda: changed({"xl/connections.xml": b"<connections/>"} | linked("connections", "/xl/connections.xml")),
        "data-connection",
    ),
    "picture from elsewhere": (
        lambda: changed(linked("image", "http://127.0.0.1:9/x.png", True)),
        "fetched-from-elsewhere",
    ),
}


def lying_dimension() -> bytes:
    """A sheet that says it has a whole sheet's cells and has few; read as if it said nothing."""
    return changed(
        {SHEET: re.sub(rb'<dimension ref="[^"]*"', b'<dimension ref="A1:XFD1048576"', parts_of(good())[SHEET])}
    )


def merged_cells(number: int) -> bytes:
    """A sheet with so many merged areas below its rows."""
    areas = b"".join(b'<mergeCell ref="A%d:B%d"/>' % (n, n) for n in range(1000, 1000 + number))
    sheet = parts_of(good())[SHEET]
    place = sheet.index(b"</sheetData>") + len(b"</sheetData>")
    return changed({SHEET: sheet[:place] + b"<mergeCells>" + areas + b"</mergeCells>" + sheet[place:]})


# ------------------------------------------------------------------------------------------------------- running


def unpacked_bytes(content: bytes) -> int:
    """Bytes that the parts of a file say they have; 0 for what is no zip."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return sum(entry.file_size for entry in archive.infolist())
    except (zipfile.BadZipFile, ValueError, NotImplementedError):  # the ways in which the library refuses a zip
        return 0


def figures() -> dict[str, object]:
    """Runs `check` over every hostile file under limits; the numbers.

    `failures` names every file that was not turned away, or not reported, as it should be; empty when all is well.
    """
    started = time.perf_counter()
    failures, largest = [], (0, "")
    wanted = dict.fromkeys(REFUSED, 2) | dict.fromkeys(ACTING, 1)
    with tempfile.TemporaryDirectory() as scratch:
        jobs = []
        for number, (name, (make, _)) in enumerate((REFUSED | ACTING).items()):
            folder = Path(scratch) / str(number)
            folder.mkdir()
            content = make()
            (folder / "hostile.xlsx").write_bytes(content)
            largest = max(largest, (unpacked_bytes(content), name))
            jobs.append(Job(("check", "hostile.xlsx"), str(folder)))
        runs = dict(zip(wanted, run_all(jobs), strict=True))
    for name, run in runs.items():
        if run.code != wanted[name] or "Traceback" in run.error or run.before != run.after:
            failures.append(name)
    slowest = max((run.seconds, name) for name, run in runs.items())
    peak = max((run.peak, name) for name, run in runs.items())
    return {
        "hostile files tried": len(runs),
        "hostile files that got through or did harm": len(failures),
        "failures": failures,
        "slowest hostile file s": round(slowest[0], 2),
        "slowest hostile file": slowest[1],
        "largest hostile file bytes inflated": largest[0],
        "largest hostile file": largest[1],
        "peak memory": peak[0],
        "peak memory file": peak[1],
        "memory limit": MEMORY,
        "time limit s": SECONDS,
        "wall s": round(time.perf_counter() - started, 1),
    }


if __name__ == "__main__":
    print(json.dumps(figures(), indent=2))
