"""Takes single tables and columns from a workbook that this project built: looks, rules, notices and stored results."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from lxml import etree

from workbook_tools.errors import EditError
from workbook_tools.xlsx.editing.appending import set_width
from workbook_tools.xlsx.editing.book import OFFICE, SPREADSHEET_TYPE, TablePlace, link_name
from workbook_tools.xlsx.editing.cell_formulas import Area, formula_of, formula_text_of
from workbook_tools.xlsx.editing.parts import Element, local, space, written
from workbook_tools.xlsx.editing.sheet_rows import SheetRows
from workbook_tools.xlsx.editing.style_grafting import StyleGraft
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit

DEFAULT_SPACE = re.compile(r'\sxmlns="[^"]*"')


@dataclass(frozen=True)
class Content:
    """What a cell holds, apart from its look: the text of a formula, or a value with its kind."""

    formula: str | None
    value: str | None
    kind: str = "n"

    @property
    def empty(self) -> bool:
        return self.formula is None and self.value is None


def content_of(rows: SheetRows, row: int, column: int, cell: Element, texts: list[str]) -> Content:
    """What a cell holds; `texts` are the workbook's shared ones."""
    value = value_of(cell, texts)
    formula = formula_of(cell)
    return value if formula is None else Content(formula_text_of(rows, row, column, formula), value.value, value.kind)


def value_of(cell: Element, texts: list[str]) -> Content:
    """The value of a cell, or the stored result of its formula."""
    kind = cell.get("t", "n")
    value = next((child.text or "" for child in cell if local(child) == "v"), None)
    if kind == "s" and value is not None:
        kind, value = "str", texts[int(value)]
    elif kind == "inlineStr":
        kind, value = "str", "".join(str(t.text or "") for t in cell.iter("{*}t"))
    return Content(None, value, kind)


def sheet_contents(edit: WorkbookEdit, sheet: str) -> dict[tuple[int, int], Content]:
    """Every cell of a sheet that holds anything."""
    rows, texts = edit.rows(sheet), edit.texts.texts()
    found = {}
    for number in rows.row_numbers(1, rows.last_row):
        row = rows.peek(number)
        for column, cell in row.cells.items() if row is not None else ():
            content = content_of(rows, number, column, cell, texts)
            if not content.empty:
                found[number, column] = content
    return found


def rules_on(rows: SheetRows, cells: Area) -> Iterator[Element]:
    """Rules that hold for some of the cells."""
    for rule in rows.frame().iter("{*}dataValidation"):
        areas = (Area.of(ref) for ref in rule.get("sqref", "").split())
        if any(area is not None and area.meets(cells) for area in areas):
            yield rule


def notices_on(rows: SheetRows, cells: Area) -> Iterator[Element]:
    """Notices on all of the cells, strongest first."""
    found = []
    for group in rows.frame().iter("{*}conditionalFormatting"):
        areas = (Area.of(ref) for ref in group.get("sqref", "").split())
        if any(area is not None and area.holds(cells.top, cells.left) for area in areas):
            found += [rule for rule in group if local(rule) == "cfRule"]
    return iter(sorted(found, key=lambda rule: int(rule.get("priority", "0"))))


def notice_text(rule: Element) -> str:
    """What a notice tests, as comparable text."""
    return "".join("".join(str(part.text or "") for part in rule.iter("{*}formula")).split()).upper()


class Model:
    """A workbook of ours from which parts are taken over into another."""

    def __init__(self, edit: WorkbookEdit, content: bytes) -> None:
        self.edit = edit
        self.content = content
        self.book = WorkbookEdit(content, "the new layout")
        self.styles = StyleGraft(edit, self.book)
        self.texts = self.book.texts.texts()

    def style(self, sheet: str, row: int, column: int) -> int:
        """Our number here of the style of one of its cells."""
        found = self.book.rows(sheet).peek(row)
        cell = found.cells.get(column) if found is not None else None
        return self.styles.numbers[int(cell.get("s", "0")) if cell is not None else 0]

    def content_at(self, sheet: str, row: int, column: int) -> Content:
        rows = self.book.rows(sheet)
        found = rows.peek(row)
        cell = found.cells.get(column) if found is not None else None
        return Content(None, None) if cell is None else content_of(rows, row, column, cell, self.texts)

    def result_at(self, sheet: str, row: int, column: int) -> Content:
        """The value of one of its cells alone: the text of a shared formula takes long to find."""
        found = self.book.rows(sheet).peek(row)
        cell = found.cells.get(column) if found is not None else None
        return Content(None, None) if cell is None else value_of(cell, self.texts)

    def rule(self, sheet: str, cells: Area) -> str:
        """The rule on cells as text, without the cells."""
        return next((self._text(rule) for rule in rules_on(self.book.rows(sheet), cells)), "")

    def notices(self, sheet: str, cells: Area) -> dict[str, str]:
        """Notices on cells: what they test, and the whole as text with our numbers of their looks here."""
        return {notice_text(rule): self._text(rule) for rule in notices_on(self.book.rows(sheet), cells)}

    def tested(self, sheet: str, cells: Area) -> set[str]:
        """What the notices on cells test."""
        return {notice_text(rule) for rule in notices_on(self.book.rows(sheet), cells)}

    def _text(self, element: Element) -> str:
        copy = etree.fromstring(etree.tostring(element, with_tail=False))
        copy.attrib.pop("sqref", None)
        if copy.get("dxfId") is not None:
            copy.set("dxfId", str(self.styles.notices[int(copy.get("dxfId"))]))
        return DEFAULT_SPACE.sub("", etree.tostring(copy, encoding="unicode"))

    # ------------------------------------------------------------------------------------------- whole tables

    def add_table(self, name: str) -> TablePlace:
        """Copy one table, the line above it included, into the same cells of the same sheet."""
        place = self.book.table(name)
        target = self.edit.rows(place.sheet)
        taken = {own.casefold() for own in self.edit.tables()}
        if name.casefold() in taken:
            raise EditError(self.edit.path, place.sheet, f"there is a table {name} already.")
        for number in range(place.heading_row - 1, place.last_row + 1):
            row = self.book.rows(place.sheet).peek(number)
            for column, cell in row.cells.items() if row is not None else ():
                if place.first_column <= column <= place.last_column:
                    self._copy_cell(place.sheet, number, column, cell)
            height = row.element.get("ht") if row is not None else None
            if height is not None and target.edit(number).element.get("ht") is None:
                target.edit(number).element.set("ht", height)
                target.edit(number).element.set("customHeight", "1")
        for column in range(place.first_column, place.last_column + 1):
            for entry in self.book.rows(place.sheet).frame().iter("{*}col"):
                if int(entry.get("min", "0")) <= column <= int(entry.get("max", "0")):
                    set_width(target, column, float(entry.get("width", "9")), entry.get("hidden") == "1")
        target.widen(place.last_row, place.last_column)
        self._table_part(place)
        self.edit.formulas_changed = True
        return place

    def _copy_cell(self, sheet: str, row: int, column: int, cell: Element) -> None:
        rows = self.edit.rows(sheet)
        content = self.content_at(sheet, row, column)
        made = rows.make_cell(row, column, str(self.styles.numbers[int(cell.get("s", "0"))]))
        rows.edit(row).set_cell(column, made)
        if content.formula is not None:
            fill_formula(made, content)
        elif content.value is not None:
            value: object = content.value if content.kind == "str" else float(content.value)
            self.edit.put(sheet, row, column, value)

    def _table_part(self, place: TablePlace) -> None:
        root = etree.fromstring(written(self.book.package.tree(place.part)))
        root.set("id", str(self.edit.free_table_id()))
        package = self.edit.package
        part = package.free_name("xl/tables/table{}.xml")
        package.add(part, written(root), f"{SPREADSHEET_TYPE}table+xml")
        rows = self.edit.rows(place.sheet)
        identifier = package.relate(rows.name, f"{OFFICE}/table", part)
        group = rows.need("tableParts")
        entry = etree.SubElement(group, f"{{{space(group)}}}tablePart")
        entry.set(link_name(rows.frame()), identifier)
        group.set("count", str(sum(local(child) == "tablePart" for child in group)))


def fill_formula(cell: Element, content: Content, shared: tuple[int, str] | None = None) -> None:
    """Give a cell a formula with its stored result, in the place of what it held.

    `shared` is the number of a shared formula and, in the cell that holds its text, the cells that share it.
    """
    for child in list(cell):
        if local(child) in ("f", "v", "is"):
            cell.remove(child)
    for name in ("t", "cm", "vm"):
        cell.attrib.pop(name, None)
    formula = etree.Element(f"{{{space(cell)}}}f", nsmap=cell.nsmap)
    if shared is not None:
        formula.set("t", "shared")
        if shared[1]:
            formula.set("ref", shared[1])
        formula.set("si", str(shared[0]))
    if content.formula:
        formula.text = content.formula
    cell.insert(0, formula)
    if content.value is not None:
        value = etree.Element(f"{{{space(cell)}}}v", nsmap=cell.nsmap)
        value.text = content.value
        cell.insert(1, value)
        if content.kind != "n":
            cell.set("t", content.kind)
