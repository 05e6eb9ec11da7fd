"""Puts a workbook's parts together: the frame from openpyxl, the cells from `cells`."""

from __future__ import annotations

import datetime
import io
import re
import zipfile
from collections.abc import Callable, Iterator, Mapping
from itertools import islice
from xml.etree import ElementTree  # only over what openpyxl has just written

from openpyxl import Workbook
from openpyxl.writer.excel import ExcelWriter

from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.packing import FIXED_DATE, Packing
from workbook_tools.xlsx.reading.contents import joined_path, owner_of, relative
from workbook_tools.xlsx.writing.cells import SheetCells, Strings

SHEET_DATA = re.compile(rb"<sheetData\s*/>|<sheetData>\s*</sheetData>")
BEHIND_IGNORED = re.compile(rb"<(drawing|legacyDrawing|tableParts|extLst)\b")  # ECMA-376 Part 1, 18.3.1.99: the order
DIMENSION = re.compile(rb'<dimension ref="[^"]*"\s*/>')
LINKS = "http://schemas.openxmlformats.org/package/2006/relationships"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
DRAWING_PREFIXES = {
    "xdr": "http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing",
    "a": "http://schemas.openxmlformats.org/drawingml/2006/main",
    "c": "http://schemas.openxmlformats.org/drawingml/2006/chart",
    "r": "http://schemas.openxmlformats.org/officeDocument/2006/relationships",
}
FONT_PARTS = (
    *("b", "i", "strike", "condense", "extend", "outline", "shadow", "u", "vertAlign", "sz", "color", "name"),
    *("family", "charset", "scheme"),
)
ROWS_AT_ONCE = 500
FIXED_MOMENT = datetime.datetime(*FIXED_DATE)


def new_frame(title: str) -> Workbook:
    """An empty workbook whose properties name no person and no machine."""
    frame = Workbook()
    frame.properties.creator = "workbook-tools"
    frame.properties.title = title
    frame.properties.created = FIXED_MOMENT
    frame.properties.modified = FIXED_MOMENT
    frame.calculation.fullCalcOnLoad = True
    return frame


def package(frame: Workbook, cells: Mapping[str, SheetCells], strings: Strings) -> bytes:
    """The workbook file: same input, same bytes."""
    skeleton = io.BytesIO()
    with zipfile.ZipFile(skeleton, "w", zipfile.ZIP_DEFLATED) as archive:  # closed whatever goes wrong
        ExcelWriter(frame, archive).save()
    paths = {f"xl/worksheets/sheet{number}.xml": name for number, name in enumerate(frame.sheetnames, start=1)}
    with zipfile.ZipFile(skeleton) as source, Packing() as out:
        for name in source.namelist():
            content = MENDED.get(name, _unchanged)(source.read(name))
            if name.endswith(".rels"):
                content = _relative(content, name)
            elif name.startswith("xl/drawings/"):
                content = _with_usual_prefixes(content)
            sheet = cells.get(paths.get(name, ""))
            out.add(name, [content] if sheet is None else _filled(content, sheet))
        out.add("xl/sharedStrings.xml", [strings.xml().encode()])
    return out.content()


def _filled(content: bytes, sheet: SheetCells) -> Iterator[bytes]:
    """The sheet part with its rows in it."""
    size = f'<dimension ref="A1:{letter(sheet.width)}{sheet.last_row()}"/>'.encode()
    content = DIMENSION.sub(size, content, count=1)
    before, after = SHEET_DATA.split(content, maxsplit=1)
    if sheet.unmarked:
        said = f'<ignoredErrors><ignoredError sqref="{sheet.unmarked}" calculatedColumn="1"/></ignoredErrors>'.encode()
        after = BEHIND_IGNORED.sub(lambda found: said + found[0], after, count=1)
    yield before + b"<sheetData>"
    rows = sheet.xml()
    while some := "".join(islice(rows, ROWS_AT_ONCE)):
        yield some.encode()
    yield b"</sheetData>" + after


def _relative(content: bytes, name: str) -> bytes:
    """A list of links whose targets are named from the part they belong to; openpyxl names them from the top."""
    ElementTree.register_namespace("", LINKS)
    root = ElementTree.fromstring(content)
    for link in root:
        if link.get("TargetMode") != "External":
            link.set("Target", relative(owner_of(name), joined_path(owner_of(name), link.get("Target", ""))))
    return bytes(ElementTree.tostring(root, encoding="utf-8", xml_declaration=True))


def _with_usual_prefixes(content: bytes) -> bytes:
    """A drawing part with the prefixes of the standard's examples: readers exist that know elements by them only."""
    for prefix, space in DRAWING_PREFIXES.items():
        ElementTree.register_namespace(prefix, space)
    return bytes(ElementTree.tostring(ElementTree.fromstring(content), encoding="utf-8", xml_declaration=True))


def _unchanged(content: bytes) -> bytes:
    return content


def _steady(content: bytes) -> bytes:
    """openpyxl stamps the moment of saving; the same input must give the same bytes."""
    moment = FIXED_MOMENT.strftime("%Y-%m-%dT%H:%M:%SZ").encode()
    return re.sub(rb"(<dcterms:modified[^>]*>)[^<]*(</dcterms:modified>)", rb"\g<1>" + moment + rb"\2", content)


def _fonts_in_order(content: bytes) -> bytes:
    """openpyxl writes a font's parts in an order that the schema does not have."""
    ElementTree.register_namespace("", MAIN)
    root = ElementTree.fromstring(content)
    for font in root.iter(f"{{{MAIN}}}font"):
        font[:] = sorted(font, key=lambda part: FONT_PARTS.index(part.tag.rpartition("}")[2]))
    return bytes(ElementTree.tostring(root, encoding="utf-8", xml_declaration=True))


def _with_strings(element: bytes) -> Callable[[bytes], bytes]:
    """Names the shared strings, which openpyxl did not write, before the end of a list of parts."""
    return lambda content: re.sub(rb"(</\w+>\s*)$", element + rb"\1", content)


MENDED: dict[str, Callable[[bytes], bytes]] = {
    "docProps/core.xml": _steady,
    "xl/styles.xml": _fonts_in_order,
    "[Content_Types].xml": _with_strings(
        b'<Override PartName="/xl/sharedStrings.xml" '
        b'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"/>'
    ),
    "xl/_rels/workbook.xml.rels": _with_strings(
        b'<Relationship Id="rIdStrings" Target="sharedStrings.xml" '
        b'Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings"/>'
    ),
}
