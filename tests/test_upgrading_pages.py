"""Sheets that an upgrade puts anew, Start and Summary: what a person put on them and round their cells stays."""

from __future__ import annotations

from pathlib import Path

import openpyxl
import pytest
from lxml import etree

from tests.support.first_version import first_log
from tests.support.kitchen_sink import DRAWING_PART, OFFICE, X14, XM, with_everything
from tests.support.office import Office
from tests.test_check import ROWS, clean
from tests.test_editing import MAIN, complaints
from tests.test_upgrading import write
from workbook_tools.layout import case_log
from workbook_tools.log.upgrading.log_upgrade import upgraded
from workbook_tools.xlsx.editing.appending import set_width
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit


def write_bytes(path: Path, content: bytes) -> Path:
    path.write_bytes(content)
    return path


def with_text_box(edit: WorkbookEdit, sheet: str, part: str) -> None:
    """A person's text box on a sheet; the first of those that the diary shows."""
    root = etree.fromstring(DRAWING_PART.encode())
    for anchor in root[1:]:
        root.remove(anchor)
    edit.package.add(part, etree.tostring(root), "application/vnd.openxmlformats-officedocument.drawing+xml")
    shown = etree.Element(f"{MAIN}drawing")
    shown.set(f"{{{OFFICE}}}id", edit.package.relate(edit.part_of(sheet), f"{OFFICE}/drawing", part))
    edit.rows(sheet).frame(change=True)
    edit.rows(sheet).place_in_order(shown)


def test_text_boxes_on_sheets_that_are_put_anew(tmp_path: Path, office: Office) -> None:
    """Of layout 1 and today's: the boxes are shown on the same sheets, and LibreOffice opens the file."""
    edit = WorkbookEdit(with_everything(first_log(clean(), ROWS)))
    with_text_box(edit, "Start", "xl/drawings/drawing50.xml")
    with_text_box(edit, "Summary", "xl/drawings/drawing51.xml")
    path = write_bytes(tmp_path / "log.xlsx", edit.content())
    new = write(tmp_path / "new.xlsx", upgraded(path, case_log()))
    after = WorkbookEdit(new.read_bytes())
    for sheet in ("Start", "Summary"):
        (drawing,) = [r.target for r in after.package.relations(after.part_of(sheet)) if r.kind == "drawing"]
        assert b"Ask about the spring inflow." in after.package.read(drawing)
        assert len(list(after.rows(sheet).frame().iter(f"{MAIN}drawing"))) == 1
    assert complaints(new.read_bytes(), tmp_path) == []
    assert office.values(new)["Start"]["A1"]


OWN_FRAME = {
    "conditionalFormatting": '<conditionalFormatting sqref="B6:B9"><cfRule type="expression" dxfId="0" priority="1">'
    "<formula>B6&gt;100</formula></cfRule></conditionalFormatting>",
    "hyperlinks": '<hyperlinks><hyperlink ref="R2" r:id="rIdOwn"/><hyperlink ref="R3" location="Sites!A1"/>'
    "</hyperlinks>",
    "headerFooter": "<headerFooter><oddFooter>&amp;LAlder Valley practice</oddFooter></headerFooter>",
    "rowBreaks": '<rowBreaks count="1" manualBreakCount="1"><brk id="40" max="16383" man="1"/></rowBreaks>',
    "extLst": f'''<extLst><ext xmlns:x14="{X14}" uri="{{05C60535-1F16-4fd2-B633-F4F36F0B64E0}}">\
<x14:sparklineGroups xmlns:xm="{XM}"><x14:sparklineGroup displayEmptyCellsAs="gap"><x14:sparklines><x14:sparkline>\
<xm:f>Losses!G6:G20</xm:f><xm:sqref>R5</xm:sqref></x14:sparkline></x14:sparklines></x14:sparklineGroup>\
</x14:sparklineGroups></ext></extLst>''',
}


def with_own_frame(edit: WorkbookEdit, sheet: str) -> None:
    """Notices, links, a footer, a page break, sparklines, a rule and a width of a person's own on one sheet."""
    rows, part = edit.rows(sheet), edit.part_of(sheet)
    frame = rows.frame(change=True)
    link = edit.package.relate(part, f"{OFFICE}/hyperlink", "https://alder-valley.invalid/", True)
    for name, text in OWN_FRAME.items():
        there = rows.child(name)
        if there is not None:
            frame.remove(there)
        opening = f'<x xmlns="{MAIN[1:-1]}" xmlns:r="{OFFICE}">'
        rows.place_in_order(etree.fromstring(f"{opening}{text.replace('rIdOwn', link)}</x>")[0])
    rule = etree.SubElement(rows.need("dataValidations"), f"{MAIN}dataValidation", type="whole", sqref="R7")
    etree.SubElement(rule, f"{MAIN}formula1").text = "12"
    for row, text in ((2, "our pages"), (3, "to the sites")):
        edit.put(sheet, row, 18, text)
    set_width(rows, 2, 31.0, False)


def coloured(path: Path, sheet: str, *places: str) -> None:
    """Fill cells with a colour, in a spreadsheet library that loses nothing which this file has."""
    book = openpyxl.load_workbook(path)
    for place in places:
        book[sheet][place].fill = openpyxl.styles.PatternFill("solid", fgColor="FFE8C547")
    book.save(path)


@pytest.mark.parametrize("saved_by", ["as typed", "LibreOffice"])
def test_what_a_person_put_round_the_cells_of_sheets_put_anew(saved_by: str, tmp_path: Path, office: Office) -> None:
    path = write_bytes(tmp_path / "log.xlsx", first_log(clean(), ROWS))
    coloured(path, "Summary", "A1", "B6", "R9")  # title, a figure, an empty cell: each means in layout 2 what it did
    coloured(path, "Start", "A2", "B13")  # B13 was how many sites there are, and is a heading in layout 2
    edit = WorkbookEdit(path.read_bytes())
    for sheet in ("Start", "Summary"):
        with_own_frame(edit, sheet)
    path.write_bytes(edit.content())
    if saved_by == "LibreOffice":
        path = office.convert(path, tmp_path / "saved.xlsx", "xlsx")
    done = upgraded(path, case_log())
    new = write(tmp_path / "new.xlsx", done)
    after = WorkbookEdit(new.read_bytes())
    for sheet in ("Start", "Summary"):
        rows = after.rows(sheet)
        text = etree.tostring(rows.frame()).decode()
        for word in ("B6&gt;100", "Alder Valley practice", "Losses!", 'id="40"'):
            assert word in text, (sheet, word)
        assert "x14:sparkline>" in text, sheet
        (link,) = [r for r in after.package.relations(after.part_of(sheet)) if r.kind == "hyperlink"]
        assert link.target == "https://alder-valley.invalid/"
        assert link.id in text
        assert [r.get("sqref") for r in rows.frame().iter(f"{MAIN}dataValidation")].count("R7") == 1
        widths = {int(c.get("min")): float(c.get("width")) for c in rows.frame().iter(f"{MAIN}col")}
        assert widths[2] == pytest.approx(31, abs=0.2)
    rules = list(after.rows("Summary").frame().iter(f"{MAIN}dataValidation"))
    assert len(rules) == len({r.get("sqref") for r in rules}) > 20
    with pytest.warns(UserWarning, match="Sparkline"):
        book = openpyxl.load_workbook(new)
    for sheet, place in (("Summary", "A1"), ("Summary", "B6"), ("Summary", "R9"), ("Start", "A2")):
        assert book[sheet][place].fill.fgColor.rgb == "FFE8C547", (sheet, place)
    assert [look for look in done.looks if "look of your own" in look] == [
        "Start!B13: had a look of your own; other words stand there now, in our look."
    ]
    theirs = complaints(path.read_bytes(), tmp_path)  # of the programs that coloured and saved the log
    assert set(complaints(new.read_bytes(), tmp_path)) <= set(theirs)
    assert office.values(new)["Start"]["A1"]
