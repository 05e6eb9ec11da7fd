"""Line drawings as data, and as DrawingML shapes in a package (ECMA-376 Part 1, clauses 20.1.9 and 20.5)."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from xml.sax.saxutils import escape

from workbook_tools.xlsx.packing import Packing
from workbook_tools.xlsx.writing.cells import ILLEGAL
from workbook_tools.xlsx.writing.styles import FACE, INK

A_POINT = 12_700  # English metric units in a point
POINTS = {"M": 1, "L": 1, "C": 3, "Z": 0}
TAGS = {"M": "moveTo", "L": "lnTo", "C": "cubicBezTo"}
MAIN = "http://schemas.openxmlformats.org/drawingml/2006/main"
SHEET = "http://schemas.openxmlformats.org/drawingml/2006/spreadsheetDrawing"
LINKS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"
DRAWING_TYPE = "application/vnd.openxmlformats-officedocument.drawing+xml"


@dataclass(frozen=True)
class Stroke:
    """One line: `path` of M x y, L x y, C x y x y x y and Z in units of the picture, its weight, and what fills it."""

    path: str
    weight: float = 1.0  # [pt]
    filled: bool = False
    dashed: bool = False

    def steps(self) -> list[tuple[str, list[tuple[float, float]]]]:
        """The path's commands with their points."""
        words = self.path.split()
        found = []
        while words:
            command = words.pop(0)
            numbers = [float(words.pop(0)) for _ in range(2 * POINTS[command])]
            found.append((command, list(zip(numbers[::2], numbers[1::2], strict=True))))
        return found

    def moved(self, right: float, down: float, scale: float = 1, mirror: float | None = None) -> Stroke:
        """The stroke elsewhere: mirrored left for right in a box of width `mirror`, then made `scale` as large."""
        parts = []
        for command, points in self.steps():
            parts.append(command)
            for x, y in points:
                turned = x if mirror is None else mirror - x
                parts.append(f"{right + scale * turned:g} {down + scale * y:g}")
        return replace(self, path=" ".join(parts))


@dataclass(frozen=True)
class Word:
    """A word in a picture: where its box starts, how wide the box is, and the size of the letters when printed."""

    text: str
    x: float
    y: float
    width: float
    size: float = 9  # [pt]


@dataclass(frozen=True)
class Picture:
    """A drawing of so many units across and down; `about` says in words what it shows."""

    width: float
    height: float
    strokes: Sequence[Stroke]
    words: Sequence[Word] = ()
    about: str = ""


@dataclass(frozen=True)
class Placed:
    """A picture on a sheet: its first row and column from 0, and its width on paper [pt]."""

    picture: Picture
    row: int
    column: int
    width: float

    @property
    def height(self) -> float:
        """Height on paper. [pt]"""
        return self.width * self.picture.height / self.picture.width


def drawing_part(placed: Sequence[Placed]) -> str:
    """The drawing part of a sheet."""
    number = 1
    anchors = []
    for one in placed:
        across, down = round(one.width * A_POINT), round(one.height * A_POINT)
        shapes = []
        group = number
        for stroke in one.picture.strokes:
            number += 1
            shapes.append(_stroke(stroke, one, number))
        for word in one.picture.words:
            number += 1
            shapes.append(_word(word, one, number))
        number += 1
        box = f'<a:off x="0" y="0"/><a:ext cx="{across}" cy="{down}"/>'
        inner = f'<a:chOff x="0" y="0"/><a:chExt cx="{across}" cy="{down}"/>'
        anchors.append(
            f"<xdr:oneCellAnchor><xdr:from><xdr:col>{one.column}</xdr:col><xdr:colOff>0</xdr:colOff>"
            f"<xdr:row>{one.row}</xdr:row><xdr:rowOff>0</xdr:rowOff></xdr:from>"
            f'<xdr:ext cx="{across}" cy="{down}"/><xdr:grpSp><xdr:nvGrpSpPr>'
            f'<xdr:cNvPr id="{group}" name="Drawing {group}" descr="{_plain(one.picture.about)}"/><xdr:cNvGrpSpPr/>'
            f"</xdr:nvGrpSpPr><xdr:grpSpPr><a:xfrm>{box}{inner}</a:xfrm></xdr:grpSpPr>"
            f"{''.join(shapes)}</xdr:grpSp><xdr:clientData/></xdr:oneCellAnchor>"
        )
    return (
        '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
        f'<xdr:wsDr xmlns:xdr="{SHEET}" xmlns:a="{MAIN}">{"".join(anchors)}</xdr:wsDr>'
    )


def _plain(text: str) -> str:
    """Text as it may stand in a drawing, which knows no escape for control characters: they become spaces."""
    return escape(ILLEGAL.sub(" ", text), {'"': "&quot;"})


def _stroke(stroke: Stroke, placed: Placed, number: int) -> str:
    """A shape as large as the whole picture, so that all shapes share its units."""
    across, down = round(placed.width * A_POINT), round(placed.height * A_POINT)
    scale = across / placed.picture.width
    steps = []
    for command, points in stroke.steps():
        if command == "Z":
            steps.append("<a:close/>")
            continue
        places = "".join(f'<a:pt x="{round(x * scale)}" y="{round(y * scale)}"/>' for x, y in points)
        steps.append(f"<a:{TAGS[command]}>{places}</a:{TAGS[command]}>")
    ink = f'<a:solidFill><a:srgbClr val="{INK}"/></a:solidFill>'
    dash = '<a:prstDash val="dash"/>' if stroke.dashed else ""
    return (
        f'<xdr:sp macro="" textlink=""><xdr:nvSpPr><xdr:cNvPr id="{number}" name="Line {number}"/><xdr:cNvSpPr/>'
        f'</xdr:nvSpPr><xdr:spPr><a:xfrm><a:off x="0" y="0"/><a:ext cx="{across}" cy="{down}"/></a:xfrm>'
        "<a:custGeom><a:avLst/><a:gdLst/><a:ahLst/><a:cxnLst/>"
        f'<a:rect l="0" t="0" r="r" b="b"/><a:pathLst><a:path w="{across}" h="{down}"'
        f"{'' if stroke.filled else ' fill=' + chr(34) + 'none' + chr(34)}>{''.join(steps)}</a:path></a:pathLst>"
        f"</a:custGeom>{ink if stroke.filled else '<a:noFill/>'}"
        f'<a:ln w="{round(stroke.weight * A_POINT)}" cap="rnd">{ink}{dash}<a:round/></a:ln></xdr:spPr></xdr:sp>'
    )


def _word(word: Word, placed: Placed, number: int) -> str:
    scale = placed.width * A_POINT / placed.picture.width
    height = round(1.5 * word.size * A_POINT)
    return (
        f'<xdr:sp macro="" textlink=""><xdr:nvSpPr><xdr:cNvPr id="{number}" name="Word {number}"/>'
        '<xdr:cNvSpPr txBox="1"/></xdr:nvSpPr><xdr:spPr><a:xfrm>'
        f'<a:off x="{round(word.x * scale)}" y="{round(word.y * scale)}"/>'
        f'<a:ext cx="{round(word.width * scale)}" cy="{height}"/></a:xfrm>'
        '<a:prstGeom prst="rect"><a:avLst/></a:prstGeom><a:noFill/><a:ln><a:noFill/></a:ln></xdr:spPr>'
        '<xdr:txBody><a:bodyPr wrap="square" lIns="0" tIns="0" rIns="0" bIns="0" anchor="t"/><a:lstStyle/><a:p>'
        f'<a:r><a:rPr lang="en-GB" sz="{round(100 * word.size)}"><a:solidFill><a:srgbClr val="{INK}"/></a:solidFill>'
        f'<a:latin typeface="{FACE}"/></a:rPr><a:t>{_plain(word.text)}</a:t></a:r></a:p></xdr:txBody></xdr:sp>'
    )


def with_drawings(content: bytes, drawings: Mapping[int, Sequence[Placed]]) -> bytes:
    """A workbook file with drawings put on sheets that have neither links nor tables; keys are sheet numbers from 1."""
    if not drawings:
        return content
    with zipfile.ZipFile(io.BytesIO(content)) as source, Packing() as out:
        for entry in source.infolist():
            text = source.read(entry)
            found = re.fullmatch(r"xl/worksheets/sheet(\d+)\.xml", entry.filename)
            if found and int(found[1]) in drawings:
                text = _pointing(text)
            elif entry.filename == "[Content_Types].xml":
                parts = "".join(_override(number) for number in sorted(drawings))
                text = text.replace(b"</Types>", parts.encode() + b"</Types>")
            out.add(entry.filename, [text])
        for number in sorted(drawings):
            out.add(f"xl/worksheets/_rels/sheet{number}.xml.rels", [_link(number).encode()])
            out.add(f"xl/drawings/drawing{number}.xml", [drawing_part(drawings[number]).encode()])
    return out.content()


def _pointing(sheet: bytes) -> bytes:
    """The sheet part with its pointer to the drawing, which stands last in a sheet without tables."""
    pointer = f'<drawing xmlns:r="{LINKS}" r:id="rIdDrawing"/></worksheet>'
    return sheet.replace(b"</worksheet>", pointer.encode())


def _override(number: int) -> str:
    return f'<Override PartName="/xl/drawings/drawing{number}.xml" ContentType="{DRAWING_TYPE}"/>'


def _link(number: int) -> str:
    return (
        '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
        f'<Relationships xmlns="{PACKAGE}"><Relationship Id="rIdDrawing" Type="{LINKS}/drawing" '
        f'Target="../drawings/drawing{number}.xml"/></Relationships>'
    )
