"""What the menu does, as plain functions of a document, a cell or a time."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from pathlib import Path
from typing import Any

# com.sun.star.util.NumberFormat; com.sun.star.table.CellContentType
DATE_FORMAT, TIME_FORMAT, FORMULA = 2, 4, "FORMULA"
URIS_ONLY = 1  # com.sun.star.system.SystemShellExecuteFlags: never run it as a program
SECONDS_IN_DAY = 86_400
CHECK_HEADING = "Check"
ALL_WELL = "ok"
LINES_SHOWN = 25


class ActionRefusedError(Exception):
    """The menu cannot do what was asked; the text is a sentence for the person."""


def put_time(document: Any, now: datetime.datetime) -> str:
    """Put the time of day into the selected cell, as a value with a time format; answers with the cell's address.

    A cell formatted as date and time gets both. Raises ActionRefusedError where not exactly one cell is selected, or
    where it holds a formula or is protected.
    """
    selected = document.CurrentSelection
    if selected is None or not selected.supportsService("com.sun.star.sheet.SheetCell"):
        raise ActionRefusedError("Select one cell for the time, then choose this again.")
    address = f"{selected.Spreadsheet.Name}!{cell_address(selected.CellAddress.Column, selected.CellAddress.Row)}"
    if selected.getType().value == FORMULA:
        raise ActionRefusedError(f"{address} is computed; the time was not put there.")
    if selected.Spreadsheet.isProtected() and selected.CellProtection.IsLocked:
        raise ActionRefusedError(f"{address} is protected; the time was not put there.")
    formats = document.NumberFormats
    kind = formats.getByKey(selected.NumberFormat).Type
    value = (now.hour * 3600 + now.minute * 60 + now.second) / SECONDS_IN_DAY
    if kind & DATE_FORMAT and kind & TIME_FORMAT:
        start = document.NullDate
        value += (now.date() - datetime.date(start.Year, start.Month, start.Day)).days
    elif not kind & TIME_FORMAT:
        selected.NumberFormat = time_format(formats)
    selected.setValue(value)
    return address


def time_format(formats: Any) -> int:
    """Key of the format HH:MM:SS in a document."""
    import uno  # only inside LibreOffice

    locale = uno.createUnoStruct("com.sun.star.lang.Locale", Language="en", Country="US")
    code = "HH:MM:SS"
    key = int(formats.queryKey(code, locale, False))
    return key if key >= 0 else int(formats.addNew(code, locale))


def check_findings(document: Any) -> list[tuple[str, str, str]]:
    """Every text in a column headed "Check" that is not "ok": (sheet, cell, text), sheets in their order."""
    found = []
    for sheet in document.Sheets:
        cursor = sheet.createCursor()
        cursor.gotoEndOfUsedArea(True)
        for column, row, text in findings_in(cursor.getDataArray()):
            found.append((sheet.Name, cell_address(column, row), text))
    return found


def findings_in(rows: tuple[tuple[Any, ...], ...]) -> Iterator[tuple[int, int, str]]:
    """The same for one sheet's contents, an error value among them: (column, row, text), counted from 0."""
    for column in range(max(map(len, rows), default=0)):
        cells = [row[column] for row in rows]
        headed = [number for number, cell in enumerate(cells) if cell == CHECK_HEADING]
        for number, cell in enumerate(cells[headed[0] + 1 :], headed[0] + 1) if headed else ():
            if cell is None:  # LibreOffice leaves a gap for an error
                yield column, number, "the check itself shows an error"
            elif isinstance(cell, str) and cell.strip() and cell not in (ALL_WELL, CHECK_HEADING):
                yield column, number, cell


def check_report(document: Any) -> str:
    """The findings as sentences for a box."""
    findings = check_findings(document)
    if not findings:
        return "Nothing to put right: every Check column says ok or is blank."
    lines = [f"{sheet}!{cell}: {text}" for sheet, cell, text in findings[:LINES_SHOWN]]
    left = len(findings) - len(lines)
    head = "1 row to look at:" if len(findings) == 1 else f"{len(findings)} rows to look at:"
    return "\n".join([head, "", *lines, *([f"... and {left} more."] if left else [])])


def cell_address(column: int, row: int) -> str:
    """A1 form of a cell counted from 0.

    >>> cell_address(0, 0), cell_address(27, 9)
    ('A1', 'AB10')
    """
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return f"{letters}{row + 1}"


def guide_file() -> Path:
    """The guide, which lies beside the extension's other files."""
    return Path(__file__).resolve().parents[4] / "guide.html"


def open_guide(shell: Any, desktop: Any) -> None:
    """Open the guide in the computer's browser, or in LibreOffice where that cannot be.

    Raises ActionRefusedError, with the place of the guide, where neither can.
    """
    import uno  # only inside LibreOffice
    from com.sun.star.uno import Exception as OfficeException

    address = uno.systemPathToFileUrl(str(guide_file()))
    try:
        shell.execute(address, "", URIS_ONLY)
    except OfficeException:
        if desktop.loadComponentFromURL(address, "_blank", 0, ()) is None:
            raise ActionRefusedError(f"The guide could not be opened. It is the file {guide_file()}.") from None
