"""Brings the tables of a person's log to a layout: formulas, results, rules and notices of columns that are there,
columns that are missing, and what lists offer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from lxml import etree

from workbook_tools.layout import Table
from workbook_tools.layout.ids import cell_key
from workbook_tools.layout.model import Column
from workbook_tools.log.checking.broken_formulas import OWN_ROW, normal
from workbook_tools.log.checking.standing_layout import PlacedFormulas, Standing
from workbook_tools.xlsx.addresses import column_number, letter
from workbook_tools.xlsx.editing.appending import add_notice, add_rule
from workbook_tools.xlsx.editing.cell_formulas import Area, formula_of, translated
from workbook_tools.xlsx.editing.column_models import Content, Model, fill_formula, notice_text, rules_on, value_of
from workbook_tools.xlsx.editing.parts import Element, local, space
from workbook_tools.xlsx.editing.sheet_rows import SheetRow, SheetRows
from workbook_tools.xlsx.editing.workbook_edit import NewColumn, WorkbookEdit

COMPUTED_TITLE = "Computed cell"  # how the rule of computed cells is headed
TITLE_LIMIT = 32
Data = dict[str, Any]


class TableRefresh:
    """Brings one log table to its new layout."""

    def __init__(
        self,
        edit: WorkbookEdit,
        model: Model,
        standing: Standing,
        tables: Mapping[str, Table],
        restore: bool = False,
    ) -> None:
        """`restore` : put back what a person took off or typed over."""
        assert standing.there is not None
        self.restore = restore
        self.edit, self.model, self.standing, self.tables = edit, model, standing, tables
        self.table, self.place = standing.table, standing.there
        self.sheet = self.place.sheet
        self.rows = edit.rows(self.sheet)
        self.numbers = {key: column_number(place) for key, place in self.table.letters.items()}
        self.computed = [column for column in standing.kept if not column.typed]
        self.looks: list[str] = []

    def _body(self, column: Column) -> Area:
        number = self.numbers[column.key]
        return Area(self.place.first_row, number, self.place.last_row, number)

    def _text(self, column: Column, row: int) -> str:
        return PlacedFormulas(self.table, self.tables, row).text(column)

    # ------------------------------------------------------------------------------------- columns that are there

    def formulas(self, used: set[int]) -> None:
        """Write every computed column's formula and result anew; give ids to rows that `used` does not name."""
        ours = {self.numbers[column.key] for column in self.computed}
        holders = self._holders(ours)
        shared: dict[str, int] = {}
        for number in self.rows.row_numbers(1, self.rows.last_row):
            inside = self.place.first_row <= number <= self.place.last_row
            if not inside and b'"shared"' in self.rows.bytes_of(number):
                self._free_others(number, holders, set())
        for number in range(self.place.first_row, self.place.last_row + 1):
            row = self.rows.edit(number)
            self._free_others(number, holders, ours)
            for column in self.computed:
                self._formula(row, number, column, shared)
            self._give_id(number, used)
        self._column_formulas()

    def _holders(self, ours: set[int]) -> dict[str, tuple[int, int, str]]:
        """Cells of the columns that are written anew which hold the text of a shared formula, by its number."""
        found = {}
        for number in range(self.place.first_row, self.place.last_row + 1):
            raw = self.rows.bytes_of(number)
            if b"ref=" not in raw:
                continue
            row = self.rows.peek(number)
            for column, cell in row.cells.items() if row is not None else ():
                formula = formula_of(cell)
                if column in ours and formula is not None and formula.get("t") == "shared" and formula.get("ref"):
                    found[formula.get("si", "")] = (number, column, formula.text or "")
        return found

    def _free_others(self, number: int, holders: Mapping[str, tuple[int, int, str]], ours: set[int]) -> None:
        """Give a person's cells that share a formula of ours its text before it goes."""
        row = self.rows.peek(number)
        for column, cell in list(row.cells.items()) if row is not None else ():
            formula = formula_of(cell)
            held = holders.get(formula.get("si", "")) if formula is not None and not formula.get("ref") else None
            if held is not None and column not in ours:
                own = formula_of(self.rows.edit_cell(number, column))
                assert own is not None
                own.attrib.clear()
                own.text = translated(held[2], held[:2], (number, column))

    def _formula(self, row: SheetRow, number: int, column: Column, shared: dict[str, int]) -> None:
        place = self.numbers[column.key]
        cell = row.cells.get(place)
        if cell is None:
            cell = self.rows.make_cell(number, place, str(self._style(column)))
            row.set_cell(place, cell)
        elif formula_of(cell) is None and any(local(child) in ("v", "is") for child in cell):
            where = f"{self.sheet}!{letter(place)}{number} ({column.heading})"
            if not self.restore:
                self.looks.append(f"{where} is typed over; it was left as it is.")
                return
            held = value_of(cell, self.edit.texts.texts()).value
            self.looks.append(f"{where} held {held!r}; it is computed again.")
            cell.set("s", str(self._style(column)))
        result = self.model.result_at(self.table.sheet, number, place)
        text, cells = "", ""
        if column.key not in shared:
            shared[column.key] = self.rows.free_shared()
            text, cells = self._text(column, number), str(Area(number, place, self.place.last_row, place))
        fill_formula(cell, Content(text, result.value or "", result.kind), (shared[column.key], cells))

    def _style(self, column: Column) -> int:
        return self.model.style(self.table.sheet, self.place.first_row, self.numbers[column.key])

    def _give_id(self, number: int, used: set[int]) -> None:
        """An id given ahead, in a row that nobody has filled."""
        column = self.table.id_column
        if column is None or not getattr(column, "give", "") or number in used:
            return
        place = self.numbers[column.key]
        row = self.rows.peek(number)
        cell = row.cells.get(place) if row is not None else None
        name = self.model.result_at(self.table.sheet, number, place).value
        if name and (cell is None or not any(local(child) in ("v", "is", "f") for child in cell)):
            self.edit.put(self.sheet, number, place, name)

    def _column_formulas(self) -> None:
        """What the table itself says of its computed columns."""
        root = self.edit.package.tree(self.place.part, change=True)
        by_heading = {column.heading.casefold(): column for column in self.computed}
        formulas = PlacedFormulas(self.table, self.tables, None)
        for entry in root.iter("{*}tableColumn"):
            column = by_heading.get(entry.get("name", "").strip().casefold())
            if column is not None:
                there = next((child for child in entry if local(child) == "calculatedColumnFormula"), None)
                if there is None:
                    there = etree.Element(f"{{{space(entry)}}}calculatedColumnFormula")
                    entry.insert(0, there)
                there.attrib.clear()
                there.text = formulas.text(column)

    # ------------------------------------------------------------------------------------------ rules and notices

    def rules(self, before: Model, old: Standing) -> None:
        """Put our rules and notices anew on columns that are there; those that a person took off stay off."""
        for column in self.standing.kept:
            body, title = self._body(column), column.heading[:TITLE_LIMIT]
            titles = {title} if column.typed else {title, COMPUTED_TITLE}
            self._rule(titles, body, self.model.rule(self.table.sheet, body))
            self._notices(column, body, before, old)
            head = Area(self.place.heading_row, body.left, self.place.heading_row, body.left)
            self._rule({title}, head, self.model.rule(self.table.sheet, head))
            self._above(column, before, old)

    def _above(self, column: Column, before: Model, old: Standing) -> None:
        """What stands above a heading, "to fill" or "computed": put anew where it is still as the old layout had it."""
        row, own = self.place.heading_row - 1, self.numbers[column.key]
        headings = [c.heading.casefold() for c in old.table.columns]
        if column.heading.casefold() not in headings:
            return
        was = before.content_at(
            old.table.sheet, row, old.table.first_column + headings.index(column.heading.casefold())
        )
        now = self._content_above(column)
        there = self.rows.peek(row)
        cell = there.cells.get(own) if there is not None else None
        shown = None if cell is None else value_of(cell, self.edit.texts.texts()).value
        if now.value and was.value != now.value and shown == was.value:
            self.edit.put(self.sheet, row, own, now.value)

    def _content_above(self, column: Column) -> Content:
        index = [c.key for c in self.table.columns].index(column.key)  # where our own builder puts headings
        return self.model.content_at(self.table.sheet, self.place.heading_row - 1, self.table.first_column + index)

    def purpose(self, before: Model) -> None:
        """What the line under a sheet's name says: put anew where it is still as the old layout had it."""
        was, now = (model.content_at(self.table.sheet, 2, 1) for model in (before, self.model))
        there = self.rows.peek(2)
        cell = there.cells.get(1) if there is not None else None
        shown = None if cell is None else value_of(cell, self.edit.texts.texts()).value
        if now.value and was.value != now.value and shown == was.value:
            self.edit.put(self.sheet, 2, 1, now.value)

    def _rule(self, titles: set[str], cells: Area, new: str) -> None:
        own = [rule for rule in rules_on(self.rows, cells) if self._headed(rule, titles)]
        for rule in own:
            take_off(self.rows, rule, cells)
        if new and (own or self.restore):
            add_rule(self.rows, new, str(cells))

    @staticmethod
    def _headed(rule: Element, titles: set[str]) -> bool:
        return bool({rule.get("promptTitle", ""), rule.get("errorTitle", "")} & titles)

    def _notices(self, column: Column, body: Area, before: Model, old: Standing) -> None:
        new = self.model.notices(self.table.sheet, body)
        if column.heading.casefold() in {own.heading.casefold() for own in old.table.columns}:
            gone = before.tested(old.table.sheet, body) - set(new)
            for group in list(self.rows.frame().iter("{*}conditionalFormatting")):
                if Area.of(group.get("sqref", "")) == body:
                    for rule in [rule for rule in group if local(rule) == "cfRule" and notice_text(rule) in gone]:
                        self.rows.frame(change=True)
                        group.remove(rule)
                    if not any(local(child) == "cfRule" for child in group):
                        group.getparent().remove(group)
        if self.restore:
            self._take_notices_off(body, set(new))
        there = {notice_text(rule) for rule in self.rows.frame().iter("{*}cfRule")}
        for text, notice in new.items():
            if text not in there:
                add_notice(self.rows, notice, str(body))

    def _take_notices_off(self, body: Area, ours: set[str]) -> None:
        """Take our notices off the cells of a column, also where inserted rows have cut them into parts."""
        texts = {normal(text) for text in ours}
        for group in list(self.rows.frame().iter("{*}conditionalFormatting")):
            areas = [area for ref in group.get("sqref", "").split() if (area := Area.of(ref)) is not None]
            if not areas or any(area.left != body.left or area.right != body.right for area in areas):
                continue
            top = min(area.top for area in areas)
            gone = [
                rule
                for rule in group
                if local(rule) == "cfRule" and normal(_in_row(notice_text(rule), top, body.top)) in texts
            ]
            for rule in gone:
                self.rows.frame(change=True)
                group.remove(rule)
            if gone and not any(local(child) == "cfRule" for child in group):
                group.getparent().remove(group)

    # ---------------------------------------------------------------------------------------------- new columns

    def add_columns(self) -> None:
        """Add the columns that are missing at the end of the table."""
        if not self.standing.missing:
            return
        formulas = PlacedFormulas(self.table, self.tables, None)
        keys = [column.key for column in self.table.columns]
        made = []
        for column in self.standing.missing:
            number = self.numbers[column.key]
            heading = self.table.first_column + keys.index(column.key)  # where our own builder puts headings
            body = self._body(column)
            above = self._content_above(column)
            made.append(
                NewColumn(
                    column.heading,
                    "" if column.typed else self._text(column, self.place.first_row),
                    () if column.typed else self._results(number),
                    "" if column.typed else formulas.text(column),
                    self.model.style(self.table.sheet, self.place.heading_row, heading),
                    self._style(column),
                    column.width,
                    column.hidden,
                    self.model.rule(self.table.sheet, body),
                    self.model.rule(
                        self.table.sheet, Area(self.place.heading_row, number, self.place.heading_row, number)
                    ),
                    tuple(self.model.notices(self.table.sheet, body).values()),
                    above.value or "",
                    self.model.style(self.table.sheet, self.place.heading_row - 1, heading),
                )
            )
        self.edit.append_columns(self.place.name, made)

    def _results(self, column: int) -> list[object]:
        found: list[object] = []
        for row in range(self.place.first_row, self.place.last_row + 1):
            content = self.model.result_at(self.table.sheet, row, column)
            if content.kind == "b":
                found.append(content.value == "1")
            else:
                found.append(float(content.value) if content.kind == "n" and content.value else content.value)
        return found


def _in_row(text: str, row: int, other: int) -> str:
    """What a notice tests, as it reads in another row."""
    return OWN_ROW.sub(lambda found: f"{found[1]}{other}" if int(found[2]) == row else found[0], text)


def take_off(rows: SheetRows, rule: Element, cells: Area) -> None:
    """Take a rule off some cells; elsewhere it stays."""
    rows.frame(change=True)
    left: list[str] = []
    for ref in rule.get("sqref", "").split():
        area = Area.of(ref)
        left += [ref] if area is None or not area.meets(cells) else [str(part) for part in _without(area, cells)]
    if left:
        rule.set("sqref", " ".join(left))
        return
    group = rule.getparent()
    group.remove(rule)
    group.set("count", str(sum(local(child) == "dataValidation" for child in group)))
    if len(group) == 0:
        group.getparent().remove(group)


def _without(area: Area, cells: Area) -> list[Area]:
    """What is left of an area without some cells, as up to four areas."""
    top, bottom = max(area.top, cells.top), min(area.bottom, cells.bottom)
    parts = [
        Area(area.top, area.left, top - 1, area.right),
        Area(top, area.left, bottom, cells.left - 1),
        Area(top, cells.right + 1, bottom, area.right),
        Area(bottom + 1, area.left, area.bottom, area.right),
    ]
    return [part for part in parts if part.top <= part.bottom and part.left <= part.right]


# ----------------------------------------------------------------------------------------------------------- lists


def merged(
    standing: Standing, new: Table, old: Table | None, rows: Mapping[int, Data]
) -> tuple[dict[int, Data], list[str]]:
    """A list's rows by sheet row, with what the new layout offers; and what there was no room for.

    A row that a person changed stays; one that they took out stays out; one that is as the old layout had it becomes
    what the new one has.
    """
    assert standing.there is not None
    result = {number: dict(row) for number, row in rows.items()}
    before = _by_key(new, _records(old)) if old is not None else {}
    there = _by_key(new, [dict(row, _row=number) for number, row in sorted(rows.items())])
    free = [n for n in range(standing.there.first_row, standing.there.last_row + 1) if n not in result]
    left = []
    for key, record in _by_key(new, _records(new)).items():
        if key in there:
            number, was = there[key]["_row"], before.get(key, {})
            untouched = all(result[number].get(name) == value for name, value in was.items())
            if was and untouched:
                result[number] = record
            else:  # columns that the person did not have yet
                added = {column.key: record[column.key] for column in standing.missing}
                result[number] |= added
        elif key not in before:
            number = next((n for n in free if n > max(result, default=0)), 0)
            if number:
                free.remove(number)
                result[number] = record
            else:
                left.append(str(key[0]))
    return result, left


def _records(table: Table) -> list[Data]:
    return [dict(zip((column.key for column in table.columns), row, strict=True)) for row in table.data]


def _by_key(table: Table, records: Sequence[Data]) -> dict[tuple[object, int], Data]:
    """Records by their first column; equal ones are told apart by how many came before."""
    found: dict[tuple[object, int], Data] = {}
    key = table.columns[0].key
    for record in records:
        name = record.get(key)
        folded = cell_key(name)
        number = 0
        while (folded, number) in found:
            number += 1
        if name is not None:
            found[folded, number] = record
    return found
