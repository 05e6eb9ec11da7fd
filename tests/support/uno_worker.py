"""Does in LibreOffice what `tests.support.office` asks for; one JSON object a line comes in, one goes out.

Runs under the Python that can `import uno`, which is the system's and may be older than the project's: nothing of the
project is imported, and `uno` itself only once there is a connection to make.

Started as: uno_worker.py PIPE_NAME SECONDS_TO_WAIT_FOR_LIBREOFFICE
"""

from __future__ import annotations

import json
import math
import os
import sys
import time
from pathlib import Path

# com.sun.star.sheet.CellFlags
NUMBERS, DATES, TEXTS, FORMULAS = 1, 2, 4, 16

ROWS_AT_A_TIME = 2000
# Scattered cells are read as one box around them while the box is not much larger than what is in it.
MANY_RANGES = 40
BOX_WORTH_READING = 8
FEW_ERRORS = 20

FILTERS = {"xlsx": "Calc MS Excel 2007 XML", "ods": "calc8", "pdf": "calc_pdf_Export"}


class RequestRefusedError(Exception):
    """LibreOffice could not do what was asked."""


def column_name(index):
    """Letters of a column counted from 0.

    >>> [column_name(index) for index in (0, 25, 26, 701, 702, 16383)]
    ['A', 'Z', 'AA', 'ZZ', 'AAA', 'XFD']
    """
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def address(place):
    """Address of a cell whose column and row are counted from 0."""
    column, row = place
    return f"{column_name(column)}{row + 1}"


def in_order(places):
    """Cells row by row."""
    return sorted(places, key=lambda place: (place[1], place[0]))


def connect(pipe, seconds):
    """The desktop of the LibreOffice that listens on a pipe; waits until it does."""
    import uno
    from com.sun.star.connection import NoConnectException

    here = uno.getComponentContext()
    resolver = here.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", here)
    address = f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext"
    end = time.monotonic() + seconds
    while True:
        try:
            there = resolver.resolve(address)
            break
        except NoConnectException:
            if time.monotonic() > end:
                raise
            time.sleep(0.05)
    return there.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", there)


def properties(**values):
    """Named values in the form that LibreOffice takes."""
    from com.sun.star.beans import PropertyValue

    return tuple(PropertyValue(name, 0, value, 0) for name, value in values.items())


class Opened:
    """A spreadsheet, fully recalculated unless that is not wanted; closed without saving at the end.

    A class, because an error of LibreOffice on its way through a generator is replaced by one about tracebacks.
    """

    def __init__(self, desktop, request, calculate=True):
        import uno

        path, password = request["path"], request.get("password")
        wishes = {"Hidden": True, "MacroExecutionMode": 0, "UpdateDocMode": 0}
        if password is not None:
            wishes["Password"] = password
        self.document = desktop.loadComponentFromURL(uno.systemPathToFileUrl(path), "_blank", 0, properties(**wishes))
        if self.document is None:
            raise RequestRefusedError("it does not open; it is damaged, has a password, or is no document")
        self.calculate = calculate

    def __enter__(self):
        if not self.document.supportsService("com.sun.star.sheet.SpreadsheetDocument"):
            self.document.close(True)
            raise RequestRefusedError("it does not open as a spreadsheet")
        if self.calculate:
            self.document.calculateAll()
        return self.document

    def __exit__(self, kind, error, trace):
        self.document.close(True)


def blocks(ranges):
    """Cell ranges, cut so that no single reply is huge: (first column, first row, last column, last row)."""
    for area in ranges:
        for row in range(area.StartRow, area.EndRow + 1, ROWS_AT_A_TIME):
            yield area.StartColumn, row, area.EndColumn, min(row + ROWS_AT_A_TIME - 1, area.EndRow)


def read(sheet, flags, fetch):
    """Every cell of a sheet with content of the wanted kind: {(column, row): what `fetch` gives for the cell}."""
    ranges = list(sheet.queryContentCells(flags).getRangeAddresses())
    wanted = None
    if len(ranges) > MANY_RANGES:
        cells = [
            (column, row)
            for area in ranges
            for column in range(area.StartColumn, area.EndColumn + 1)
            for row in range(area.StartRow, area.EndRow + 1)
        ]
        left, right = min(column for column, _ in cells), max(column for column, _ in cells)
        top, bottom = min(row for _, row in cells), max(row for _, row in cells)
        if (right - left + 1) * (bottom - top + 1) <= BOX_WORTH_READING * len(cells):
            wanted = set(cells)
            box = ranges[0]
            box.StartColumn, box.EndColumn, box.StartRow, box.EndRow = left, right, top, bottom
            ranges = [box]
    found = {}
    for left, top, right, bottom in blocks(ranges):
        block = fetch(sheet.getCellRangeByPosition(left, top, right, bottom))
        for down, line in enumerate(block):
            for along, content in enumerate(line):
                place = (left + along, top + down)
                if wanted is None or place in wanted:
                    found[place] = content
    return found


def contents(document, flags):
    """Contents of all sheets: {sheet name: {(column, row): number, text, or {"error": [code, text]}}}."""
    found = {
        sheet.Name: {
            place: content
            for kind in flags
            for place, content in read(sheet, kind, lambda area: area.getDataArray()).items()
        }
        for sheet in document.Sheets
    }
    # The data array leaves a gap where a cell holds an error.
    errors = [
        (name, place)
        for name, cells in found.items()
        for place, content in cells.items()
        if not isinstance(content, (float, str))
    ]
    asked = len(errors) <= FEW_ERRORS or document.isProtected()
    codes = codes_one_by_one(document, errors) if asked else codes_by_formula(document, errors)
    texts = {}
    for number, (name, place) in enumerate(errors):
        code = codes[number]
        if code not in texts:
            texts[code] = document.Sheets.getByName(name).getCellByPosition(*place).getString()
        found[name][place] = {"error": [code, texts[code]]}
    return found


def codes_one_by_one(document, errors):
    """Error numbers of cells, asked cell by cell: a thousand take more than a second."""
    return [document.Sheets.getByName(name).getCellByPosition(*place).getError() for name, place in errors]


def codes_by_formula(document, errors):
    """Error numbers of many cells, by a formula for each on a sheet that is never saved."""
    sheets = document.Sheets
    name = "error numbers"
    while sheets.hasByName(name):
        name += " "
    formulas = []
    for sheet_name, place in errors:
        sheet = "'" + sheet_name.replace("'", "''") + "'"
        formulas.append((f"=ERRORTYPE(${sheet}.{address(place)})",))
    sheets.insertNewByName(name, sheets.Count)
    area = sheets.getByName(name).getCellRangeByPosition(0, 0, 0, len(formulas) - 1)
    area.setFormulaArray(tuple(formulas))
    codes = [int(line[0]) for line in area.getDataArray()]
    sheets.removeByName(name)
    return codes


def values(desktop, request):
    """Every cell that holds something; a formula whose result is an empty text counts, an empty cell does not."""
    with Opened(desktop, request) as document:
        found = contents(document, [NUMBERS | DATES | TEXTS, FORMULAS])
    return {name: {address(place): cells[place] for place in in_order(cells)} for name, cells in found.items()}


def formula_cells(desktop, request):
    """Every formula cell with its formula, in LibreOffice's own English spelling, and its value."""
    answer = {}
    with Opened(desktop, request) as document:
        found = contents(document, [FORMULAS])
        for name, cells in found.items():
            texts = read(document.Sheets.getByName(name), FORMULAS, lambda area: area.getFormulaArray())
            answer[name] = {address(place): [texts[place], cells[place]] for place in in_order(cells)}
    return answer


def save(document, target, kind):
    """Write a document to a file, which must then be there."""
    import uno

    document.storeToURL(uno.systemPathToFileUrl(target), properties(FilterName=FILTERS[kind], Overwrite=True))
    if not Path(target).is_file() or Path(target).stat().st_size == 0:
        raise RequestRefusedError(f"LibreOffice reported success and wrote nothing to {target}")


def convert(desktop, request):
    """Save a spreadsheet as another kind of file."""
    with Opened(desktop, request) as document:
        save(document, request["target"], request["kind"])


def put(document, typed):
    """Put texts into cells as if typed there: {sheet: {cell: text}}."""
    for sheet_name, cells in typed.items():
        if not document.Sheets.hasByName(sheet_name):
            names = ", ".join(document.Sheets.ElementNames)
            raise RequestRefusedError(f"it has no sheet {sheet_name!r}; it has {names}")
        sheet = document.Sheets.getByName(sheet_name)
        for cell, text in cells.items():
            sheet.getCellRangeByName(cell).getCellByPosition(0, 0).FormulaLocal = text


def type_into(desktop, request):
    """Put texts into cells as if typed there, and save the result elsewhere."""
    with Opened(desktop, request) as document:
        put(document, request["typed"])
        document.calculateAll()
        save(document, request["target"], request["kind"])


def pivots(desktop, request):
    """Every PivotTable, after something was typed: {sheet: {name: [address of its corner, what it shows]}}."""
    answer = {}
    with Opened(desktop, request) as document:
        put(document, request["typed"])
        document.calculateAll()
        for sheet in document.Sheets:
            tables = sheet.getDataPilotTables()
            for name in tables.ElementNames:
                table = tables.getByName(name)
                table.refresh()
                area = table.getOutputRange()
                cells = sheet.getCellRangeByPosition(area.StartColumn, area.StartRow, area.EndColumn, area.EndRow)
                corner = address((area.StartColumn, area.StartRow))
                answer.setdefault(sheet.Name, {})[name] = [corner, [list(row) for row in cells.getDataArray()]]
    return answer


def charts(desktop, request):
    """Every chart: {sheet: [{"title", "series": [{role of a sequence: its values}]}]}; NaN is None."""
    answer = {}
    with Opened(desktop, request) as document:
        put(document, request["typed"])
        document.calculateAll()
        for sheet in document.Sheets:
            held = sheet.getCharts()
            found = [chart_content(held.getByName(name).getEmbeddedObject()) for name in held.ElementNames]
            if found:
                answer[sheet.Name] = found
    return answer


def chart_content(chart):
    """Title and series of one chart."""
    series = []
    for system in chart.getFirstDiagram().getCoordinateSystems():
        for kind in system.getChartTypes():
            for one in kind.getDataSeries():
                sequences = [labelled.getValues() for labelled in one.getDataSequences()]
                series.append({sequence.Role: [plain(v) for v in sequence.getData()] for sequence in sequences})
    title = chart.getTitle().String if chart.HasMainTitle else ""
    return {"title": title, "series": series}


def plain(value):
    """A value that JSON can hold."""
    return None if isinstance(value, float) and math.isnan(value) else value


def timed(desktop, request):
    """Seconds that each typed cell takes to be computed, and that computing everything takes."""
    answer = {}
    with Opened(desktop, request) as document:
        for sheet_name, cells in request["typed"].items():
            for cell, text in cells.items():
                begin = time.perf_counter()
                put(document, {sheet_name: {cell: text}})
                document.calculate()
                answer[f"{sheet_name}!{cell}"] = time.perf_counter() - begin
        begin = time.perf_counter()
        document.calculateAll()
        answer["everything"] = time.perf_counter() - begin
    return answer


def rearrange(desktop, request):
    """Sort rows, move, insert and hide columns, type, and save the result elsewhere."""
    from uno_steps import take

    with Opened(desktop, request) as document:
        for step in request["steps"]:
            take(document, step)
        document.calculateAll()
        save(document, request["target"], request["kind"])


def after_steps(desktop, request):
    """What the sheets show after some steps, computed as far as the steps made it necessary.

    `cells` : {sheet: rows of values from A1 on}; null is an error, whose text is in `errors`: {sheet: {cell: text}}.
    `formulas` : {sheet: boxes of formula cells, as (first column, first row, last column, last row) from 0}.
    `texts` : {sheet: {row from 1: formulas}} of the rows in which a text holds one of the `telling` words.
    `names` : {name: content} of the names without a dot. `refused` : numbers of the steps that LibreOffice refused.
    """
    from com.sun.star.uno import Exception as OfficeException
    from uno_steps import take

    answer = {"cells": {}, "errors": {}, "formulas": {}, "texts": {}, "refused": []}
    with Opened(desktop, request, calculate=False) as document:
        document.enableAutomaticCalculation(not request["hard"])  # after each step as for a person, or once at the end
        for number, step in enumerate(request["steps"]):
            try:
                take(document, step)
            except OfficeException:
                answer["refused"].append(number)
        if request["hard"]:
            document.calculateAll()
        for sheet in document.Sheets:
            show(sheet, request["telling"], answer)
        names = document.NamedRanges
        answer["names"] = {name: names.getByName(name).Content for name in names.ElementNames if "." not in name}
        if request.get("target"):
            save(document, request["target"], request["kind"])
    return answer


def show(sheet, telling, answer):
    """Put what a sheet shows into the answer of `after_steps`."""
    cursor = sheet.createCursor()
    cursor.gotoEndOfUsedArea(False)
    right = cursor.RangeAddress.EndColumn
    rows = sheet.getCellRangeByPosition(0, 0, right, cursor.RangeAddress.EndRow).getDataArray()
    answer["cells"][sheet.Name] = rows
    boxes = sheet.queryContentCells(FORMULAS).getRangeAddresses()
    answer["formulas"][sheet.Name] = [(box.StartColumn, box.StartRow, box.EndColumn, box.EndRow) for box in boxes]
    errors, texts = {}, {}
    for number, row in enumerate(rows):
        for column, value in enumerate(row):
            if not isinstance(value, (float, str)):
                errors[address((column, number))] = sheet.getCellByPosition(column, number).getString()
        if any(word in value for value in row if isinstance(value, str) for word in telling):
            texts[number + 1] = sheet.getCellRangeByPosition(0, number, right, number).getFormulaArray()[0]
    answer["errors"][sheet.Name] = errors
    answer["texts"][sheet.Name] = texts


def stop(desktop, request):
    """End LibreOffice the orderly way."""
    desktop.terminate()


ACTIONS = {
    action.__name__: action
    for action in (values, formula_cells, convert, type_into, timed, rearrange, after_steps, pivots, charts, stop)
}


def main():
    """Answer requests until the other side closes its end, then end LibreOffice."""
    # Whatever a library prints must not get between the replies: from here on it goes to the log.
    replies = os.fdopen(os.dup(1), "w", encoding="ascii")
    os.dup2(2, 1)
    desktop = connect(sys.argv[1], float(sys.argv[2]))
    from com.sun.star.lang import DisposedException
    from com.sun.star.uno import Exception as OfficeException

    def reply(message):
        replies.write(json.dumps(message) + "\n")
        replies.flush()

    reply({"ready": True})
    for line in sys.stdin:
        request = json.loads(line)
        try:
            answer = ACTIONS[request["action"]](desktop, request)
        except DisposedException:
            sys.exit("the connection to LibreOffice is lost")
        except (RequestRefusedError, OfficeException) as error:
            reply({"refused": f"{type(error).__name__}: {error}"})
        else:
            reply({"answer": answer})
        if request["action"] == "stop":
            return
    desktop.terminate()


if __name__ == "__main__":
    main()
