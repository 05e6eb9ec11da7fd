"""Our own look: boxed cells are typed, slanted cells are computed; grey and black carry it, colour only helps."""

from __future__ import annotations

from typing import Any

from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.styles.differential import DifferentialStyle

INK = "1B2A33"
DEEP = "24505A"  # white on it: contrast 8.6
PALE = "EEF2F3"
PAPER = "FFFFFF"
AMBER = "FFE3B0"
LINE = Side(style="thin", color="7A8B93")
HAIR = Side(style="hair", color="B6C2C7")
BOX = Border(left=LINE, right=LINE, top=LINE, bottom=LINE)
THREAD = Border(bottom=HAIR)
FACE = "Liberation Sans"


def fill(colour: str) -> PatternFill:
    return PatternFill("solid", start_color=colour, end_color=colour)


ROLES: dict[str, dict[str, Any]] = {
    "title": {"font": Font(FACE, 16, bold=True, color=DEEP), "alignment": Alignment(vertical="center")},
    "purpose": {"font": Font(FACE, 10, color=INK), "alignment": Alignment(vertical="center")},
    "caution": {
        "font": Font(FACE, 9, bold=True, color=INK),
        "alignment": Alignment(vertical="top", wrap_text=True),
    },
    "warning": {"font": Font(FACE, 9, bold=True, color=INK), "alignment": Alignment(vertical="center")},
    "caution_wrapped": {
        "font": Font(FACE, 10, bold=True, color=INK),
        "alignment": Alignment(vertical="top", wrap_text=True),
        "border": Border(left=Side(style="thick", color=INK)),
    },
    "marker": {"font": Font(FACE, 8, italic=True, color=INK), "alignment": Alignment(horizontal="center")},
    "head_typed": {
        "font": Font(FACE, 10, bold=True, color=PAPER),
        "fill": fill(DEEP),
        "border": BOX,
        "alignment": Alignment(wrap_text=True, vertical="center", horizontal="center"),
    },
    "head_computed": {
        "font": Font(FACE, 10, italic=True, bold=True, color=INK),
        "fill": fill("D5DEE1"),
        "border": BOX,
        "alignment": Alignment(wrap_text=True, vertical="center", horizontal="center"),
    },
    "typed": {
        "font": Font(FACE, 11, color=INK),
        "fill": fill(PAPER),
        "border": BOX,
        "alignment": Alignment(vertical="center"),
    },
    "typed_text": {
        "font": Font(FACE, 11, color=INK),
        "fill": fill(PAPER),
        "border": BOX,
        "alignment": Alignment(horizontal="left", vertical="center", indent=1),
    },
    "computed": {
        "font": Font(FACE, 11, italic=True, color=INK),
        "fill": fill(PALE),
        "border": THREAD,
        "alignment": Alignment(vertical="center"),
    },
    "check": {
        "font": Font(FACE, 10, italic=True, color=INK),
        "fill": fill(PALE),
        "border": THREAD,
        "alignment": Alignment(horizontal="left", vertical="center", indent=1),
    },
    "heading": {"font": Font(FACE, 12, bold=True, color=DEEP), "border": Border(bottom=LINE)},
    "head_right": {
        "font": Font(FACE, 10, bold=True, color=DEEP),
        "border": Border(bottom=LINE),
        "alignment": Alignment(horizontal="right", vertical="bottom"),
    },
    "text": {"font": Font(FACE, 11, color=INK), "alignment": Alignment(wrap_text=True, vertical="top")},
    "label": {"font": Font(FACE, 11, color=INK), "alignment": Alignment(vertical="center")},
    "listed": {"font": Font(FACE, 10, color=INK), "border": BOX, "alignment": Alignment(vertical="top")},
    "listed_wrapped": {
        "font": Font(FACE, 9, color=INK),
        "border": BOX,
        "alignment": Alignment(wrap_text=True, vertical="top"),
    },
    "day": {
        "font": Font(FACE, 10, bold=True, color=INK),
        "border": Border(left=LINE, right=LINE, top=LINE),
        "alignment": Alignment(horizontal="left", vertical="top"),
    },
    "day_text": {
        "font": Font(FACE, 9, color=INK),
        "border": Border(left=LINE, right=LINE, bottom=HAIR),
        "alignment": Alignment(horizontal="left", vertical="top", wrap_text=True),
    },
    "pivot_item": {"font": Font(FACE, 10, color=INK), "alignment": Alignment(horizontal="left")},
    "pivot_item_figure": {"font": Font(FACE, 10, color=INK), "alignment": Alignment(horizontal="right")},
    "pivot_head": {
        "font": Font(FACE, 10, bold=True, color=INK),
        "fill": fill("D5DEE1"),
        "alignment": Alignment(horizontal="left"),
    },
    "pivot_head_figure": {
        "font": Font(FACE, 10, bold=True, color=INK),
        "fill": fill("D5DEE1"),
        "alignment": Alignment(horizontal="right"),
    },
    "pivot_total": {"font": Font(FACE, 10, bold=True, color=INK), "border": Border(top=LINE)},
    "pivot_total_figure": {
        "font": Font(FACE, 10, bold=True, color=INK),
        "border": Border(top=LINE),
        "alignment": Alignment(horizontal="right"),
    },
    "drawn": {"font": Font(FACE, 9, italic=True, color=INK), "border": THREAD},
    "result": {
        "font": Font(FACE, 14, bold=True, italic=True, color=INK),
        "fill": fill(PALE),
        "border": Border(bottom=LINE),
        "alignment": Alignment(horizontal="right", vertical="center"),
    },
    "result_text": {
        "font": Font(FACE, 12, bold=True, italic=True, color=INK),
        "alignment": Alignment(horizontal="left", vertical="center"),
    },
    "unit": {"font": Font(FACE, 9, color=INK), "alignment": Alignment(horizontal="left", vertical="center", indent=1)},
}


# pages to print: greys alone, every text wrapped


def swiss(size: float, bold: bool = False) -> Font:
    """The face, and its family for systems that lack it: they then take another plain face, as wide."""
    return Font(FACE, size, bold=bold, color=INK, family=2)


WRAPPED = Alignment(wrap_text=True, vertical="top")
MIDDLE = Alignment(wrap_text=True, vertical="center")
LOW = Alignment(wrap_text=True, vertical="bottom")
CENTRED = Alignment(wrap_text=True, vertical="center", horizontal="center")
HEAD_GREY, GROUP_GREY = "DDE3E5", PALE
DASHED = Side(style="dashed", color="7A8B93")
ROLES |= {
    "page_title": {"font": swiss(15, bold=True), "alignment": MIDDLE},
    "page_heading": {
        "font": swiss(11.5, bold=True),
        "alignment": LOW,
        "border": Border(bottom=LINE),
    },
    "page_text": {"font": swiss(10), "alignment": WRAPPED},
    "page_strong": {"font": swiss(10, bold=True), "alignment": WRAPPED},
    "page_small": {"font": swiss(8.5), "alignment": WRAPPED},
    "page_large": {"font": swiss(16, bold=True), "alignment": MIDDLE},
    "page_caution": {
        "font": swiss(10, bold=True),
        "alignment": Alignment(wrap_text=True, horizontal="left", vertical="center", indent=1),
        "border": Border(left=Side(style="thick", color=INK)),
    },
    "page_tick": {"font": swiss(10), "alignment": Alignment(vertical="top")},
    "page_label": {"font": swiss(10), "alignment": WRAPPED},
    "page_value": {"font": swiss(10, bold=True), "alignment": WRAPPED},
    "page_label_low": {"font": swiss(10), "alignment": LOW},
    "page_value_low": {"font": swiss(10, bold=True), "alignment": LOW},
    "page_fill": {"font": swiss(10), "alignment": WRAPPED, "border": Border(bottom=LINE)},
    "page_line": {"font": swiss(10), "alignment": WRAPPED, "border": Border(bottom=LINE)},
    "page_group": {
        "font": swiss(9, bold=True),
        "alignment": CENTRED,
        "fill": fill(GROUP_GREY),
        "border": BOX,
    },
    "page_head": {
        "font": swiss(9, bold=True),
        "alignment": CENTRED,
        "fill": fill(HEAD_GREY),
        "border": BOX,
    },
    "page_cell": {
        "font": swiss(10),
        "alignment": Alignment(wrap_text=True, horizontal="left", vertical="center", indent=1),
        "border": BOX,
    },
    "page_figure": {
        "font": swiss(10),
        "alignment": Alignment(horizontal="right", vertical="center", shrink_to_fit=True),
        "border": BOX,
    },
    "page_box": {"font": swiss(10), "alignment": CENTRED, "border": BOX},
    "page_crossed": {
        "font": swiss(10),
        "alignment": CENTRED,
        "fill": fill(HEAD_GREY),
        "border": BOX,
    },
}
# cells for typing on a sheet that is protected otherwise; a quoted one keeps its text where it is typed into again
_INPUT = {"font": swiss(10), "border": BOX, "protection": Protection(locked=False)}
ROLES |= {
    "page_input": _INPUT | {"alignment": Alignment(horizontal="left", vertical="center")},
    "page_input_quoted": _INPUT | {"alignment": Alignment(horizontal="left", vertical="center"), "quotePrefix": True},
    "page_input_number": _INPUT | {"alignment": Alignment(horizontal="right", vertical="center")},
}
CARD_LOOKS = {
    "title": swiss(10.5, bold=True),
    "strong": swiss(10, bold=True),
    "mass": swiss(16, bold=True),
    "text": swiss(9.5),
    "small": swiss(8.5),
}
for _edge in ("first", "middle", "last", "only"):
    _border = Border(
        left=DASHED,
        right=DASHED,
        top=DASHED if _edge in ("first", "only") else Side(),
        bottom=DASHED if _edge in ("last", "only") else Side(),
    )
    for _look, _font in CARD_LOOKS.items():
        ROLES[f"card_{_look}_{_edge}"] = {
            "font": _font,
            "border": _border,
            "alignment": Alignment(wrap_text=True, horizontal="left", vertical="center", indent=1),
        }


class Styles:
    """Style numbers of a workbook, made as they are asked for."""

    def __init__(self, workbook: Workbook) -> None:
        sheet = workbook.worksheets[0]
        self.scratch = sheet
        self.numbers: dict[tuple[str, str], int] = {}

    def number(self, role: str, number_format: str = "General") -> int:
        key = (role, number_format)
        if key not in self.numbers:
            cell = Cell(self.scratch, row=1, column=1)  # never put on the sheet: it only registers the style
            for name, value in ROLES[role].items():
                setattr(cell, name, value)
            cell.number_format = number_format
            self.numbers[key] = int(cell.style_id)
        return self.numbers[key]


def notice_style() -> DifferentialStyle:
    """For cells that want a look: bold, underlined and slanted as well as tinted."""
    return DifferentialStyle(
        font=Font(bold=True, underline="single", color=INK), fill=PatternFill(bgColor=AMBER), border=BOX
    )
