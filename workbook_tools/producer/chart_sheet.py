"""Charts of a site's own losses and water, with the figures they are drawn from beside them.

Native charts with their values cached, so that a preview which computes nothing shows them. Black and grey alone.
"""

from __future__ import annotations

from dataclasses import dataclass

from openpyxl.chart import BarChart, LineChart
from openpyxl.chart.data_source import AxDataSource, NumData, NumDataSource, NumRef, NumVal, StrData, StrRef, StrVal
from openpyxl.chart.layout import Layout as ChartLayout
from openpyxl.chart.layout import ManualLayout
from openpyxl.chart.marker import Marker
from openpyxl.chart.series import Series, SeriesLabel
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.drawing.line import LineProperties
from openpyxl.drawing.text import CharacterProperties, ParagraphProperties

from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import id_text
from workbook_tools.layout.model import quoted
from workbook_tools.producer.daily_sheet import NewGrid
from workbook_tools.producer.grid_sheets import Grid
from workbook_tools.producer.page_making import Making
from workbook_tools.producer.selection import day_text
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.writing.styles import INK

MOST_DAYS = 42
FIRST = 5  # row of the first figure
WIDTHS = (9, 9, 9, 9, 9, 9, 2, 12, 8, 11, 11)
DATE_COLUMN = 8
CHART_WIDTH, CHART_HEIGHT = 10.2, 7.2  # [cm]
CHART_ROWS = (4, 19, 34)
ROW_HEIGHT = 15.0


@dataclass
class Day:
    """What one day's rows give: fish found dead in all groups, mean temperature [C], lowest oxygen [mg/L]."""

    dead: float | None = None
    temperatures: tuple[float, ...] = ()
    oxygen: float | None = None

    @property
    def temperature(self) -> float | None:
        return sum(self.temperatures) / len(self.temperatures) if self.temperatures else None


def days(making: Making) -> list[tuple[float, Day]]:
    """The latest days of which anything is known, up to the day the copy is made, in order."""
    found: dict[float, Day] = {}
    site = making.site
    for row in site.dated(site.rows["losses"], "date"):
        if is_number(row["date"]) and row["date"] <= making.today:
            _add(found.setdefault(float(row["date"]), Day()), row["dead"], row["temperature"], row["oxygen"])
    for row in site.dated(site.rows["water"], "date"):
        if is_number(row["date"]) and row["date"] <= making.today:
            _add(found.setdefault(float(row["date"]), Day()), None, row["temperature"], row["oxygen"])
    known = {number: day for number, day in found.items() if day != Day()}
    return sorted(known.items())[-MOST_DAYS:]


def _add(day: Day, dead: object, temperature: object, oxygen: object) -> None:
    if is_number(dead):
        day.dead = (day.dead or 0.0) + dead
    if is_number(temperature):
        day.temperatures = (*day.temperatures, float(temperature))
    if is_number(oxygen):
        day.oxygen = float(oxygen) if day.oxygen is None else min(day.oxygen, float(oxygen))


def chart_sheet(making: Making, new_grid: NewGrid) -> Grid | None:
    """The sheet with the charts; None where there is nothing to draw."""
    figures = days(making)
    if not figures:
        return None
    words, site = making.words, making.site
    grid = new_grid(words("chart_sheet"), WIDTHS, "portrait")
    grid.across(1, words("chart_title", site=f"{site.name} {id_text(site.site['name'])}".strip()), "page_title")
    grid.across(2, words("chart_intro", days=MOST_DAYS), "page_text")
    degrees = words("chart_temperature_us" if making.units.us else "chart_temperature")
    heads = (words("chart_day"), words("chart_dead"), degrees, words("chart_oxygen"))
    for column, head in enumerate(heads, start=DATE_COLUMN):
        grid.put(FIRST - 1, column, head, "page_head")
    grid.height(FIRST - 1, 42)
    columns: list[list[float | None]] = [[], [], []]
    for position, (number, day) in enumerate(figures):
        degree = None if day.temperature is None else round(making.units.degrees(day.temperature), 1)
        values = (day.dead, degree, day.oxygen)
        row = FIRST + position
        grid.put(row, DATE_COLUMN, day_text(number), "page_cell")
        for place, (value, held) in enumerate(zip(values, columns, strict=True), start=1):
            grid.put(row, DATE_COLUMN + place, value, "page_figure", "0" if place == 1 else "0.0")
            held.append(value)
        grid.height(row, ROW_HEIGHT)
    for row in range(FIRST + len(figures), FIRST + MOST_DAYS):
        grid.height(row, ROW_HEIGHT)
    labels = [day_text(number) for number, _ in figures]
    charts = zip(heads[1:], columns, (True, False, False), (1, 2, 3), strict=True)
    drawn = [chart for chart in charts if any(value is not None for value in chart[1])]
    for row, (head, held, bars, offset) in zip(CHART_ROWS, drawn, strict=False):  # from the top, whichever there are
        _chart(grid, head, labels, held, offset, bars, row)
    return grid


def _chart(
    grid: Grid, title: str, labels: list[str], values: list[float | None], offset: int, bars: bool, row: int
) -> None:
    chart = BarChart() if bars else LineChart()
    chart.title = title
    chart.title.tx.rich.p[0].pPr = ParagraphProperties(defRPr=CharacterProperties(sz=1100, b=True))
    chart.title.tx.rich.p[0].r[0].rPr = CharacterProperties(sz=1100, b=True)
    chart.title.overlay = False
    chart.legend = None
    chart.width, chart.height = CHART_WIDTH, CHART_HEIGHT
    sheet, last = quoted(grid.sheet.title), FIRST + len(labels) - 1
    cells = {
        column: f"{sheet}!${letter(column)}${FIRST}:${letter(column)}${last}"
        for column in (DATE_COLUMN, DATE_COLUMN + offset)
    }
    points = [NumVal(idx=place, v=value) for place, value in enumerate(values) if value is not None]
    numbers = NumData(formatCode="General", ptCount=len(values), pt=points)
    texts = StrData(ptCount=len(labels), pt=[StrVal(idx=place, v=text) for place, text in enumerate(labels)])
    series = Series(
        idx=0,
        order=0,
        tx=SeriesLabel(v=title),
        cat=AxDataSource(strRef=StrRef(f=cells[DATE_COLUMN], strCache=texts)),
        val=NumDataSource(numRef=NumRef(f=cells[DATE_COLUMN + offset], numCache=numbers)),
    )
    ink = LineProperties(solidFill=INK, w=19_050)
    if bars:
        series.spPr = GraphicalProperties(solidFill="5A6A72", ln=LineProperties(solidFill=INK, w=6_350))
        chart.gapWidth = 40
    else:
        series.spPr = GraphicalProperties(ln=ink)
        series.smooth = False
        series.marker = Marker(symbol="circle", size=5)
        series.marker.spPr = GraphicalProperties(solidFill="FFFFFF", ln=LineProperties(solidFill=INK, w=9_525))
        chart.display_blanks = "span"
    chart.series.append(series)
    chart.x_axis.delete = chart.y_axis.delete = False
    chart.x_axis.tickLblPos = "low"
    chart.y_axis.majorGridlines.spPr = GraphicalProperties(ln=LineProperties(solidFill="D0D6D9", w=6_350))
    chart.layout = ChartLayout(
        ManualLayout(layoutTarget="inner", xMode="edge", yMode="edge", x=0.1, y=0.16, w=0.86, h=0.5)
    )
    grid.sheet.add_chart(chart, f"A{row}")
