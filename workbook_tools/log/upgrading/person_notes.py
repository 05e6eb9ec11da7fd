"""Puts sheets that are only read anew, and keeps what a person wrote on them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass

from lxml import etree

from workbook_tools.errors import EditError
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.editing.cell_formulas import Area
from workbook_tools.xlsx.editing.column_models import Content, Model, fill_formula, sheet_contents
from workbook_tools.xlsx.editing.own_styles import Looks, styles_of
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit

Contents = Mapping[tuple[int, int], Content]
MOST_NAMED = 5
GONE = "#REF!"
NOTE = "Stood in this cell before the layout was brought up to date: "


@dataclass(frozen=True)
class Own:
    """A cell that a person filled on such a sheet."""

    row: int
    column: int
    content: Content
    cell: etree._Element


def put_anew(
    edit: WorkbookEdit, model: Model, old: WorkbookEdit, sheet: str, filled: Sequence[Area], restore: bool = False
) -> list[str]:
    """Put one sheet anew where the layout's has changed; a person's words in cells that are taken now become notes.

    `old` is a workbook of the layout before, by which a person's cells are told from ours; `filled` are cells that a
    command filled there and the model has in their new place. With `restore`, a sheet of which a formula is broken or
    gone is put anew as well. Sentences on what wants a look are answered, nothing where the sheet stays as it is.
    """
    before, after, own = sheet_contents(old, sheet), sheet_contents(model.book, sheet), []
    if not _damaged(edit, sheet, after) if restore else _alike(before, after):
        return []
    _refuse_tables(edit, old, sheet)
    said = _pointing(edit, sheet)
    there = sheet_contents(edit, sheet)
    words = {content.value for content in before.values() if content.formula is None and content.kind == "str"}
    for place in sorted(there):
        if any(area.holds(*place) for area in filled):
            continue
        if _is_own(there[place], before.get(place), words):
            row = edit.rows(sheet).peek(place[0])
            assert row is not None
            own.append(Own(*place, there[place], deepcopy(row.cells[place[1]])))
    looks = _own_looks(edit, old, sheet, {(cell.row, cell.column) for cell in own})
    edit.graft(model.content, [sheet], replaces=True, before=old)
    moved = sorted(place for place in looks if not _means_the_same(place, before, after))
    _put_looks(edit, sheet, {place: style for place, style in looks.items() if place not in moved})
    if moved:
        where = ", ".join(f"{letter(column)}{row}" for row, column in moved[:MOST_NAMED])
        more = f" and {len(moved) - MOST_NAMED} more" if len(moved) > MOST_NAMED else ""
        said.append(f"{sheet}!{where}{more}: had a look of your own; other words stand there now, in our look.")
    for cell in own:
        if (cell.row, cell.column) in after or edit.is_covered(sheet, cell.row, cell.column):
            edit.remark(sheet, *_shown(edit, sheet, cell), NOTE + _words(cell.content))
            said.append(
                f"{sheet}!{letter(cell.column)}{cell.row} held {_words(cell.content)!r}; it is a note there now."
            )
        else:
            _put_back(edit, sheet, cell)
    return said


def _own_looks(
    edit: WorkbookEdit, old: WorkbookEdit, sheet: str, carried: set[tuple[int, int]]
) -> dict[tuple[int, int], int]:
    """Style numbers of cells that a person made look otherwise, but for those that are carried whole."""
    theirs, ours = Looks(edit), Looks(old)
    was = {(row, column): ours.look(style) for row, column, style in styles_of(old.rows(sheet))}
    plain = ours.look(0)
    return {
        (row, column): style
        for row, column, style in styles_of(edit.rows(sheet))
        if (row, column) not in carried and theirs.look(style) != was.get((row, column), plain)
    }


def _stays(place: tuple[int, int], before: Contents, after: Contents) -> bool:
    """Whether the new layout has in a cell what the old one had."""
    was, now = before.get(place), after.get(place)
    if was is None or now is None:
        return was is now
    return was.formula == now.formula and (was.formula is not None or was.value == now.value)


def _means_the_same(place: tuple[int, int], before: Contents, after: Contents) -> bool:
    """Whether the new layout has in a cell what the old one had there, be it by another formula."""
    was, now = before.get(place), after.get(place)
    label = (place[0], 1)
    computed = was is not None and now is not None and was.formula is not None and now.formula is not None
    return _stays(place, before, after) or (computed and label != place and _stays(label, before, after))


def _put_looks(edit: WorkbookEdit, sheet: str, looks: Mapping[tuple[int, int], int]) -> None:
    rows = edit.rows(sheet)
    for (row, column), style in looks.items():
        rows.edit_cell(row, column).set("s", str(style))


def _refuse_tables(edit: WorkbookEdit, old: WorkbookEdit, sheet: str) -> None:
    """Raises EditError where a person made a table of their own on a sheet that is put anew."""
    ours = {name.casefold() for name, place in old.tables().items() if place.sheet.casefold() == sheet.casefold()}
    for name, place in edit.tables().items():
        if place.sheet.casefold() == sheet.casefold() and name.casefold() not in ours:
            reason = f"has a table {name} of your own; move it to another sheet, then try again."
            raise EditError(edit.path, sheet, reason)


def _pointing(edit: WorkbookEdit, sheet: str) -> list[str]:
    """What else points to cells of a sheet whose rows may move: a person's formulas, charts and names."""
    mark = re.compile(rf"(?<![\w.'])'?{re.escape(sheet)}'?!".encode(), re.IGNORECASE)
    found = []
    for name in edit.sheet_names:
        if name != sheet and edit.has_cells(name) and mark.search(edit.rows(name).content()):
            found.append(f"the sheet {name}")
    for part in edit.package.names():
        if "/charts/" in part and mark.search(edit.package.read(part)):
            found.append("a chart")
    for defined in edit.package.tree(edit.package.workbook).iter("{*}definedName"):
        if not str(defined.get("name")).startswith("_xlnm.") and mark.search((defined.text or "").encode()):
            found.append(f"the name {defined.get('name')}")
    words = ", ".join(dict.fromkeys(found))
    return [f"{words}: points to cells of the {sheet} sheet, which may have moved; see what it shows."] if found else []


def _alike(before: Contents, after: Contents) -> bool:
    """Whether two sheets say and compute the same, whatever the results."""
    return all(_stays(place, before, after) for place in before.keys() | after.keys())


def _damaged(edit: WorkbookEdit, sheet: str, ours: Contents) -> bool:
    """Whether a formula of ours is gone from a sheet or points to cells that are gone.

    Rows of a summary may have been put in or taken out: there, a row in which anything is computed must be whole.
    """
    there = sheet_contents(edit, sheet)
    computed = {place for place, content in there.items() if content.formula is not None}
    if any(GONE in (there[place].formula or "").upper() for place in computed):
        return True
    tables = [place for place in edit.tables().values() if place.sheet.casefold() == sheet.casefold()]
    if not tables:
        return any(content.formula is not None and place not in computed for place, content in ours.items())
    for table in tables:
        columns = range(table.first_column, table.last_column + 1)
        for row in range(table.first_row, table.last_row + 1):
            whole = sum((row, column) in computed for column in columns)
            if 0 < whole < len(columns):
                return True
    return False


def _is_own(content: Content, ours: Content | None, words: set[str | None]) -> bool:
    """Whether a person wrote what a cell holds; a text of ours that stands elsewhere now was only moved."""
    if content.formula is not None:
        return ours is None or ours.formula is None
    if ours is not None and ours.formula is None and _same_value(content, ours):
        return False
    return not (content.kind == "str" and content.value in words)


def _same_value(content: Content, other: Content) -> bool:
    if content.kind == other.kind == "n" and content.value and other.value:
        return float(content.value) == float(other.value)
    return (content.kind, content.value) == (other.kind, other.value)


def _words(content: Content) -> str:
    return f"={content.formula}" if content.formula is not None else str(content.value)


def _shown(edit: WorkbookEdit, sheet: str, cell: Own) -> tuple[int, int]:
    """The cell that shows a note: the first of merged ones."""
    for entry in edit.rows(sheet).frame().iter("{*}mergeCell"):
        area = Area.of(entry.get("ref", ""))
        if area is not None and area.holds(cell.row, cell.column):
            return area.top, area.left
    return cell.row, cell.column


def _put_back(edit: WorkbookEdit, sheet: str, cell: Own) -> None:
    rows = edit.rows(sheet)
    made = rows.make_cell(cell.row, cell.column, cell.cell.get("s"))
    for child in cell.cell:
        made.append(deepcopy(child))
    if cell.cell.get("t") is not None:
        made.set("t", cell.cell.get("t"))
    if cell.content.formula is not None:
        fill_formula(made, Content(cell.content.formula, cell.content.value, cell.content.kind))
    rows.edit(cell.row).set_cell(cell.column, made)
    rows.widen(cell.row, cell.column)
