"""The sheet on which a log keeps the conflicts of its merges: one line for each cell, none of them twice."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.layout import Layout
from workbook_tools.layout.load import FORMATS
from workbook_tools.layout.model import Column
from workbook_tools.log.checking.reading import typed_value
from workbook_tools.log.merging.matching import alike, alike_id
from workbook_tools.log.merging.merged import REASONS, Conflict
from workbook_tools.log.merging.recomputing import RawCells
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit
from workbook_tools.xlsx.writing.cells import SheetCells, Strings, value_cell
from workbook_tools.xlsx.writing.package import new_frame, package
from workbook_tools.xlsx.writing.styles import Styles

NAME = "Merge conflicts"
PURPOSE = "What copies of this log have that the log does not: nothing here was merged."
ADVICE = (
    "Decide each line and type the right value on its sheet. A line that stays here is not listed again; one that was "
    "deleted comes back if the copy is merged again and still differs."
)
HEADINGS = (*("Found on", "File", "Sheet", "Row id", "Row in file", "Column", "The log keeps", "The copy has", "Why"),)
WIDTHS = (17, 20, 12, 11, 8, 18, 18, 18, 28)  # together a page across, legible in landscape
HEADING_ROW = 5
UNSURE = ("no-id", "id-doubled")  # rows that only their place in the file tells apart
LOOK = "listed_wrapped"
MOMENT = "yyyy-mm-dd hh:mm"
SHOWN_FORMATS = (FORMATS["date"], FORMATS["time"], FORMATS["elapsed"])
Key = tuple[object, ...]


@dataclass(frozen=True)
class Listed:
    """The sheet as a log has it: its name, which column holds what, its last line, and the conflicts on it."""

    name: str
    columns: dict[str, int]
    last_row: int
    keys: frozenset[Key]


def listed(raw: RawCells, names: Sequence[str], layout: Layout) -> Listed | None:
    """The conflicts that a workbook lists already; None where it has no such sheet."""
    for name in names:
        if not name.casefold().startswith(NAME.casefold()):
            continue
        rows = raw.sheet(name)
        for number, cells in enumerate(rows, start=1):
            texts = [str(cell).strip().casefold() for cell in cells]
            if all(heading.casefold() in texts for heading in HEADINGS):
                columns = {heading: texts.index(heading.casefold()) + 1 for heading in HEADINGS}
                lines = [[_at(row, columns[h]) for h in HEADINGS] for row in rows[number:]]
                keys = frozenset(_key_of_line(line, layout) for line in lines if any(v is not None for v in line))
                used = [n for n, row in enumerate(rows, start=1) if any(typed_value(v) is not None for v in row)]
                return Listed(name, columns, max([number, *used]), keys)
    return None


def _at(row: Sequence[Any], column: int) -> Any:
    return typed_value(row[column - 1]) if column <= len(row) else None


def conflict_key(conflict: Conflict, layout: Layout) -> Key:
    """What makes two conflicts the same; when it was found is no part of it."""
    column = layout.tables[conflict.table].by_key[conflict.key]
    row = conflict.row if conflict.reason in UNSURE else None
    name = Path(conflict.file).name
    values = alike(column, conflict.kept), alike(column, conflict.other)
    return name, conflict.sheet, alike_id(conflict.id), row, conflict.column, *values, REASONS[conflict.reason]


def _key_of_line(line: Sequence[Any], layout: Layout) -> Key:
    _, name, sheet, identity, row, heading, kept, other, why = line
    found = [c for t in layout.tables.values() if t.sheet == sheet for c in t.columns if c.heading == heading]
    column = found[0] if found else Column("", "", "text")
    unsure = why in [REASONS[reason] for reason in UNSURE]
    number = int(row) if unsure and isinstance(row, int | float) else None
    return name, sheet, alike_id(identity), number, heading, alike(column, kept), alike(column, other), why


def add_conflicts(
    edit: WorkbookEdit,
    there: Listed | None,
    conflicts: Sequence[Conflict],
    layout: Layout,
    moment: datetime.datetime,
) -> int:
    """List conflicts in a log's file; how many are new. The sheet is made for the first one."""
    known = there.keys if there else frozenset()
    new = list({key: c for c in conflicts if (key := conflict_key(c, layout)) not in known}.values())
    if not new:
        return 0
    if there is None:
        name = _free_name(edit.sheet_names)
        content, _ = _workbook(name, new, moment)
        edit.graft(content, [name])
        return len(new)
    content, styles = _workbook(NAME, new, moment)
    numbers = edit.styles_from(content)
    for row, conflict in enumerate(new, start=there.last_row + 1):
        for heading, (value, shape) in zip(HEADINGS, _line(conflict, moment), strict=True):
            column = there.columns[heading]
            edit.put(there.name, row, column, value)
            edit.rows(there.name).edit_cell(row, column).set("s", str(numbers[styles.number(LOOK, shape)]))
    return len(new)


def _free_name(names: Sequence[str]) -> str:
    taken = {name.casefold() for name in names}
    name, number = NAME, 1
    while name.casefold() in taken:
        number += 1
        name = f"{NAME} ({number})"
    return name


def _line(conflict: Conflict, moment: datetime.datetime) -> list[tuple[object, str]]:
    """Value and number format of each cell of a line."""

    def shown(value: Any) -> tuple[object, str]:
        number = isinstance(value, int | float) and not isinstance(value, bool)
        form = conflict.format if number and conflict.format in SHOWN_FORMATS else "General" if number else "@"
        return value, form

    texts = FORMATS["general"]  # words stand off the number before them
    return [
        (serial(moment.replace(second=0, microsecond=0)), MOMENT),
        (Path(conflict.file).name, texts),
        (conflict.sheet, texts),
        (conflict.id, texts),
        (conflict.row, "0"),
        (conflict.column, texts),
        shown(conflict.kept),
        shown(conflict.other),
        (REASONS[conflict.reason], texts),
    ]


def _workbook(name: str, conflicts: Sequence[Conflict], moment: datetime.datetime) -> tuple[bytes, Styles]:
    """A workbook of the one sheet, and its styles."""
    frame = new_frame(NAME)
    sheet = frame.worksheets[0]
    sheet.title = name
    styles, strings, cells = Styles(frame), Strings(), SheetCells()

    def put(row: int, column: int, value: object, role: str, shape: str = "General") -> None:
        cells.put(row, column, value_cell(f"{letter(column)}{row}", styles.number(role, shape), value, strings))

    for row, (text, role) in enumerate(((NAME, "title"), (PURPOSE, "purpose"), (ADVICE, "purpose")), start=1):
        put(row, 1, text, role)
    for column, (heading, width) in enumerate(zip(HEADINGS, WIDTHS, strict=True), start=1):
        put(HEADING_ROW, column, heading, "head_computed")
        sheet.column_dimensions[letter(column)].width = width
    for row, conflict in enumerate(conflicts, start=HEADING_ROW + 1):
        for column, (value, shape) in enumerate(_line(conflict, moment), start=1):
            put(row, column, value, LOOK, shape)
    cells.heights[1] = 24
    cells.heights[HEADING_ROW] = 30
    sheet.freeze_panes = f"A{HEADING_ROW + 1}"
    sheet.print_title_rows = f"{HEADING_ROW}:{HEADING_ROW}"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.oddFooter.left.text, sheet.oddFooter.right.text = "&A", "Page &P of &N"
    sheet.sheet_view.showGridLines = False
    sheet.page_margins.left = sheet.page_margins.right = 0.4
    sheet.page_margins.top = sheet.page_margins.bottom = 0.5
    return package(frame, {name: cells}, strings), styles
