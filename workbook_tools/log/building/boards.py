"""The boards of a case log: a calendar and a plan, each filled by formulas from one cell that a person types."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from typing import Any

from openpyxl import Workbook

from workbook_tools.layout import Layout, Sheet
from workbook_tools.layout.compute import Computed, Row
from workbook_tools.layout.expression_trees import is_number, same
from workbook_tools.layout.expressions import literal
from workbook_tools.layout.load import FORMATS
from workbook_tools.layout.row_order import STEPS
from workbook_tools.layout.shown_values import EPOCH
from workbook_tools.log.building.placed_pages import PageWriter
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.writing.cells import SheetCells, Strings
from workbook_tools.xlsx.writing.styles import Styles

ASKED = "$C$4"  # the cell that a person types
ASKED_ROW, ASKED_COLUMN = 4, 3
DAYS_OF_THE_WEEK = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
WEEKS = 6
DAY_FORMAT = "d mmm"
PLAN_LINES = 12
CHECK_COLUMN, PLACE_COLUMN = 13, 14  # the latter out of sight: rows of the Baths sheet
VISIT_ROW, BATHS = "$N$4", "$N$5"  # row of the visit on its sheet, and how many baths it has
STEP = f"{STEPS['reference']:.0f}"
PLAN_COLUMNS = (  # heading, column of the Baths sheet, format
    ("Bath", "bath", "General"),
    ("Vessel", "vessel", "General"),
    ("Species", "species", "General"),
    ("Agent", "agent", "General"),
    ("Water L", "water", FORMATS["volume"]),
    ("Start dose mg/L", "start_dose", FORMATS["number"]),
    ("Drug g", "drug", FORMATS["number"]),
    ("Buffer g", "buffer", FORMATS["number"]),
    ("One top up drug g", "topup_drug", FORMATS["number"]),
    ("One top up buffer g", "topup_buffer", FORMATS["number"]),
    ("Limit mg/L", "limit", FORMATS["number"]),
)


class BoardWriter(PageWriter):
    """A board: the cell that asks, and what follows from it."""

    def __init__(self, sheet: Sheet, layout: Layout, computed: Computed, styles: Styles, strings: Strings) -> None:
        super().__init__(sheet, {}, styles, strings)
        self.layout = layout
        self.computed = computed
        self.asked: Any = None
        self.shown: dict[tuple[int, int], object] = {}

    def write(self) -> SheetCells:
        """The board as it is at first."""
        return self.answer(AT_FIRST[self.sheet.board](self.computed))

    def answer(self, asked: Any) -> SheetCells:
        """The board for what is typed in its boxed cell."""
        self.asked = asked
        BOARDS[self.sheet.board](self)
        return self.cells

    def formula(self, row: int, column: int, text: str, value: object, role: str, number_format: str) -> None:
        self.shown[row, column] = value
        super().formula(row, column, text, value, role, number_format)

    def asks(self, words: str, value: object, number_format: str) -> None:
        self.text(4, 1, words, "label")
        self.text(4, 3, value, "typed", number_format)
        self.cells.heights[4] = 22


# -------------------------------------------------------------------------------------------------- calendar


def calendar(board: BoardWriter) -> None:
    """A month of days with the groups that may be released and the follow-ups that are due."""
    stocks, later = (board.layout.tables[key] for key in ("stocks", "follow_ups"))
    groups = board.computed.data["stocks"]
    due = [row["due"] for row in board.computed.data["follow_ups"] if row["state"] == "open"]
    board.asks("Any day of the month", board.asked, FORMATS["date"])
    asked = board.asked if _is_day(board.asked) else None
    unknown = sum(bool(row["treated"]) and row["release"] is None for row in groups)
    board.text(4, 5, "Treated groups with no release date", "label")
    dated = stocks.cells_if_any("release")
    text = f'COUNTIF({stocks.cells_if_any("treated")},">0")-COUNT({dated})'
    board.formula(4, 7, text, float(unknown), "result", "0")
    for number, name in enumerate(DAYS_OF_THE_WEEK, start=1):
        board.text(6, number, name, "head_computed")
    first = None if asked is None else _first_monday(asked)
    start = f"{ASKED}-DAY({ASKED})+1"
    for number in range(7 * WEEKS):
        week, weekday = divmod(number, 7)
        row, column = 7 + 3 * week, weekday + 1
        day = None if first is None else first + number
        place = f"{letter(column)}${row}"
        text = f'IF(ISNUMBER({ASKED}),{start}-MOD({start}-2,7)+{number},"")'
        board.formula(row, column, text, day, "day", DAY_FORMAT)
        free = [str(r["stock"]) for r in groups if day is not None and r["release"] == day]
        counted = f"COUNTIF({dated},{place})"
        more = f'IF({counted}>1," and "&({counted}-1)&" more","")'
        name = f"INDEX({stocks.cells_if_any('stock')},MATCH({place},{dated},0))"
        text = f'IF({place}="","",IF({counted}=0,"","release "&{name}&{more}))'
        said = f"release {free[0]}{f' and {len(free) - 1} more' if len(free) > 1 else ''}" if free else None
        board.formula(row + 1, column, text, said, "day_text", "General")
        waiting = sum(day is not None and moment == day for moment in due)
        counted = f'COUNTIFS({later.cells_if_any("due")},{place},{later.cells_if_any("state")},"open")'
        text = f'IF({place}="","",IF({counted}=0,"",{counted}&" follow-up"&IF({counted}>1,"s","")))'
        said = f"{waiting} follow-up{'s' if waiting > 1 else ''}" if waiting else None
        board.formula(row + 2, column, text, said, "day_text", "General")
        for part in range(3):
            board.cells.heights[row + part] = 20
    for number, line in enumerate(board.sheet.lines):
        board.text(8 + 3 * WEEKS + number, 1, line.text, "warning")


def month_at_first(computed: Computed) -> float | None:
    """A day of the month to show at first: the next marked one from the last visit on, or that of the last visit."""
    marked = [row["release"] for row in computed.data["stocks"]]
    marked += [row["due"] for row in computed.data["follow_ups"] if row["state"] == "open"]
    last = max((row["date"] for row in computed.data["visits"] if _is_day(row["date"])), default=None)
    return min((day for day in marked if day is not None and _is_day(day) and day >= (last or 0)), default=last)


def _is_day(value: object) -> bool:
    return is_number(value) and 1 <= value < 2_958_466


def _first_monday(day: float) -> float:
    """Serial of the Monday on or before the first of the month; day 2 of the calendar was a Monday."""
    first = day - (EPOCH + datetime.timedelta(days=int(day))).day + 1
    return first - (first - 2) % 7


# ------------------------------------------------------------------------------------------------------ plan


def plan_board(board: BoardWriter) -> None:
    """What to weigh for the baths of one visit, in the order of their rows, wherever those stand."""
    board.asks("Visit", board.asked, "@")
    chosen = _baths_of(board)
    _plan_head(board, chosen)
    for number, (heading, _, _) in enumerate(PLAN_COLUMNS, start=1):
        board.text(7, number, heading, "head_computed")
    board.text(7, len(PLAN_COLUMNS) + 1, "Weighed, labelled", "head_typed")
    board.text(7, CHECK_COLUMN, "Check", "head_computed")
    board.cells.heights[7] = 32
    for line in range(PLAN_LINES):
        _plan_line(board, line, chosen)
    _totals(board, [row for _, row in chosen[:PLAN_LINES]])


def _baths_of(board: BoardWriter) -> list[tuple[float, Row]]:
    """The baths of the visit that is asked for, with their sheet rows; all point to the first row of that name."""
    place = None if board.asked is None else board.computed.position("visits", board.asked)
    rows = [row for row in board.computed.data["baths"] if place is not None and row["visit_row"] == place]
    return sorted(((row["own_row"], row) for row in rows), key=lambda found: found[0])


def _plan_head(board: BoardWriter, chosen: list[tuple[float, Row]]) -> None:
    """Site and date of the visit, its row and the number of its baths, its site's follow-ups."""
    visits, baths, later = (board.layout.tables[key] for key in ("visits", "baths", "follow_ups"))
    visit = board.computed.find("visits", board.asked)
    found = f"MATCH({literal(ASKED)},{visits.cells_if_any('visit')},0)"
    text = f'IF({ASKED}="","",IFERROR(IF({found}>{visits.heading_place("visit")},{found},""),""))'
    place = None if board.asked is None else board.computed.position("visits", board.asked)
    board.formula(4, PLACE_COLUMN, text, place, "computed", "0")
    for column, label, key, style in ((5, "Site", "site", "General"), (8, "Date", "date", FORMATS["date"])):
        board.text(4, column, label, "label")
        value = f"INDEX({visits.cells_if_any(key)},{VISIT_ROW})"
        text = f'IF({VISIT_ROW}="","",IFERROR(IF({value}="","",{value}),""))'
        board.formula(4, column + 1, text, visit.get(key), "result_text", style)
    board.text(5, 1, "Open follow-ups of the site", "label")
    site = visit.get("site")
    opened = [row for row in board.computed.data["follow_ups"] if row["state"] == "open" and same(row["site"], site)]
    counted = f'COUNTIFS({later.cells_if_any("site")},"="&$F$4,{later.cells_if_any("state")},"open")'
    board.formula(5, 3, f'IF($F$4="","",{counted})', None if site is None else float(len(opened)), "result", "0")
    codes = baths.cells_if_any("visit_bath")
    start, end = f"{VISIT_ROW}*{STEP}", f"({VISIT_ROW}+1)*{STEP}"
    text = f'IF({VISIT_ROW}="","",COUNTIFS({codes},">="&{start},{codes},"<"&{end}))'
    board.formula(5, PLACE_COLUMN, text, None if place is None else float(len(chosen)), "computed", "0")
    more = len(chosen) - PLAN_LINES
    said = f"{more} more baths than lines here: see the Baths sheet" if more > 0 else None
    words = f'{BATHS}-{PLAN_LINES}&" more baths than lines here: see the Baths sheet"'
    board.formula(5, 5, f'IF({BATHS}="","",IF({BATHS}>{PLAN_LINES},{words},""))', said, "warning", "General")


def _plan_line(board: BoardWriter, line: int, chosen: list[tuple[float, Row]]) -> None:
    """One bath: the so-manieth of the visit, by the numbers that sort baths by visit and row."""
    baths = board.layout.tables["baths"]
    row = 8 + line
    place, found = chosen[line] if line < len(chosen) else (None, {})
    codes, start = baths.cells_if_any("visit_bath"), f"{VISIT_ROW}*{STEP}"
    which = f'SMALL({codes},COUNTIF({codes},"<"&{start})+{line + 1})-{start}'
    text = f'IF({BATHS}="","",IF({BATHS}<{line + 1},"",{which}))'
    board.formula(row, PLACE_COLUMN, text, place, "computed", "0")
    for number, (_, key, number_format) in enumerate(PLAN_COLUMNS, start=1):
        value = f"INDEX({baths.cells_if_any(key)},$N{row})"
        text = f'IF($N{row}="","",IFERROR(IF({value}="","",{value}),""))'
        board.formula(row, number, text, found.get(key), "computed", number_format)
    board.text(row, len(PLAN_COLUMNS) + 1, None, "typed")
    text = f'IF($N{row}="","",IFERROR(INDEX({baths.cells_if_any("check")},$N{row}),""))'
    board.formula(row, CHECK_COLUMN, text, found.get("check"), "check", "General")
    board.cells.heights[row] = 22


def _totals(board: BoardWriter, used: list[Row]) -> None:
    row = 8 + PLAN_LINES
    board.text(row, 1, "Together", "heading")
    for number, (_, key, number_format) in enumerate(PLAN_COLUMNS, start=1):
        if key in ("drug", "buffer"):
            cells = f"{letter(number)}8:{letter(number)}{row - 1}"
            amounts = [entry[key] for entry in used if isinstance(entry[key], int | float)]
            board.formula(row, number, f"SUM({cells})", float(sum(amounts)), "computed", number_format)
    board.text(row + 2, 1, "Before setting out", "heading")
    for number, tick in enumerate(board.sheet.ticks, start=row + 3):
        board.text(number, 1, f"[   ]  {tick}", "label")
        board.cells.heights[number] = 20
    for number, line in enumerate(board.sheet.lines, start=row + 4 + len(board.sheet.ticks)):
        board.text(number, 1, line.text, "warning")


def next_visit(computed: Computed) -> Any:
    """The visit of the last bath that is planned and not yet made."""
    planned = (r for r in reversed(computed.data["baths"]) if r["start_dose"] is not None and r["visit"] is not None)
    return next((r["visit"] for r in planned if r["drug_weighed"] is None and r["started"] is None), None)


BOARDS: Mapping[str, Callable[[BoardWriter], None]] = {"calendar": calendar, "plan": plan_board}
AT_FIRST: Mapping[str, Callable[[Computed], Any]] = {"calendar": month_at_first, "plan": next_visit}


def board_results(sheet: Sheet, layout: Layout, computed: Computed, asked: Any) -> dict[tuple[int, int], object]:
    """What the formula cells of a board show, by row and column, for what is typed in its boxed cell."""
    writer = BoardWriter(sheet, layout, computed, Styles(Workbook()), Strings())
    writer.answer(asked)
    return writer.shown
