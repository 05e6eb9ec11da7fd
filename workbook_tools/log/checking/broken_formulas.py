"""Formulas of a log that do not compute what its layout says, wherever they hide: in cells, tables, lists, names.

A formula that somebody moved, shortened or lost shows a blank or a wrong number, and IFERROR hides why. So each text is
held against the one that the layout gives for its row; other programs' spellings of the same formula count as the same.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from xml.sax.saxutils import unescape

from workbook_tools.errors import EditError
from workbook_tools.functions.texts.lambda_names import names
from workbook_tools.layout import Layout, Table
from workbook_tools.layout.formulas import choice_names
from workbook_tools.log.checking.current_layout import VERSION
from workbook_tools.log.checking.standing_layout import PlacedFormulas, PlacedTable, Placement, place
from workbook_tools.xlsx.addresses import column_number
from workbook_tools.xlsx.editing.cell_formulas import translated
from workbook_tools.xlsx.editing.parts import local
from workbook_tools.xlsx.editing.workbook_edit import TablePlace, WorkbookEdit

PREFIX = rb"(?:[A-Za-z]\w*:)?"
ROW = re.compile(rb"<" + PREFIX + rb"row\b([^>]*?)(?:/>|>(.*?)</" + PREFIX + rb"row>)", re.DOTALL)
NUMBER = re.compile(rb"""\br\s*=\s*["'](\d+)["']""")
CELL = re.compile(
    rb"<" + PREFIX + rb"""c\b[^>]*?\br\s*=\s*["']([A-Z]{1,3})\d+["'][^>]*?(?:/>|>(.*?)</""" + PREFIX + rb"c>)",
    re.DOTALL,
)
FORMULA = re.compile(rb"<" + PREFIX + rb"f\b([^>]*?)(?:/>|>(.*?)</" + PREFIX + rb"f>)", re.DOTALL)
SHARED = re.compile(rb"""\bsi\s*=\s*["'](\d+)["']""")
SHARES = re.compile(rb"""<f t="shared" si="(\d+)"/>""")
OWN_ROW = re.compile(r"(\$?[A-Z]{1,3}\$?)(\d+)(?![\w(.])")
TOKEN = re.compile(r'"(?:[^"]|"")*"|[0-9.]+(?:E[+-]?\d+)?|[A-Z_.][\w.]*(?:\(\))?|\s+|.', re.IGNORECASE | re.DOTALL)
GONE = "#REF!"
MARK = "\x00"  # the own row in a text; no file can hold it
NAMED = 5  # rows that one finding names
MEND = "Run workbook-tools mend."


@dataclass(frozen=True)
class Broken:
    """One formula or rule that does not compute what the layout says; `column` is a heading, `letters` where it is."""

    code: str
    say: str
    sheet: str = ""
    row: int = 0
    column: str = ""
    letters: str = ""
    more_rows: tuple[int, ...] = ()


def broken_formulas(edit: WorkbookEdit, layout: Layout) -> list[Broken]:
    """Everything in a log's file that does not compute what its layout says, but for cells that were typed over."""
    if edit.property(VERSION) != layout.version:
        return []  # its formulas are those of another layout
    try:
        placement = place(layout, edit)
    except EditError as error:
        return [Broken("table-lost", str(error))]
    found: list[Broken] = []
    lost: dict[str, int] = {}
    for standing in placement.tables.values():
        if standing.there is not None and standing.table.log:
            texts = _Texts(standing.table, placement.layout.tables)
            found += _in_cells(edit, standing.table, standing.there, texts)
            lost[standing.table.sheet] = _lost_by(edit, standing.table, standing.there)
    if any(lost.values()):
        sheets = in_a_list([sheet for sheet, number in lost.items() if number])
        say = (
            f"{sheets}: the tables hold no formulas for {sum(lost.values())} of their computed columns, so that rows "
            f"added in Excel stay blank. LibreOffice leaves them out when it saves. {MEND}"
        )
        found.append(Broken("column-formula-lost", say))
    found += _in_pages(edit, placement)
    found += _in_names(edit, placement.layout)
    return found


# ------------------------------------------------------------------------------------------------------ cells


class _Texts:
    """The formula texts of one table, with a mark for the own row; spellings of other programs are learned."""

    def __init__(self, table: PlacedTable, tables: Mapping[str, Table]) -> None:
        formulas = PlacedFormulas(table, tables, table.first_row)
        self.columns = {
            table.letters[column.key]: column
            for column in table.columns
            if not column.typed and column.key in table.letters
        }
        self.right = {
            place: _without_row(formulas.text(column), table.first_row) for place, column in self.columns.items()
        }
        self.known = {place: [text] for place, text in self.right.items()}

    def fits(self, place: str, text: str, row: int) -> bool:
        """Whether a cell's formula is that of its column."""
        if any(known.replace(MARK, str(row)) == text for known in self.known[place]):
            return True
        spelled = _without_row(text, row)
        if normal(spelled) != normal(self.right[place]):
            return False
        self.known[place].append(spelled)
        return True


def _without_row(text: str, row: int) -> str:
    return OWN_ROW.sub(lambda match: match[1] + (MARK if int(match[2]) == row else match[2]), text)


@lru_cache(maxsize=4096)
def normal(text: str) -> tuple[str, ...]:
    """A formula's parts, however a program spells them: letters' case, blanks, TRUE(), digits of a number."""
    parts = []
    for part in TOKEN.findall(text):
        if part[0] == '"':
            parts.append(part.casefold())  # a sheet's name in it may be spelled otherwise
        elif part[0].isdigit() or part[0] == ".":
            parts.append(_number(part))
        elif not part.isspace():
            parts.append(part.upper().removesuffix("()").removeprefix("_XLFN."))
    return tuple(parts)


def _number(text: str) -> str:
    try:
        return f"{float(text):.12g}"
    except ValueError:
        return text


def _in_cells(edit: WorkbookEdit, table: PlacedTable, there: TablePlace, texts: _Texts) -> Iterator[Broken]:
    """Cells whose formula is not that of their column, and rows of the table that have none."""
    wrong: dict[tuple[str, bool], list[int]] = {}  # rows by column, and by whether cells are gone
    shared: dict[str, tuple[str, str, int]] = {}  # number -> column, text, row of the cell that holds it
    usual: tuple[list[bytes], int] = ([], 0)  # the numbers of a row that was looked at and found right
    bare = []
    for match in ROW.finditer(edit.rows(there.sheet).content()):
        number = int(NUMBER.search(match[1])[1]) if NUMBER.search(match[1]) else 0  # type: ignore[index]
        if not there.first_row <= number <= there.last_row:
            continue
        content = match[2] or b""
        numbers = SHARES.findall(content)
        if numbers and numbers == usual[0] and content.count(b"<f") == usual[1]:
            continue
        cells = {cell[1].decode(): FORMULA.search(cell[2] or b"") for cell in CELL.finditer(content)}
        formulas = {name: found for name, found in cells.items() if found is not None and name in texts.columns}
        if not formulas and texts.columns:
            bare.append(number)
            continue
        texts_of = {name: _wrong(texts, name, found, number, shared) for name, found in formulas.items()}
        if not any(texts_of.values()) and len(formulas) == len(texts.columns):
            usual = numbers, content.count(b"<f")
        for name, text in texts_of.items():
            if text:
                wrong.setdefault((name, GONE in text.upper()), []).append(number)
    for (name, is_gone), rows in wrong.items():
        heading = texts.columns[name].heading
        more = f" in rows {in_a_list(rows)}" if len(rows) > 1 else ""
        more_rows = tuple(rows[1:])
        if is_gone:
            say = f"{heading} points to cells that are gone ({GONE}){more}. {MEND}"
            yield Broken("formula-broken", say, table.sheet, rows[0], heading, name, more_rows)
        else:
            say = (
                f"{heading} does not compute what its column does{more}: its formula was moved, shortened or changed. "
                f"{MEND}"
            )
            yield Broken("formula-changed", say, table.sheet, rows[0], heading, name, more_rows)
    if bare:
        which = f"Row{'s' if len(bare) > 1 else ''} {in_a_list(bare)}"
        say = f"{which} of the {there.sheet} table: no formulas, so that what is typed there is not computed. {MEND}"
        yield Broken("formula-lost", say, there.sheet, bare[0], more_rows=tuple(bare[1:]))


def _wrong(
    texts: _Texts, place_: str, found: re.Match[bytes], row: int, shared: dict[str, tuple[str, str, int]]
) -> str:
    """The text of a formula cell that does not compute what its column does; empty where it does."""
    text = unescape((found[2] or b"").decode(), {"&quot;": '"', "&apos;": "'"}).strip()
    number = SHARED.search(found[1])
    if number is not None and text:
        shared[number[1].decode()] = place_, text, row
    elif number is not None:
        held = shared.get(number[1].decode())
        if held is None:
            return ""  # damaged, and named by the reader
        if held[0] == place_ and texts.fits(place_, held[1], held[2]):
            return ""
        text = translated(held[1], (held[2], column_number(held[0])), (row, column_number(place_)))
    return "" if texts.fits(place_, text, row) else text or "="


def in_a_list(things: Sequence[object]) -> str:
    """Some things in words."""
    return ", ".join(map(str, things[:NAMED])) + (f" and {len(things) - NAMED} more" if len(things) > NAMED else "")


# ------------------------------------------------------------------------------------- tables, pages, names


def _lost_by(edit: WorkbookEdit, table: PlacedTable, there: TablePlace) -> int:
    """Of how many computed columns the table itself holds no formula, by which a new row would be filled."""
    wanted = {column.heading.casefold() for column in table.columns if not column.typed}
    held = {
        entry.get("name", "").strip().casefold()
        for entry in edit.package.tree(there.part).iter("{*}tableColumn")
        if any(local(child) == "calculatedColumnFormula" and GONE not in (child.text or "") for child in entry)
    }
    return len(wanted & {heading.strip().casefold() for heading in there.headings} - held)


def _in_pages(edit: WorkbookEdit, placement: Placement) -> Iterator[Broken]:
    """Formulas of pages and rules of all sheets of ours that point to cells which are gone."""
    ours = {sheet.name.casefold() for sheet in placement.layout.sheets}
    logs = {s.table.sheet.casefold() for s in placement.tables.values() if s.there is not None and s.table.log}
    for name in edit.sheet_names:
        if name.casefold() not in ours:
            continue
        content = edit.rows(name).content()
        if GONE.encode() not in content.upper():
            continue
        for row, heading in _gone_in_cells(content) if name.casefold() not in logs else ():
            say = f"{name}!{heading}{row} points to cells that are gone ({GONE}). {MEND}"
            yield Broken("formula-broken", say, name, row, "", heading)
        for element in edit.rows(name).frame().iter("{*}dataValidation", "{*}cfRule"):
            texts = [child.text or "" for child in element if local(child).startswith("formula")]
            if any(GONE in text.upper() for text in texts):
                where = element.get("sqref") or element.getparent().get("sqref", "")
                say = f"A rule of {where} points to cells that are gone ({GONE}). {MEND}"
                yield Broken("rule-broken", say, name)


def _gone_in_cells(content: bytes) -> Iterator[tuple[int, str]]:
    for match in ROW.finditer(content):
        if GONE.encode() in (match[2] or b"").upper():
            number = NUMBER.search(match[1])
            for cell in CELL.finditer(match[2]):
                found = FORMULA.search(cell[2] or b"")
                if found is not None and GONE.encode() in (found[2] or b"").upper():
                    yield int(number[1]) if number else 0, cell[1].decode()


def _in_names(edit: WorkbookEdit, layout: Layout) -> Iterator[Broken]:
    """Lists behind the drop-downs that are lost, and functions by name that Excel cannot read."""
    there = {
        entry.get("name", "").casefold(): entry.text or ""
        for entry in edit.package.tree(edit.package.workbook).iter("{*}definedName")
        if entry.get("localSheetId") is None
    }
    for name, text in choice_names(layout.tables).items():
        why = _why(there.get(name.casefold()), text)
        if why:
            yield Broken("list-lost", f"The drop-down list {name} is lost: {why}. {MEND}")
    wrong = [function.name for function in names() if there.get(function.name.casefold()) != function.text]
    if wrong:
        which = in_a_list(wrong)
        say = f"Functions by name that Excel cannot read: {which}. LibreOffice spells them so when it saves. {MEND}"
        yield Broken("name-broken", say)


def _why(text: str | None, right: str) -> str:
    """Why a name's formula is not the right one; empty where it is."""
    if text is None:
        return "the name is gone"
    if GONE in text.upper():
        return f"it points to cells that are gone ({GONE})"
    return "" if normal(text) == normal(right) else "its formula was changed"
