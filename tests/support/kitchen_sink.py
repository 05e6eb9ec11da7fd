"""A case log to which a person has added about everything a spreadsheet program offers, written part by part.

On the sheet Sites a column of the person's own, merged cells, a rule of their own and one in an extension; on Baths a
note, a thread of comments and printer settings; on their own sheet Pond diary a text box, a picture, a chart, a slicer
with its cache, sparklines and a choice from another sheet; a text in two formats among the shared ones; custom XML.
"""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from collections.abc import Mapping

OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
DRAWING = "http://schemas.openxmlformats.org/drawingml/2006"
X14 = "http://schemas.microsoft.com/office/spreadsheetml/2009/9/main"
X15 = "http://schemas.microsoft.com/office/spreadsheetml/2010/11/main"
XM = "http://schemas.microsoft.com/office/excel/2006/main"
THREADS = "http://schemas.microsoft.com/office/spreadsheetml/2018/threadedcomments"
HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
PERSON, THREAD = "{6E1C9B7A-3A55-4B6E-9A55-0C7E60A1D001}", "{6E1C9B7A-3A55-4B6E-9A55-0C7E60A1D002}"
DIARY = "Pond diary"


def picture() -> bytes:
    """A picture of four pixels."""

    def chunk(kind: bytes, content: bytes) -> bytes:
        return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))

    head = struct.pack(">IIBBBBB", 2, 2, 8, 2, 0, 0, 0)
    rows = b"".join(b"\0" + bytes(colour) * 2 for colour in ((40, 80, 90), (230, 240, 242)))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")


def relations(*links: tuple[str, str, str]) -> str:
    """A list of relations: id, kind with its address, target."""
    items = "".join(f'<Relationship Id="{i}" Type="{kind}" Target="{target}"/>' for i, kind, target in links)
    return f'{HEAD}<Relationships xmlns="{RELATIONS}">{items}</Relationships>'


DIARY_SHEET = f"""{HEAD}<worksheet xmlns="{MAIN}" xmlns:r="{OFFICE}" \
xmlns:mc="http://schemas.openxmlformats.org/markup-compatibility/2006" mc:Ignorable="x14ac" \
xmlns:x14ac="http://schemas.microsoft.com/office/spreadsheetml/2009/9/ac">\
<dimension ref="A1:D6"/><sheetViews><sheetView workbookViewId="0"/></sheetViews>\
<sheetFormatPr defaultRowHeight="15" x14ac:dyDescent="0.25"/><sheetData>\
<row r="1" spans="1:4" x14ac:dyDescent="0.25"><c r="A1" t="inlineStr"><is><r>\
<t xml:space="preserve">Pond </t></r><r><rPr><b/></rPr>\
<t>diary</t></r></is></c><c r="D1" t="s"><v>RICH</v></c></row>\
<row r="2"><c r="A2"><v>1.5</v></c><c r="B2"><v>2</v></c><c r="C2"><f>SUM(A2:B2)</f><v>3.5</v></c></row>\
<row r="3"><c r="A3"><v>2.5</v></c><c r="B3"><v>1</v></c><c r="C3">\
<f t="array" ref="C3:C4">A3:A4*2</f><v>5</v></c></row>\
<row r="4"><c r="A4"><v>4</v></c><c r="B4" t="b"><v>1</v></c><c r="C4"><v>8</v></c></row>\
<row r="6"><c r="A6" t="e"><v>#N/A</v></c></row></sheetData>\
<pageMargins left="0.7" right="0.7" top="0.75" bottom="0.75" header="0.3" footer="0.3"/>\
<drawing r:id="rId1"/><extLst>\
<ext xmlns:x14="{X14}" uri="{{CCE6A557-97BC-4b89-ADB6-D9C93CAAB3DF}}"><x14:dataValidations xmlns:xm="{XM}" count="1">\
<x14:dataValidation type="list" allowBlank="1" showErrorMessage="1"><x14:formula1><xm:f>Sites!$A$6:$A$9</xm:f>\
</x14:formula1><xm:sqref>D2:D6</xm:sqref></x14:dataValidation></x14:dataValidations></ext>\
<ext xmlns:x14="{X14}" uri="{{05C60535-1F16-4fd2-B633-F4F36F0B64E0}}"><x14:sparklineGroups xmlns:xm="{XM}">\
<x14:sparklineGroup displayEmptyCellsAs="gap"><x14:colorSeries rgb="FF24505A"/><x14:sparklines><x14:sparkline>\
<xm:f>'{DIARY}'!A2:B2</xm:f><xm:sqref>E2</xm:sqref></x14:sparkline></x14:sparklines></x14:sparklineGroup>\
</x14:sparklineGroups></ext>\
<ext xmlns:x15="{X15}" uri="{{3A4CF648-6AED-40f4-86FF-DC5316D8AED3}}"><x14:slicerList xmlns:x14="{X14}">\
<x14:slicer r:id="rId2"/></x14:slicerList></ext></extLst></worksheet>"""

ANCHOR = """<xdr:twoCellAnchor><xdr:from><xdr:col>{0}</xdr:col><xdr:colOff>0</xdr:colOff><xdr:row>8</xdr:row>\
<xdr:rowOff>0</xdr:rowOff></xdr:from><xdr:to><xdr:col>{1}</xdr:col><xdr:colOff>0</xdr:colOff><xdr:row>16</xdr:row>\
<xdr:rowOff>0</xdr:rowOff></xdr:to>{2}<xdr:clientData/></xdr:twoCellAnchor>"""
PLACE = '<a:xfrm><a:off x="0" y="0"/><a:ext cx="900000" cy="900000"/></a:xfrm>'
RECTANGLE = '<a:prstGeom prst="rect"><a:avLst/></a:prstGeom>'
TEXT_BOX = f"""<xdr:sp macro="" textlink=""><xdr:nvSpPr><xdr:cNvPr id="2" name="Box 1"/><xdr:cNvSpPr txBox="1"/>\
</xdr:nvSpPr><xdr:spPr>{PLACE}{RECTANGLE}</xdr:spPr><xdr:txBody><a:bodyPr/><a:p><a:r><a:rPr lang="en-GB"/>\
<a:t>Ask about the spring inflow.</a:t></a:r></a:p></xdr:txBody></xdr:sp>"""
PICTURE = f"""<xdr:pic><xdr:nvPicPr><xdr:cNvPr id="3" name="Picture 2"/><xdr:cNvPicPr/></xdr:nvPicPr><xdr:blipFill>\
<a:blip r:embed="rId1"/><a:stretch><a:fillRect/></a:stretch></xdr:blipFill><xdr:spPr>{PLACE}{RECTANGLE}</xdr:spPr>\
</xdr:pic>"""
CHART_FRAME = f"""<xdr:graphicFrame macro=""><xdr:nvGraphicFramePr><xdr:cNvPr id="4" name="Chart 3"/>\
<xdr:cNvGraphicFramePr/></xdr:nvGraphicFramePr><xdr:xfrm><a:off x="0" y="0"/><a:ext cx="0" cy="0"/></xdr:xfrm>\
<a:graphic><a:graphicData uri="{DRAWING}/chart"><c:chart xmlns:c="{DRAWING}/chart" r:id="rId2"/></a:graphicData>\
</a:graphic></xdr:graphicFrame>"""
SLICER_FRAME = f"""<mc:AlternateContent xmlns:mc="http://schemas.openxmlformats.org/markup-compatibility/2006">\
<mc:Choice xmlns:sle15="http://schemas.microsoft.com/office/drawing/2012/slicer" Requires="sle15">\
<xdr:graphicFrame macro=""><xdr:nvGraphicFramePr><xdr:cNvPr id="5" name="Kind of site"/><xdr:cNvGraphicFramePr/>\
</xdr:nvGraphicFramePr><xdr:xfrm><a:off x="0" y="0"/><a:ext cx="0" cy="0"/></xdr:xfrm><a:graphic>\
<a:graphicData uri="http://schemas.microsoft.com/office/drawing/2010/slicer">\
<sle:slicer xmlns:sle="http://schemas.microsoft.com/office/drawing/2010/slicer" name="Kind of site"/></a:graphicData>\
</a:graphic></xdr:graphicFrame></mc:Choice><mc:Fallback><xdr:sp macro="" textlink=""><xdr:nvSpPr>\
<xdr:cNvPr id="0" name=""/><xdr:cNvSpPr/></xdr:nvSpPr><xdr:spPr>{PLACE}{RECTANGLE}</xdr:spPr></xdr:sp></mc:Fallback>\
</mc:AlternateContent>"""
DRAWING_PART = (
    f'{HEAD}<xdr:wsDr xmlns:xdr="{DRAWING}/spreadsheetDrawing" xmlns:a="{DRAWING}/main" xmlns:r="{OFFICE}">'
    + "".join(
        ANCHOR.format(3 * number, 3 * number + 2, shape)
        for number, shape in enumerate((TEXT_BOX, PICTURE, CHART_FRAME, SLICER_FRAME))
    )
    + "</xdr:wsDr>"
)
CHART = f"""{HEAD}<c:chartSpace xmlns:c="{DRAWING}/chart" xmlns:a="{DRAWING}/main" xmlns:r="{OFFICE}"><c:chart>\
<c:plotArea><c:layout/><c:barChart><c:barDir val="col"/><c:grouping val="clustered"/><c:varyColors val="0"/><c:ser>\
<c:idx val="0"/><c:order val="0"/><c:val><c:numRef><c:f>'{DIARY}'!$A$2:$A$4</c:f></c:numRef></c:val></c:ser>\
<c:axId val="1"/><c:axId val="2"/></c:barChart><c:catAx><c:axId val="1"/><c:scaling/><c:delete val="0"/>\
<c:axPos val="b"/><c:crossAx val="2"/></c:catAx><c:valAx><c:axId val="2"/><c:scaling/><c:delete val="0"/>\
<c:axPos val="l"/><c:crossAx val="1"/></c:valAx></c:plotArea><c:plotVisOnly val="1"/></c:chart></c:chartSpace>"""
SLICER = f"""{HEAD}<slicers xmlns="{X14}"><slicer name="Kind of site" cache="Slicer_Kind_of_site" \
caption="Kind of site" rowHeight="225425"/></slicers>"""
SLICER_CACHE = f"""{HEAD}<slicerCacheDefinition xmlns="{X14}" xmlns:x="{MAIN}" name="Slicer_Kind_of_site" \
sourceName="Kind of site"><extLst><x:ext xmlns:x15="{X15}" uri="{{2F2917AC-EB37-4324-AD4E-5DD8C200BD13}}">\
<x15:tableSlicerCache tableId="1" column="3"/></x:ext></extLst></slicerCacheDefinition>"""
COMMENTS = f"""{HEAD}<comments xmlns="{MAIN}"><authors><author>the vet</author><author>tc={THREAD}</author></authors>\
<commentList><comment ref="A6" authorId="0"><text><r><rPr><b/></rPr><t>Lid was cracked.</t></r></text></comment>\
<comment ref="B6" authorId="1"><text><t>[Threaded comment] Weigh again?</t></text></comment></commentList></comments>"""
NOTE_SHAPE = """<v:shape id="_x0000_s{0}" type="#_x0000_t202" style="position:absolute;visibility:hidden" \
fillcolor="#ffffe1"><v:fill color2="#ffffe1"/><x:ClientData ObjectType="Note"><x:Anchor>1, 15, 2, 10, 3, 15, 6, 4\
</x:Anchor><x:Row>5</x:Row><x:Column>{1}</x:Column></x:ClientData></v:shape>"""
NOTES_DRAWING = f"""<xml xmlns:v="urn:schemas-microsoft-com:vml" xmlns:o="urn:schemas-microsoft-com:office:office" \
xmlns:x="urn:schemas-microsoft-com:office:excel"><o:shapelayout v:ext="edit"><o:idmap v:ext="edit" data="7"/>\
</o:shapelayout><v:shapetype id="_x0000_t202" coordsize="21600,21600" o:spt="202" path="m,l,21600r21600,l21600,xe"/>\
{NOTE_SHAPE.format(7169, 0)}{NOTE_SHAPE.format(7170, 1)}</xml>"""
THREAD_PART = f"""{HEAD}<ThreadedComments xmlns="{THREADS}"><threadedComment ref="B6" dT="2026-03-02T10:00:00.00" \
personId="{PERSON}" id="{THREAD}"><text>Weigh again?</text></threadedComment></ThreadedComments>"""
PERSONS = f"""{HEAD}<personList xmlns="{THREADS}"><person displayName="the vet" id="{PERSON}" userId="vet" \
providerId="None"/></personList>"""
SITES_EXTENSION = f"""<extLst><ext xmlns:x14="{X14}" uri="{{CCE6A557-97BC-4b89-ADB6-D9C93CAAB3DF}}">\
<x14:dataValidations xmlns:xm="{XM}" count="1"><x14:dataValidation type="list" allowBlank="1"><x14:formula1>\
<xm:f>'{DIARY}'!$A$2:$A$4</xm:f></x14:formula1><xm:sqref>CELLS</xm:sqref></x14:dataValidation>\
</x14:dataValidations></ext></extLst>"""
RICH_TEXT = '<si><r><t>kept </t></r><r><rPr><i/><sz val="11"/></rPr><t xml:space="preserve"> as typed</t></r></si>'
TYPES: Mapping[str, str] = {
    "xl/worksheets/sheet99.xml": "application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml",
    "xl/drawings/drawing1.xml": "application/vnd.openxmlformats-officedocument.drawing+xml",
    "xl/charts/chart1.xml": "application/vnd.openxmlformats-officedocument.drawingml.chart+xml",
    "xl/slicers/slicer1.xml": "application/vnd.ms-excel.slicer+xml",
    "xl/slicerCaches/slicerCache1.xml": "application/vnd.ms-excel.slicerCache+xml",
    "xl/comments1.xml": "application/vnd.openxmlformats-officedocument.spreadsheetml.comments+xml",
    "xl/threadedComments/threadedComment1.xml": "application/vnd.ms-excel.threadedcomments+xml",
    "xl/persons/person.xml": "application/vnd.ms-excel.person+xml",
    "customXml/itemProps1.xml": "application/vnd.openxmlformats-officedocument.customXmlProperties+xml",
}
DEFAULTS = {
    "png": "image/png",
    "vml": "application/vnd.openxmlformats-officedocument.vmlDrawing",
    "bin": "application/vnd.openxmlformats-officedocument.spreadsheetml.printerSettings",
}
NEW_PARTS: Mapping[str, str | bytes] = {
    "xl/worksheets/_rels/sheet99.xml.rels": relations(
        ("rId1", f"{OFFICE}/drawing", "../drawings/drawing1.xml"),
        ("rId2", "http://schemas.microsoft.com/office/2007/relationships/slicer", "../slicers/slicer1.xml"),
    ),
    "xl/drawings/drawing1.xml": DRAWING_PART,
    "xl/drawings/_rels/drawing1.xml.rels": relations(
        ("rId1", f"{OFFICE}/image", "../media/image1.png"), ("rId2", f"{OFFICE}/chart", "../charts/chart1.xml")
    ),
    "xl/media/image1.png": picture(),
    "xl/charts/chart1.xml": CHART,
    "xl/slicers/slicer1.xml": SLICER,
    "xl/slicerCaches/slicerCache1.xml": SLICER_CACHE,
    "xl/comments1.xml": COMMENTS,
    "xl/drawings/vmlDrawing1.vml": NOTES_DRAWING,
    "xl/threadedComments/threadedComment1.xml": THREAD_PART,
    "xl/persons/person.xml": PERSONS,
    "xl/printerSettings/printerSettings1.bin": bytes(range(256)),
    "customXml/item1.xml": '<visits xmlns="urn:invented:visits"><next>2026-06-01</next></visits>',
    "customXml/_rels/item1.xml.rels": relations(("rId1", f"{OFFICE}/customXmlProps", "itemProps1.xml")),
    "customXml/itemProps1.xml": (
        f'{HEAD}<ds:datastoreItem xmlns:ds="{OFFICE.rsplit("/", 1)[0]}/customXml" '
        'ds:itemID="{6E1C9B7A-3A55-4B6E-9A55-0C7E60A1D003}"><ds:schemaRefs/></ds:datastoreItem>'
    ),
    "xl/calcChain.xml": f'{HEAD}<calcChain xmlns="{MAIN}"><c r="C2" i="99"/></calcChain>',
}


def with_everything(log: bytes, sites_part: str = "sheet2", baths_part: str = "sheet7") -> bytes:
    """A case log that this project built, with a person's additions."""
    with zipfile.ZipFile(io.BytesIO(log)) as archive:
        parts: dict[str, bytes] = {name: archive.read(name) for name in archive.namelist()}
    edit = _Texts(parts)
    edit.after("[Content_Types].xml", "<Default", _types())
    edit.before("xl/sharedStrings.xml", "</sst>", RICH_TEXT)
    rich = parts["xl/sharedStrings.xml"].count(b"<si>") - 1
    _workbook(edit)
    _baths(edit, f"xl/worksheets/{baths_part}.xml")
    _sites(edit, f"xl/worksheets/{sites_part}.xml")
    parts["xl/worksheets/sheet99.xml"] = DIARY_SHEET.replace("RICH", str(rich)).encode()
    parts |= {name: part if isinstance(part, bytes) else part.encode() for name, part in NEW_PARTS.items()}
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as out:
        for name, part in parts.items():
            out.writestr(zipfile.ZipInfo(name, (2026, 3, 2, 10, 0, 0)), part, zipfile.ZIP_DEFLATED)
    return target.getvalue()


class _Texts:
    """Puts texts into parts; what is looked for must be there."""

    def __init__(self, parts: dict[str, bytes]) -> None:
        self.parts = parts

    def replace(self, part: str, old: str, new: str) -> None:
        assert old.encode() in self.parts[part], (part, old)
        self.parts[part] = self.parts[part].replace(old.encode(), new.encode(), 1)

    def before(self, part: str, mark: str, text: str) -> None:
        self.replace(part, mark, text + mark)

    def after(self, part: str, mark: str, text: str) -> None:
        """In front of the first mark, which starts a list."""
        self.before(part, mark, text)


def _types() -> str:
    calc = "application/vnd.openxmlformats-officedocument.spreadsheetml.calcChain+xml"
    defaults = "".join(f'<Default Extension="{end}" ContentType="{kind}"/>' for end, kind in DEFAULTS.items())
    types = {**TYPES, "xl/calcChain.xml": calc}
    return defaults + "".join(f'<Override PartName="/{n}" ContentType="{kind}"/>' for n, kind in types.items())


def _workbook(edit: _Texts) -> None:
    edit.before("xl/workbook.xml", "</sheets>", f'<sheet xmlns:r="{OFFICE}" name="{DIARY}" sheetId="99" r:id="rIdD"/>')
    edit.before("xl/workbook.xml", "</definedNames>", '<definedName name="Slicer_Kind_of_site">#N/A</definedName>')
    extension = (
        f'<extLst><ext xmlns:x15="{X15}" uri="{{46BE6895-7355-4a93-B00E-2C351335B9C9}}"><x15:slicerCaches '
        f'xmlns:x14="{X14}"><x14:slicerCache xmlns:r="{OFFICE}" r:id="rIdC"/></x15:slicerCaches></ext></extLst>'
    )
    edit.before("xl/workbook.xml", "</workbook>", extension)
    links = (
        ("rIdD", f"{OFFICE}/worksheet", "worksheets/sheet99.xml"),
        ("rIdC", "http://schemas.microsoft.com/office/2007/relationships/slicerCache", "slicerCaches/slicerCache1.xml"),
        ("rIdP", "http://schemas.microsoft.com/office/2017/10/relationships/person", "persons/person.xml"),
        ("rIdX", f"{OFFICE}/customXml", "../customXml/item1.xml"),
        ("rIdK", f"{OFFICE}/calcChain", "calcChain.xml"),
    )
    items = "".join(f'<Relationship Id="{i}" Type="{kind}" Target="{target}"/>' for i, kind, target in links)
    edit.before("xl/_rels/workbook.xml.rels", "</Relationships>", items)


def _baths(edit: _Texts, part: str) -> None:
    """A note, a thread of comments, printer settings."""
    edit.before(part, "<tableParts", f'<legacyDrawing xmlns:r="{OFFICE}" r:id="rIdV"/>')
    edit.replace(part, "<pageSetup ", f'<pageSetup xmlns:r="{OFFICE}" r:id="rIdS" ')
    links = (
        ("rIdV", f"{OFFICE}/vmlDrawing", "../drawings/vmlDrawing1.vml"),
        ("rIdN", f"{OFFICE}/comments", "../comments1.xml"),
        (
            "rIdT",
            "http://schemas.microsoft.com/office/2017/10/relationships/threadedComment",
            "../threadedComments/threadedComment1.xml",
        ),
        ("rIdS", f"{OFFICE}/printerSettings", "../printerSettings/printerSettings1.bin"),
    )
    items = "".join(f'<Relationship Id="{i}" Type="{kind}" Target="{target}"/>' for i, kind, target in links)
    edit.before(part.replace("worksheets/", "worksheets/_rels/") + ".rels", "</Relationships>", items)


def _sites(edit: _Texts, part: str) -> None:
    """A column of the person's own at the end of the table, and a choice in an extension."""
    from workbook_tools.xlsx.addresses import letter

    table = edit.parts["xl/tables/table1.xml"].decode()
    columns = table.count("<tableColumn ")
    old, new = letter(columns), letter(columns + 1)
    last = table.split(f":{old}", 1)[1].split('"', 1)[0]
    edit.parts["xl/tables/table1.xml"] = (
        table.replace(f":{old}{last}", f":{new}{last}")
        .replace(f'count="{columns}"', f'count="{columns + 1}"')
        .replace("</tableColumns>", f'<tableColumn id="{columns + 1}" name="Colour of gate"/></tableColumns>')
        .encode()
    )
    for row, text in ((5, "Colour of gate"), (6, "green &amp; white")):
        before, mark, after = edit.parts[part].decode().partition(f'<row r="{row}"')
        cells, end, rest = after.partition("</row>")
        cell = f'<c r="{new}{row}" t="inlineStr"><is><t>{text}</t></is></c>'
        edit.parts[part] = (before + mark + cells + cell + end + rest).encode()
    edit.before(part, "</worksheet>", SITES_EXTENSION.replace("CELLS", f"{new}6:{new}{last}"))
