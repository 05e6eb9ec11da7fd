"""Puts notes on cells: the comments part and the drawing that shows them, made where a sheet has none yet."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

from lxml import etree

from workbook_tools.errors import EditError
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.editing.book import MAIN, OFFICE, SPREADSHEET_TYPE, escaped, link_id, link_name
from workbook_tools.xlsx.editing.parts import Element, as_utf8, local, space

if TYPE_CHECKING:
    from workbook_tools.xlsx.editing.book import Book

AUTHOR = "workbook-tools"
DRAWING_TYPE = "application/vnd.openxmlformats-officedocument.vmlDrawing"
THREAD = "tc="  # how the author of a note begins that only stands for a thread of comments
SPACES = (  # named on every shape: another program may not have named them at the top
    'xmlns:v="urn:schemas-microsoft-com:vml" xmlns:o="urn:schemas-microsoft-com:office:office" '
    'xmlns:x="urn:schemas-microsoft-com:office:excel"'
)
NEW_DRAWING = (
    f'<xml {SPACES}><o:shapelayout v:ext="edit"><o:idmap v:ext="edit" data="{{block}}"/></o:shapelayout></xml>'
)
SHAPE_TYPE = (
    f"<v:shapetype {SPACES} "
    'id="_x0000_t202" coordsize="21600,21600" o:spt="202" path="m,l,21600r21600,l21600,xe">'
    '<v:stroke joinstyle="miter"/><v:path gradientshapeok="t" o:connecttype="rect"/></v:shapetype>'
)
SHAPE = (
    f"<v:shape {SPACES} "
    'id="_x0000_s{number}" type="#_x0000_t202" style="position:absolute;margin-left:60pt;margin-top:1.5pt;'
    'width:220pt;height:{height}pt;z-index:{z};visibility:hidden" fillcolor="#ffffe1" o:insetmode="auto">'
    '<v:fill color2="#ffffe1"/><v:shadow on="t" color="black" obscured="t"/><v:path o:connecttype="none"/>'
    '<v:textbox style="mso-direction-alt:auto"><div style="text-align:left"></div></v:textbox>'
    '<x:ClientData ObjectType="Note"><x:MoveWithCells/><x:SizeWithCells/>'
    "<x:Anchor>{left}, 15, {top}, 2, {right}, 15, {bottom}, 4</x:Anchor><x:AutoFill>False</x:AutoFill>"
    "<x:Row>{row}</x:Row><x:Column>{column}</x:Column></x:ClientData></v:shape>"
)
CHARACTERS_A_LINE = 42


class SheetNotes:
    """The notes of one sheet, gathered and written together: a sheet may get thousands."""

    def __init__(self, book: Book, sheet: str) -> None:
        self.book, self.sheet = book, sheet
        self.rows = book.rows(sheet)
        part = book.package.related(self.rows.name, "comments")
        self.threads = _threads(book.package.tree(part)) if part else set()
        self.part = part
        self.notes: dict[str, Element] | None = None
        self.shapes: list[tuple[int, int, str]] = []

    def add(self, row: int, column: int, text: str) -> None:
        """Put a note on a cell, below a note that is there."""
        ref = f"{letter(column)}{row}"
        if ref in self.threads:
            raise EditError(self.book.path, f"{self.sheet}!{ref}", "has a thread of comments, which is left as it is.")
        self.part = self.part or _new_comments(self.book, self.rows.name)
        root = self.book.package.tree(self.part, change=True)
        if self.notes is None:
            self.notes = {note.get("ref", ""): note for note in root.iter("{*}comment")}
        if ref in self.notes:
            _add_text(self.notes[ref], f"\n\n{text}")
            return
        comments = next(child for child in root if local(child) == "commentList")
        note = etree.SubElement(comments, f"{{{space(root)}}}comment")
        note.set("ref", ref)
        note.set("authorId", str(_author(root)))
        etree.SubElement(note, f"{{{space(root)}}}text")
        _add_text(note, text)
        self.notes[ref] = note
        self.shapes.append((row, column, text))

    def write(self) -> None:
        """Add the boxes of new notes to the sheet's drawing."""
        if self.shapes:
            _draw(self.book, self.sheet, self.shapes)
            self.shapes = []


def _threads(root: Element) -> set[str]:
    """Cells whose note only stands for a thread of comments."""
    authors = [author.text or "" for author in root.iter("{*}author")]
    threads = {str(number) for number, author in enumerate(authors) if author.startswith(THREAD)}
    return {note.get("ref", "") for note in root.iter("{*}comment") if note.get("authorId") in threads}


def _new_comments(book: Book, sheet_part: str) -> str:
    part = book.package.free_name("xl/comments{}.xml")
    empty = f'<comments xmlns="{MAIN}"><authors/><commentList/></comments>'
    book.package.add(part, empty.encode(), f"{SPREADSHEET_TYPE}comments+xml")
    book.package.relate(sheet_part, f"{OFFICE}/comments", part)
    return part


def _author(root: Element) -> int:
    """Our number among the authors."""
    authors = next(child for child in root if local(child) == "authors")
    for number, author in enumerate(authors):
        if author.text == AUTHOR:
            return number
    etree.SubElement(authors, f"{{{space(root)}}}author").text = AUTHOR
    return len(authors) - 1


def _add_text(note: Element, text: str) -> None:
    """Add to the end of a note, in a run of its own."""
    name = f"{{{space(note)}}}"
    body = next(child for child in note if local(child) == "text")
    for plain in [child for child in body if local(child) == "t"]:
        run = etree.Element(f"{name}r")
        body.replace(plain, run)
        run.append(plain)
    run = etree.Element(f"{name}r")
    written = etree.SubElement(run, f"{name}t")
    written.text = escaped(text)
    written.set("{http://www.w3.org/XML/1998/namespace}space", "preserve")
    runs = [child for child in body if local(child) == "r"]
    body.insert(body.index(runs[-1]) + 1 if runs else 0, run)


# -------------------------------------------------------------------------------------------------- the drawing


def _draw(book: Book, sheet: str, notes: Sequence[tuple[int, int, str]]) -> None:
    """The boxes in which notes are shown; added to the end of the sheet's drawing, which need not be a tree of ours."""
    part = _drawing(book, sheet)
    content = as_utf8(book.package.read(part), part, book.path)
    end = content.rfind(b"</xml")
    if end < 0:
        raise EditError(book.path, sheet, f"has notes in a drawing that cannot be read ({part}).")
    numbers = [int(number) for number in re.findall(rb"_x0000_s(\d+)", content)]
    block = re.search(rb"<o:idmap[^>]*\sdata=[\"'](\d+)", content)
    before = max([*numbers, 1024 * int(block[1] if block else 1)])
    shapes = [] if b'id="_x0000_t202"' in content else [SHAPE_TYPE]
    for number, (row, column, text) in enumerate(notes, start=1):
        lines = sum(1 + len(line) // CHARACTERS_A_LINE for line in text.split("\n"))
        shape = SHAPE.format(
            number=before + number,
            z=len(numbers) + number,
            height=14 * (lines + 1),
            left=column,
            right=column + 4,
            top=max(row - 2, 0),
            bottom=max(row - 2, 0) + lines + 2,
            row=row - 1,
            column=column - 1,
        )
        shapes.append(shape)
    book.package.write(part, content[:end] + "".join(shapes).encode() + content[end:])


def _drawing(book: Book, sheet: str) -> str:
    """The part with the boxes of a sheet's notes; made where there is none."""
    rows = book.rows(sheet)
    element = rows.child("legacyDrawing")
    if element is not None:
        return book.relation(rows.name, link_id(element)).target
    part = book.package.free_name("xl/drawings/vmlDrawing{}.vml")
    block = book.sheet_names.index(book.sheet_element(sheet).get("name", "")) + 1
    book.package.write(part, NEW_DRAWING.format(block=block).encode())
    book.package.default_type("vml", DRAWING_TYPE)
    made = rows.need("legacyDrawing")
    made.set(link_name(rows.frame()), book.package.relate(rows.name, f"{OFFICE}/vmlDrawing", part))
    return part
