"""The smallest .xlsx that holds given cells, written by hand.

Writing libraries round numbers to 16 digits; here every number keeps all its digits, and a text stays a text whatever
it begins with. The formulas are stored exactly as given, without results.
"""

from __future__ import annotations

import datetime
import math
import re
import zipfile
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

from openpyxl.utils import column_index_from_string
from openpyxl.utils.datetime import to_excel

SHEET = "Sheet1"

CONTENT_TYPES = """<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">
<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>
<Override PartName="/xl/workbook.xml"
 ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>
<Override PartName="/xl/worksheets/sheet1.xml"
 ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>"""
RELATIONS = """<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
<Relationship Id="rId1" Target="{target}"
 Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/{kind}"/></Relationships>"""
WORKBOOK = f"""<workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"
 xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships">
<sheets><sheet name="{SHEET}" sheetId="1" r:id="rId1"/></sheets></workbook>"""
WORKSHEET = """<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">
<sheetData>{rows}</sheetData></worksheet>"""


@dataclass(frozen=True)
class Formula:
    """A formula in Excel's English spelling, with or without its equals sign; `block` makes it an array formula."""

    text: str
    block: str | None = None

    @property
    def stored(self) -> str:
        """The text as a workbook stores it."""
        return self.text.removeprefix("=")


CellContent = float | str | bool | datetime.date | datetime.time | datetime.timedelta | Formula | None


def write(path: Path, cells: Mapping[str, CellContent]) -> None:
    """Write cells, by address such as "B7", to a workbook with the one sheet `SHEET`; None leaves the cell empty."""
    rows: dict[int, dict[int, str]] = defaultdict(dict)
    for address, content in cells.items():
        if content is not None:
            row, column = _place(address)
            rows[row][column] = _cell(address, content)
    lines = (
        f'<row r="{row}">{"".join(rows[row][column] for column in sorted(rows[row]))}</row>' for row in sorted(rows)
    )
    parts = {
        "[Content_Types].xml": CONTENT_TYPES,
        "_rels/.rels": RELATIONS.format(target="xl/workbook.xml", kind="officeDocument"),
        "xl/workbook.xml": WORKBOOK,
        "xl/_rels/workbook.xml.rels": RELATIONS.format(target="worksheets/sheet1.xml", kind="worksheet"),
        "xl/worksheets/sheet1.xml": WORKSHEET.format(rows="".join(lines)),
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        for name, text in parts.items():
            package.writestr(name, '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n' + text)


def _place(address: str) -> tuple[int, int]:
    """Row and column, counted from 1."""
    match = re.fullmatch(r"([A-Z]{1,3})([1-9][0-9]*)", address)
    if match is None:
        raise ValueError(f"{address!r} is no cell address such as B7")
    return int(match[2]), column_index_from_string(match[1])


def _cell(address: str, content: CellContent) -> str:
    """One cell's element."""
    if isinstance(content, Formula):
        block = f' t="array" ref={quoteattr(content.block)}' if content.block else ""
        return f'<c r="{address}"><f{block}>{escape(content.stored)}</f></c>'
    if isinstance(content, bool):
        return f'<c r="{address}" t="b"><v>{int(content)}</v></c>'
    if isinstance(content, str):
        return f'<c r="{address}" t="inlineStr"><is><t xml:space="preserve">{escape(content)}</t></is></c>'
    number = content if isinstance(content, (int, float)) else to_excel(content)
    if not math.isfinite(number):
        raise ValueError(f"{address}: a cell cannot hold {number}")
    return f'<c r="{address}"><v>{number!r}</v></c>'
