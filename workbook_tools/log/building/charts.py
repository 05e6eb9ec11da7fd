"""The charts of a workbook: native ones, in ink on white, told apart by the shape of their points."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from openpyxl.chart import BarChart, ScatterChart
from openpyxl.chart.axis import ChartLines, NumericAxis, TextAxis
from openpyxl.chart.data_source import AxDataSource, NumData, NumDataSource, NumRef, NumVal
from openpyxl.chart.layout import Layout as ChartLayout
from openpyxl.chart.marker import Marker
from openpyxl.chart.series import Series as BarSeries
from openpyxl.chart.series import SeriesLabel, XYSeries
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.chart.text import RichText, Text
from openpyxl.chart.title import Title
from openpyxl.drawing.line import LineProperties
from openpyxl.drawing.spreadsheet_drawing import AnchorMarker, TwoCellAnchor
from openpyxl.drawing.text import (
    CharacterProperties,
    Font,
    Paragraph,
    ParagraphProperties,
    RegularTextRun,
    RichTextProperties,
)
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from workbook_tools.layout.formulas import choice_name
from workbook_tools.layout.load import FORMATS
from workbook_tools.layout.model import Layout, Sheet
from workbook_tools.log.building.chart_data import NO_POINT, SPARE_ROW, Drawn, PointValue, Row
from workbook_tools.log.building.frame import steady_rows
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.writing.cells import SheetCells, Strings, formula_cell, plain_formula, value_cell
from workbook_tools.xlsx.writing.styles import FACE, INK, Styles

ACROSS, WIDE, HIGH, GAP = 2, 7, 26, 1  # charts side by side; columns and rows of one, columns between two
COLUMNS = ACROSS * (WIDE + GAP)
TOP = 4  # row of the first boxed cells
COLUMN_WIDTH, DRAWN_WIDTH = 11, 13
GRID, FRAME = "D5DEE1", "7A8B93"
POINT = 12_700  # EMU
WEEKS_A_LABEL = 4


def _corner(number: int) -> tuple[int, int]:
    """Column and row in which a chart's label stands; the cell to choose in is beside it."""
    return number % ACROSS * (WIDE + GAP) + 1, TOP + number // ACROSS * (HIGH + 2)


def _column(number: int) -> int:
    """First of the two columns that a chart draws from."""
    return COLUMNS + 2 + 3 * number


def drawn_results(
    sheet: Sheet, layout: Layout, data: Mapping[str, Mapping[int, Row]], cell: Callable[[int, int], object]
) -> dict[tuple[int, int], PointValue | str]:
    """What the cells show that the charts of a sheet draw from, by row and column.

    `data` has the computed rows by table key and sheet row; `cell` gives what is typed on the sheet, by row and column.
    """
    shown: dict[tuple[int, int], PointValue | str] = {}
    for number, chart in enumerate(sheet.charts):
        left, top = _corner(number)
        table = layout.tables[chart.table]
        held = data[chart.table]
        first = min(held, default=table.first_row)
        rows = [held.get(row, {}) for row in range(first, max(held, default=first) + 1)]
        longer = replace(table, rows=len(rows), heading_row=first - 1)
        chosen = cell(top, left + 1)
        drawn = Drawn(chart, sheet.name, longer, layout, rows, _column(number), "", chosen)
        shown |= drawn.results()
        shown[top, left + 3] = drawn.note_result(cell)
    return shown


def add_charts(
    worksheet: Worksheet,
    sheet: Sheet,
    layout: Layout,
    data: Mapping[str, Sequence[Row]],
    cells: SheetCells,
    styles: Styles,
    strings: Strings,
) -> None:
    """Put the charts of a sheet on it, with the cells that they draw from and those in which a person chooses."""
    if not sheet.charts:
        return
    columns = COLUMNS
    for number in range(1, columns + 1):
        worksheet.column_dimensions[letter(number)].width = 3 if number % (WIDE + GAP) == 0 else COLUMN_WIDTH
    for number, chart in enumerate(sheet.charts):
        left, top = _corner(number)
        table = layout.tables[chart.table]
        choice = f"${letter(left + 1)}${top}"
        drawn = Drawn(chart, sheet.name, table, layout, data[chart.table], _column(number), choice)
        drawn.write(cells, styles, strings, 2 * number)
        for along in (0, 1):
            worksheet.column_dimensions[letter(drawn.column + along)].width = DRAWN_WIDTH
        _choice(worksheet, drawn, left, top, cells, styles, strings)
        part = _weeks(drawn) if chart.kind == "weeks" else _points(drawn)
        part.anchor = TwoCellAnchor(
            editAs="oneCell",
            _from=AnchorMarker(col=left - 1, row=top),
            to=AnchorMarker(col=left - 1 + WIDE, row=top + HIGH),
        )
        worksheet.add_chart(part)
    first = letter(columns + 2)
    says = "What the charts draw, computed from the log; -1 where a row has no point."
    cells.put(
        SPARE_ROW - 1, columns + 2, value_cell(f"{first}{SPARE_ROW - 1}", styles.number("purpose"), says, strings)
    )
    last = letter(columns - GAP)
    bottom = TOP + -(-len(sheet.charts) // ACROSS) * (HIGH + 2)
    worksheet.print_area = f"A1:{last}{bottom}"
    steady_rows(worksheet)


def _choice(
    worksheet: Worksheet, drawn: Drawn, left: int, top: int, cells: SheetCells, styles: Styles, strings: Strings
) -> None:
    """The boxed cell above a chart, what it is for, and a word when the log has outgrown the chart."""
    label = drawn.chart.choose.capitalize()
    cells.put(top, left, value_cell(f"{letter(left)}{top}", styles.number("label"), label, strings))
    for along in (1, 2):
        place = f"{letter(left + along)}{top}"
        cells.put(top, left + along, value_cell(place, styles.number("typed_text", FORMATS["text"]), None, strings))
    worksheet.merged_cells.add(f"{letter(left + 1)}{top}:{letter(left + 2)}{top}")
    place = f"{letter(left + 3)}{top}"
    note = formula_cell(place, styles.number("purpose"), plain_formula(drawn.note()), None)
    cells.put(top, left + 3, note)
    rule = DataValidation(type="list", formula1=choice_name(drawn.chart.of), allow_blank=False)
    rule.showInputMessage = rule.showErrorMessage = True
    rule.promptTitle = rule.errorTitle = label
    rule.prompt = "Shows these alone; blank shows all."
    rule.error = f"{label}: choose from the list, or clear the cell."
    rule.add(f"{letter(left + 1)}{top}")
    worksheet.add_data_validation(rule)


# ------------------------------------------------------------------------------------------------------------ parts


def _points(drawn: Drawn) -> ScatterChart:
    """A point for each row of the log, hollow, so that points on one another show."""
    chart = drawn.chart
    there = [(x, y) if y != NO_POINT else (None, None) for x, y in drawn.values]
    series = XYSeries(
        tx=SeriesLabel(v=chart.y_title),
        xVal=AxDataSource(numRef=_numbers(drawn, 0, [x for x, _ in there])),
        yVal=NumDataSource(numRef=_numbers(drawn, 1, [y for _, y in there])),
        marker=Marker(symbol=chart.marker, size=7, spPr=_shape(line=INK)),
        spPr=_shape(),
        smooth=False,
    )
    part = ScatterChart(scatterStyle="lineMarker", varyColors=False, ser=[series])
    _dress(part, drawn)
    if drawn.dated:
        part.x_axis.number_format = FORMATS["date"]
        part.x_axis.txPr = _text(10, turned=-2_700_000)
    else:
        part.x_axis.scaling.min = 0
    return part


def _weeks(drawn: Drawn) -> BarChart:
    """A bar for each week."""
    series = BarSeries(
        tx=SeriesLabel(v=drawn.chart.y_title),
        cat=AxDataSource(numRef=_numbers(drawn, 0, [week for week, _ in drawn.values])),
        val=NumDataSource(numRef=_numbers(drawn, 1, [dead for _, dead in drawn.values])),
        spPr=_shape(fill=FRAME, line=INK),
        invertIfNegative=False,
    )
    part = BarChart(barDir="col", varyColors=False, ser=[series], gapWidth=30)
    _dress(part, drawn)
    part.x_axis.number_format = FORMATS["date"]
    part.x_axis.txPr = _text(10, turned=-2_700_000)
    part.x_axis.auto = False  # else a spreadsheet makes it an axis of days, and the bars a seventh as wide
    part.x_axis.tickLblSkip = part.x_axis.tickMarkSkip = WEEKS_A_LABEL
    part.x_axis.noMultiLvlLbl = True
    return part


def _dress(part: Any, drawn: Drawn) -> None:
    """What all charts have alike: titles with units, light lines across, axes that begin at 0, no legend."""
    chart = drawn.chart
    part.title = _title(chart.title, 14, bold=True)
    part.legend = None
    part.roundedCorners = False
    part.display_blanks = "gap"
    part.layout = ChartLayout()
    part.graphical_properties = _shape(fill="FFFFFF", line=FRAME)
    part.y_axis.title = _title(chart.y_title, 11, turned=-5_400_000)
    part.x_axis.title = _title(chart.x_title, 11)
    part.y_axis.scaling.min = 0
    part.y_axis.number_format = part.x_axis.number_format = "General"
    part.y_axis.majorGridlines = ChartLines(spPr=_shape(line=GRID))
    part.x_axis.majorGridlines = None
    for axis in (part.x_axis, part.y_axis):
        _dress_axis(axis)


def _dress_axis(axis: NumericAxis | TextAxis) -> None:
    axis.delete = False
    axis.majorTickMark = "out"
    axis.tickLblPos = "low"
    axis.txPr = _text(10)
    axis.spPr = _shape(line=FRAME)


def _numbers(drawn: Drawn, along: int, values: Sequence[PointValue]) -> NumRef:
    """The cells of a series, and the values that viewers show which do not compute; rows without one are left out."""
    points = [NumVal(idx=number, v=value) for number, value in enumerate(values) if value is not None]
    code = FORMATS["date"] if along == 0 and drawn.dated else "General"
    return NumRef(f=drawn.range(along), numCache=NumData(formatCode=code, ptCount=len(values), pt=points))


def _shape(fill: str = "", line: str = "") -> GraphicalProperties:
    shape = GraphicalProperties(solidFill=fill) if fill else GraphicalProperties(noFill=True)
    shape.line = LineProperties(solidFill=line, w=POINT) if line else LineProperties(noFill=True)
    return shape


def _letters(size: int, bold: bool = False) -> CharacterProperties:
    return CharacterProperties(sz=100 * size, b=bold, solidFill=INK, latin=Font(typeface=FACE))


def _text(size: int, turned: int | None = None) -> RichText:
    """How the figures along an axis are written; `turned` in sixty-thousandths of a degree."""
    paragraph = Paragraph(pPr=ParagraphProperties(defRPr=_letters(size)), endParaRPr=CharacterProperties(lang="en-GB"))
    return RichText(bodyPr=RichTextProperties(rot=turned, vert="horz" if turned else None), p=[paragraph])


def _title(words: str, size: int, bold: bool = False, turned: int | None = None) -> Title:
    run = RegularTextRun(rPr=_letters(size, bold), t=words)
    paragraph = Paragraph(pPr=ParagraphProperties(defRPr=_letters(size, bold)), r=[run])
    body = RichTextProperties(rot=turned, vert="horz" if turned else None)
    return Title(tx=Text(rich=RichText(bodyPr=body, p=[paragraph])), overlay=False)
