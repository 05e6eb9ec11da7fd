"""A marked copy of a case log: every finding as a note on its cell, and all of them on a sheet of their own."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from lxml import etree

from workbook_tools.errors import EditError
from workbook_tools.layout.model import quoted
from workbook_tools.log.checking.log_check import CheckedLog, Finding
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.editing.parts import space
from workbook_tools.xlsx.editing.sheet_rows import place_of
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit
from workbook_tools.xlsx.opened import Opened
from workbook_tools.xlsx.saving.inputs import Seen
from workbook_tools.xlsx.saving.whole_file import save
from workbook_tools.xlsx.writing.cells import SheetCells, Strings, value_cell
from workbook_tools.xlsx.writing.package import new_frame, package
from workbook_tools.xlsx.writing.styles import Styles

SHEET = "Findings"
SAYS = "What the check found in this copy"
HEADINGS = ("Code", "What to do", "Place", "Column", "Why", "Value")
WIDTHS = (20, 10, 16, 22, 66, 20)
HEADING_ROW = 4
TO_DO = {"fault": "mend", "notice": "look at"}
CELL = re.compile(r"!\$?([A-Z]{1,3})\$?(\d+)$")
NOTE_LIMIT = 8_000  # characters; no cell has so many findings, but a value may be long


def annotate(log: Opened, checked: CheckedLog, out: Path, replace: bool = False) -> Path | None:
    """Write a marked copy of a log to `out`; the log itself is not touched.

    `log` is the file that was checked: findings of one state are not put on another.
    Answers the backup of a file that was replaced. Raises SaveError where `out` is the log itself or cannot be written.
    """
    return save(out, annotated(log.edit(), checked), replace, Seen(log))


def annotated(edit: WorkbookEdit, checked: CheckedLog) -> bytes:
    """The marked copy of a log as bytes: notes on cells, and the sheet Findings behind all others."""
    there = {name.casefold(): name for name in edit.sheet_names}
    placed: dict[tuple[str, int, int], list[Finding]] = {}
    for finding in checked.findings:
        if finding.sheet.casefold() in there:
            place = there[finding.sheet.casefold()], *_cell(finding)
            placed.setdefault(place, []).append(finding)
    left_alone = set()
    for (sheet, row, column), findings in placed.items():
        text = "\n".join(f"{finding.code}: {finding.reason}" for finding in findings)
        try:
            edit.remark(sheet, row, column, text[:NOTE_LIMIT])
        except EditError:  # a thread of comments is left alone; the sheet says so
            left_alone.add((sheet, row, column))
    _add_sheet(edit, checked.findings, there, left_alone)
    return edit.content()


def _cell(finding: Finding) -> tuple[int, int]:
    """Row and column of a finding; the first column for one of a whole row."""
    match = CELL.search(finding.cell)
    place = place_of(f"{match[1]}{match[2]}") if match else None
    return place or (finding.row, 1)


def _add_sheet(
    edit: WorkbookEdit,
    findings: Sequence[Finding],
    there: dict[str, str],
    left_alone: set[tuple[str, int, int]],
) -> None:
    name = free_sheet_name(edit, SHEET)
    edit.graft(_workbook(name, findings, left_alone), [name])
    rows = edit.rows(name)
    links = [
        (number, there[finding.sheet.casefold()], *_cell(finding))
        for number, finding in enumerate(findings, start=HEADING_ROW + 1)
        if finding.sheet.casefold() in there
    ]
    if not links:
        return
    group = rows.need("hyperlinks")
    for number, sheet, row, column in links:
        link = etree.SubElement(group, f"{{{space(group)}}}hyperlink")
        link.set("ref", f"C{number}")
        link.set("location", f"{quoted(sheet)}!{letter(column)}{row}")


def free_sheet_name(edit: WorkbookEdit, wanted: str) -> str:
    """The name, or the name with the first number that makes it one that no sheet has."""
    taken = {name.casefold() for name in edit.sheet_names}
    name, number = wanted, 2
    while name.casefold() in taken:
        name, number = f"{wanted} {number}", number + 1
    return name


def _workbook(name: str, findings: Sequence[Finding], left_alone: set[tuple[str, int, int]]) -> bytes:
    """A workbook of the one sheet that lists the findings."""
    frame = new_frame(name)
    sheet = frame.worksheets[0]
    sheet.title = name
    for number, width in enumerate(WIDTHS, start=1):
        sheet.column_dimensions[letter(number)].width = width
    sheet.freeze_panes = f"A{HEADING_ROW + 1}"
    sheet.print_title_rows = f"{HEADING_ROW}:{HEADING_ROW}"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.sheet_view.showGridLines = False
    if findings:
        sheet.auto_filter.ref = f"A{HEADING_ROW}:{letter(len(HEADINGS))}{HEADING_ROW + len(findings)}"
    styles, strings = Styles(frame), Strings()
    cells = SheetCells()

    def put(row: int, column: int, text: str, role: str) -> None:
        style = styles.number(role, "@" if role.startswith("listed") else "General")
        cells.put(row, column, value_cell(f"{letter(column)}{row}", style, text, strings))

    put(1, 1, name, "title")
    cells.heights[1] = 24
    faults = sum(finding.severity == "fault" for finding in findings)
    count = f"{faults} to mend, {len(findings) - faults} to look at." if findings else "Nothing to mend."
    put(2, 1, f"{SAYS}; the same stands as a note on each cell. {count}", "purpose")
    for column, heading in enumerate(HEADINGS, start=1):
        put(HEADING_ROW, column, heading, "head_typed")
    for row, finding in enumerate(findings, start=HEADING_ROW + 1):
        alone = (finding.sheet, *_cell(finding)) in left_alone
        reason = finding.reason + (" (No note: a thread of comments stands there.)" if alone else "")
        shown = "" if finding.value is None else finding.shown
        place = finding.cell or f"{finding.sheet} row {finding.row}"
        texts = (finding.code, TO_DO[finding.severity], place, finding.column, reason, shown)
        for column, text in enumerate(texts, start=1):
            put(row, column, text, "listed_wrapped")
        lines = 1 + max(int(1.15 * len(text) / width) for text, width in zip(texts, WIDTHS, strict=True))
        cells.heights[row] = 12.5 * lines + 2
    return package(frame, {name: cells}, strings)
