"""Builds the bench workbook: one bath worked out on a form, and a card that prints on one page."""

from __future__ import annotations

from collections.abc import Mapping

from workbook_tools.errors import DataError
from workbook_tools.functions.texts.guide_rows import HEADINGS, NOTES, rows
from workbook_tools.layout import Layout, Sheet
from workbook_tools.layout.compute import Computed, compute_form
from workbook_tools.layout.formulas import TableFormulas
from workbook_tools.layout.load import FORMATS
from workbook_tools.layout.model import STEP_COLUMNS, Card, Form, quoted
from workbook_tools.log.building.frame import Frame
from workbook_tools.log.building.placed_pages import PageWriter
from workbook_tools.log.building.sheets import SheetWriter
from workbook_tools.xlsx.writing.cells import SheetCells, Strings
from workbook_tools.xlsx.writing.package import package
from workbook_tools.xlsx.writing.styles import Styles
from workbook_tools.xlsx.writing.values import cell_value

NUMERIC = (FORMATS["number"], FORMATS["volume"], FORMATS["typed"])
STEP_HEADINGS = ("Packet", "Dose then mg/L", "Drug in packet g", "Buffer in packet g", "Drug so far g")


def step_name(number: int) -> str:
    """What a packet is called: the start, or which top-up."""
    return "Start" if number == 1 else f"Top-up {number - 1}"


def build_bench(layout: Layout, values: Mapping[str, Mapping[str, object]] | None = None) -> bytes:
    """The bench workbook as an .xlsx file.

    Parameters
    ----------
    layout : from `workbook_tools.layout.load("bench")`.
    values : what to type on the forms, by form key ("bench", "sampling", "treatment") and field key; None for blanks.

    Returns
    -------
    The bytes of the file; the same input gives the same bytes.
    """
    frame = Frame(layout)
    strings = Strings()
    computed = Computed(layout, {})
    results = {key: compute_form(form, layout, (values or {}).get(key, {})) for key, (_, form) in layout.forms.items()}
    cells: dict[str, SheetCells] = {}
    for sheet in layout.sheets:
        if sheet.form is not None:
            answers = results[sheet.form.table.key]
            cells[sheet.name] = FormWriter(sheet, sheet.form, layout, answers, frame.styles, strings).write()
        elif sheet.card is not None:
            _, form = layout.forms[sheet.card.form]
            answers = results[sheet.card.form]
            cells[sheet.name] = CardWriter(sheet, sheet.card, form, answers, frame.styles, strings).write()
        elif sheet.guide:
            cells[sheet.name] = GuideWriter(sheet, {}, frame.styles, strings).write()
        else:
            cells[sheet.name] = SheetWriter(sheet, layout, computed, frame.styles, strings).write()
    return package(frame.workbook, cells, strings)


def _held(layout: Layout, values: Mapping[str, Mapping[str, object]]) -> dict[str, dict[str, object]]:
    """What is typed on each form, as cells can hold it; raises DataError with every fault at once."""
    held: dict[str, dict[str, object]] = {key: {} for key in layout.forms}
    bad = [f"there is no form {key!r}" for key in values if key not in layout.forms]
    for key, (sheet, form) in layout.forms.items():
        fields = {column.key: column for column in form.table.typed}
        for name, value in values.get(key, {}).items():
            if name not in fields:
                bad.append(f"{sheet.name} has no field {name!r} to fill")
                continue
            try:
                held[key][name] = cell_value(value)
            except ValueError as error:
                bad.append(f"{sheet.name}, {fields[name].heading}: {error}")
    if bad:
        raise DataError(bad)
    return held


def step_headings(page: PageWriter, row: int) -> None:
    for number, heading in enumerate(STEP_HEADINGS, start=1):
        page.text(row, number, heading, "head_computed")
    page.cells.heights[row] = 30


class FormWriter(PageWriter):
    """The form: label, value and help of each field, the check, and the steps of the bath."""

    def __init__(
        self,
        sheet: Sheet,
        form: Form,
        layout: Layout,
        results: Mapping[str, object],
        styles: Styles,
        strings: Strings,
    ) -> None:
        super().__init__(sheet, results, styles, strings)
        self.form = form
        self.formulas = TableFormulas(form.table, layout.tables, 1, form)

    def write(self) -> SheetCells:
        for section in self.form.sections:
            self.text(self.form.rows[section.keys[0]] - 1, 1, section.title, "heading")
            for key in section.keys:
                self._field(key)
        self.text(self.form.check_row, 1, "Check", "heading")
        self._computed("check", "check")
        for column in self.form.table.columns:
            if column.kind == "reasons":
                self._computed(column.key, "computed")
        if self.form.steps:
            self._steps()
        return self.cells

    def _field(self, key: str) -> None:
        column = self.form.table.by_key[key]
        row = self.form.rows[key]
        if column.quiet:
            self.cells.hidden.add(row)
        self.text(row, 1, column.heading, "label")
        self.text(row, 3, column.help, "unit")
        if column.typed:
            self.text(row, 2, self.results[key], "typed", column.format)
        else:
            self._computed(key, "computed")

    def _computed(self, key: str, role: str) -> None:
        column = self.form.table.by_key[key]
        place = self.form.place(key).strip("$")
        letters, row = place.split("$")
        text = self.formulas.text(column)
        number = "ABCDEFGH".index(letters) + 1
        self.formula(int(row), number, text, self.results[key], role, column.format)

    def _steps(self) -> None:
        row = self.form.steps_row
        self.text(row - 1, 1, "Packets to weigh", "heading")
        step_headings(self, row)
        for number in range(1, self.form.steps + 1):
            self.text(row + number, 1, step_name(number), "label")
            for name in STEP_COLUMNS:
                self._computed(f"{name}_{number}", "computed")


class CardWriter(PageWriter):
    """The card: chosen fields in large print, the packets, boxes to tick and the cautions."""

    def __init__(
        self,
        sheet: Sheet,
        card: Card,
        form: Form,
        results: Mapping[str, object],
        styles: Styles,
        strings: Strings,
    ) -> None:
        super().__init__(sheet, results, styles, strings)
        self.card = card
        self.form = form

    def write(self) -> SheetCells:
        row = 4
        for position, key in enumerate(self.card.keys):
            column = self.form.table.by_key[key]
            left = 1 if position % 2 == 0 else 4
            self.text(row, left, column.heading, "label")
            self._copied(row, left + 1, key, "result" if column.format in NUMERIC else "result_text")
            self.cells.heights[row] = 20
            row += position % 2
        row += 2 if len(self.card.keys) % 2 else 1
        self.text(row, 1, "Packets to weigh", "heading")
        step_headings(self, row + 1)
        for number in range(1, self.form.steps + 1):
            self.text(row + 1 + number, 1, step_name(number), "label")
            for place, name in enumerate(STEP_COLUMNS, start=2):
                self._copied(row + 1 + number, place, f"{name}_{number}", "result")
            self.cells.heights[row + 1 + number] = 22
        row += self.form.steps + 3
        self.text(row, 1, "Check", "heading")
        self._copied(row, 2, "check", "check")
        return self._ticks(row + 2)

    def _copied(self, row: int, column: int, key: str, role: str) -> None:
        """A cell that shows a field of the form."""
        sheet = quoted(self.form.table.sheet)
        source = f"{sheet}!{self.form.place(key)}"
        number_format = self.form.table.by_key[key].format
        self.formula(row, column, f'IF({source}="","",{source})', self.results[key], role, number_format)

    def _ticks(self, row: int) -> SheetCells:
        self.text(row, 1, "Before the fish go in", "heading")
        for tick in self.card.ticks:
            row += 1
            self.text(row, 1, f"[   ]  {tick}", "label")
            self.cells.heights[row] = 20
        for line in self.sheet.lines:
            row += 1
            self.text(row, 1, line.text, "warning")
            self.cells.heights[row] = 20
        return self.cells


class GuideWriter(PageWriter):
    """The guide to the functions, one row each."""

    def write(self) -> SheetCells:
        for number, heading in enumerate(HEADINGS, start=1):
            self.text(4, number, heading, "head_typed")
        for row, guide in enumerate(rows(), start=5):
            for number, text in enumerate(guide.texts(), start=1):
                self.text(row, number, text, "listed_wrapped")
        for number, note in enumerate(NOTES, start=6 + len(rows())):
            self.text(number, 1, note, "label")
        return self.cells
