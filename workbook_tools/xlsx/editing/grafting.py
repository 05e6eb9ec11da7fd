"""Copies whole sheets from a workbook that this project built into another one, with all that belongs to them."""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping, Sequence
from copy import deepcopy

from lxml import etree

from workbook_tools.errors import EditError
from workbook_tools.xlsx.editing.appending import set_width
from workbook_tools.xlsx.editing.book import OFFICE, Book, link_id, link_name
from workbook_tools.xlsx.editing.own_additions import own_elements, own_widths, put_own
from workbook_tools.xlsx.editing.parts import RELATIONS, Element, Package, local, relations_of, space, written
from workbook_tools.xlsx.editing.sheet_rows import SheetRows
from workbook_tools.xlsx.editing.style_grafting import StyleGraft
from workbook_tools.xlsx.reading.contents import joined_path, relative

__all__ = ["StyleGraft", "graft"]

STYLED = re.compile(rb'<((?:\w+:)?)(c|row)(?=\s)((?:\s[\w:.]+="[^"]*")*)\s*(/?)>')
STYLE = re.compile(rb'(\ss=")(\d+)"')
TEXT_CELL = re.compile(rb'(<(?:\w+:)?c(?=\s)[^>]*\st="s"[^>]*>\s*<(?:\w+:)?v>)(\d+)(</)')
SHARED = ("styles", "theme", "sharedStrings")
KEPT = {"drawing": "drawing", "vmlDrawing": "legacyDrawing", "comments": "", "threadedComment": "", "hyperlink": ""}
LOOKS = ("dxfId", "headerRowDxfId", "dataDxfId", "totalsRowDxfId", "headerRowBorderDxfId", "tableBorderDxfId")


def graft(book: Book, other: Book, sheets: Sequence[str], replaces: bool, before: Book | None = None) -> None:
    """Copy whole sheets; see `WorkbookEdit.graft`."""
    there = {name.casefold() for name in book.sheet_names}
    for name in sheets:
        other.sheet_element(name)
        if name.casefold() in there and not replaces:
            raise EditError(book.path, name, "there is a sheet of that name already.")
    work = _Graft(book, other, before)
    work.check_tables(sheets)
    for name in sheets:
        work.sheet(name)
    book.formulas_changed = True


class _Graft:
    """One graft: what was copied already, and under which name."""

    def __init__(self, book: Book, other: Book, before: Book | None) -> None:
        self.book, self.other, self.before = book, other, before
        self.styles = StyleGraft(book, other)
        self.other_texts = other.texts.texts()
        self.copies: dict[str, str] = {}
        self.table_ids: dict[str, str] = {}  # of tables that were taken out, by name
        self.free_ids = itertools.count(book.free_table_id())  # asked before any table is taken out
        self.old_drawing = ""  # a person's, where the new sheet has one as well

    def check_tables(self, sheets: Sequence[str]) -> None:
        """No table may take the name of one that stays."""
        folded = {name.casefold() for name in sheets}
        stay = {n.casefold() for n, place in self.book.tables().items() if place.sheet.casefold() not in folded}
        for name, place in self.other.tables().items():
            if place.sheet.casefold() in folded and name.casefold() in stay:
                raise EditError(self.book.path, place.sheet, f"there is a table {name} on another sheet already.")

    # ------------------------------------------------------------------------------------------------ sheets

    def sheet(self, name: str) -> None:
        source = self.other.part_of(name)
        rows = SheetRows(self._cells(self.other.rows(name).content()), source, self.other.path)
        old = self.book.part_of(name) if name.casefold() in {n.casefold() for n in self.book.sheet_names} else ""
        part = old or self.book.package.free_name("xl/worksheets/sheet{}.xml")
        frame = rows.frame(change=True)
        self._looks(frame)
        for column in frame.iter("{*}col"):
            if column.get("style") is not None:
                column.set("style", str(self.styles.numbers[int(column.get("style"))]))
        for view in frame.iter("{*}sheetView"):
            view.attrib.pop("tabSelected", None)
        kept = self._keep(rows, name, {link.kind for link in self.other.package.relations(source)}) if old else []
        links = [*self._links(source), *kept]
        if self.old_drawing:
            drawing = next(str(link.get("Target")) for link in links if link.get("Type", "").endswith("/drawing"))
            merge_drawings(self.book.package, self.old_drawing, drawing.lstrip("/"))
            self.old_drawing = ""
        if old:
            self.book.package.write(part, rows.content())
            self.book.forget(part)
        else:
            self.book.package.add(part, rows.content(), self.other.package.content_type(source))
            self._list(name, part)
        self._write_links(part, links)
        self._names(name)

    def _cells(self, content: bytes) -> bytes:
        """A sheet's cells with our numbers of their styles and texts."""
        styles = {b"%d" % old: b"%d" % new for old, new in self.styles.numbers.items()}

        def styled(tag: re.Match[bytes]) -> bytes:
            return STYLE.sub(lambda style: style[1] + styles[style[2]] + b'"', tag[0])

        def text(cell: re.Match[bytes]) -> bytes:
            return cell[1] + b"%d" % self.book.texts.number(self.other_texts[int(cell[2])]) + cell[3]

        return TEXT_CELL.sub(text, STYLED.sub(styled, content))

    def _looks(self, root: Element) -> None:
        for element in root.iter():
            for name in LOOKS:
                if isinstance(element.tag, str) and element.get(name) is not None:
                    element.set(name, str(self.styles.notices[int(element.get(name))]))

    def _keep(self, rows: SheetRows, sheet: str, there: set[str]) -> list[Element]:
        """Take out the tables of a sheet that is put anew, and keep its drawings and notes on the new one.

        `there` are the kinds of parts that the new one has. Relations for what is kept are answered.
        """
        package = self.book.package
        old = self.book.part_of(sheet)
        own = package.tree(relations_of(old)) if package.has(relations_of(old)) else ()
        kept: dict[str, Element] = {}
        for number, link in enumerate(list(own), start=1):
            kind = link.get("Type", "").rpartition("/")[2]
            target = self.book.relation(old, link.get("Id")).target
            if kind == "table":
                self._forget_table(old, link.get("Id"))
            elif kind == "printerSettings":
                package.remove(target)
            elif kind == "drawing" and kind in there:
                self.old_drawing = target
            elif kind not in KEPT or kind in there:
                reason = f"has a {kind} of your own, which would be lost; move it to another sheet, then try again."
                raise EditError(self.book.path, sheet, reason)
            else:
                kept[link.get("Id")] = deepcopy(link)
                kept[link.get("Id")].set("Id", f"rIdKept{number}")
                if link.get("TargetMode") != "External":
                    kept[link.get("Id")].set("Target", f"/{target}")
        self._show_kept(rows, sheet, kept)
        return list(kept.values())

    def _show_kept(self, rows: SheetRows, sheet: str, kept: Mapping[str, Element]) -> None:
        """Put the elements that show what is kept, and what a person put round the cells, into the new sheet."""
        old = self.book.rows(sheet).frame()
        shown = [deepcopy(e) for e in old if local(e) in (*KEPT.values(), "legacyDrawingHF") and link_id(e) in kept]
        ours = (self.before or self.other).rows(sheet).frame()
        own = own_elements(old, ours)
        for element in (*shown, *own):
            for part in (element, *element):
                if isinstance(part.tag, str) and link_id(part):
                    self._point(part, link_name(rows.frame()), kept)
        for element in shown:
            rows.place_in_order(element)
        put_own(rows, own)
        for column, (width, hidden) in own_widths(old, ours).items():
            set_width(rows, column, width, hidden)

    @staticmethod
    def _point(element: Element, attribute: str, kept: Mapping[str, Element]) -> None:
        """Let an element point to what is kept; a printer's settings are not."""
        link = kept.get(link_id(element))
        for name in [name for name in element.attrib if str(name).endswith("}id")]:
            del element.attrib[name]
        if link is not None:
            element.set(attribute, link.get("Id"))

    def _forget_table(self, sheet_part: str, identifier: str) -> None:
        """Take out a table; the new one of its name gets its number, which slicers go by."""
        package = self.book.package
        part = self.book.relation(sheet_part, identifier).target
        root = package.tree(part)
        self.table_ids[root.get("name", "").casefold()] = root.get("id", "")
        package.unrelate(sheet_part, identifier)
        package.remove(part)

    def _list(self, name: str, part: str) -> None:
        """Name a new sheet in the workbook, behind the one that it stands behind in the other workbook."""
        package = self.book.package
        root = package.tree(package.workbook, change=True)
        listed = self.book.need_in_workbook("sheets")
        own = [entry.casefold() for entry in self.book.sheet_names]
        order = [entry.casefold() for entry in self.other.sheet_names]
        before = [own.index(entry) for entry in order[: order.index(name.casefold())] if entry in own]
        at = max(before) + 1 if before else len(own)
        entry = etree.Element(f"{{{space(root)}}}sheet")
        entry.set("name", self.other.sheet_element(name).get("name", ""))
        entry.set("sheetId", str(max((int(s.get("sheetId", "0")) for s in self.book.sheet_elements()), default=0) + 1))
        entry.set(link_name(root), package.relate(package.workbook, f"{OFFICE}/worksheet", part))
        listed.insert(at, entry)
        for view in root.iter("{*}workbookView"):
            for attribute in ("activeTab", "firstSheet"):
                if int(view.get(attribute, "0")) >= at:
                    view.set(attribute, str(int(view.get(attribute, "0")) + 1))
        for defined in root.iter("{*}definedName"):
            if int(defined.get("localSheetId", "-1")) >= at:
                defined.set("localSheetId", str(int(defined.get("localSheetId")) + 1))

    def _names(self, sheet: str) -> None:
        """The names that belong to a sheet: its own, and those of the whole workbook that point to it."""
        position = [name.casefold() for name in self.other.sheet_names].index(sheet.casefold())
        here = [name.casefold() for name in self.book.sheet_names].index(sheet.casefold())
        pointing = re.compile(rf"(?:^|[^\w.']){re.escape(sheet)}!|'{re.escape(sheet)}'!")
        for defined in self.other.package.tree(self.other.package.workbook).iter("{*}definedName"):
            scope = defined.get("localSheetId")
            if scope == str(position) or (scope is None and pointing.search(defined.text or "")):
                self.book.set_name(
                    defined.get("name", ""),
                    defined.text or "",
                    defined.get("comment"),
                    None if scope is None else here,
                )

    # ------------------------------------------------------------------------------------------ other parts

    def _links(self, source: str) -> list[Element]:
        """What a copied part points to, with the parts behind it copied; the ids stay."""
        links = []
        package = self.other.package
        kinds = (
            {link.get("Id"): str(link.get("Type")) for link in package.tree(relations_of(source))}
            if package.has(relations_of(source))
            else {}
        )
        for relation in package.relations(source):
            made = etree.Element(f"{{{RELATIONS}}}Relationship")
            made.set("Id", relation.id)
            made.set("Type", kinds[relation.id])
            made.set(
                "Target", relation.target if relation.outside else f"/{self._copy(relation.target, relation.kind)}"
            )
            if relation.outside:
                made.set("TargetMode", "External")
            links.append(made)
        return links

    def _write_links(self, part: str, links: list[Element]) -> None:
        root = etree.Element(f"{{{RELATIONS}}}Relationships", nsmap={None: RELATIONS})
        for link in links:
            if link.get("TargetMode") != "External":
                link.set("Target", relative(part, joined_path(part, str(link.get("Target")))))
        root.extend(links)
        if links:
            self.book.package.write(relations_of(part), written(root))
        elif self.book.package.has(relations_of(part)):
            self.book.package.discard(relations_of(part))

    def _copy(self, source: str, kind: str) -> str:
        """Name here of a part of the other workbook, which is copied with all that it points to."""
        package, theirs = self.book.package, self.other.package
        if source in self.copies:
            return self.copies[source]
        if kind in SHARED:
            return package.related(package.workbook, kind)
        name = package.free_name(re.sub(r"\d*(\.\w+)$", r"{}\1", source))
        self.copies[source] = name
        links = self._links(source)
        if source.endswith(".xml"):
            root = deepcopy(theirs.tree(source))
            self._looks(root)
            if kind == "table":
                old = self.table_ids.get(root.get("name", "").casefold())
                root.set("id", old or str(next(self.free_ids)))
            elif kind == "pivotTable":
                cache = next(link for link in links if link.get("Type", "").endswith("/pivotCacheDefinition"))
                root.set("cacheId", self._cache(str(cache.get("Target")).lstrip("/")))
            content = written(root)
        else:
            content = theirs.read(source)
        override = theirs.content_type(source)
        package.default_type(name.rpartition(".")[2].lower(), override)
        package.add(name, content, override)
        self._write_links(name, links)
        return name

    def _cache(self, part: str) -> str:
        """Number of a pivot cache in our workbook, where it is named now."""
        caches = self.book.need_in_workbook("pivotCaches")
        package = self.book.package
        for entry in caches:
            if self.book.relation(package.workbook, link_id(entry)).target == part:
                return str(entry.get("cacheId"))
        root = package.tree(package.workbook, change=True)
        entry = etree.SubElement(caches, f"{{{space(root)}}}pivotCache")
        entry.set("cacheId", str(max((int(e.get("cacheId", "0")) for e in caches), default=0) + 1))
        entry.set(link_name(root), package.relate(package.workbook, f"{OFFICE}/pivotCacheDefinition", part))
        return str(entry.get("cacheId"))


def merge_drawings(package: Package, source: str, target: str) -> None:
    """Put everything that one drawing shows into another as well; the parts behind it, charts and pictures, stay."""
    root, old = package.tree(target, change=True), package.tree(source)
    kinds = package.tree(relations_of(source)) if package.has(relations_of(source)) else ()
    ids = {}
    for relation in package.relations(source):
        kind = next(str(link.get("Type")) for link in kinds if link.get("Id") == relation.id)
        ids[relation.id] = package.relate(target, kind, relation.target, relation.outside)
    before = max((int(shape.get("id", "0")) for shape in root.iter("{*}cNvPr")), default=0)
    for anchor in old:
        copy = deepcopy(anchor)
        for element in copy.iter():
            if local(element) in ("cNvPr", "stCxn", "endCxn") and element.get("id", "").isdigit():
                element.set("id", str(int(element.get("id")) + before))
            for name, value in element.attrib.items():
                if "/relationships}" in str(name) and value in ids:
                    element.set(name, ids[value])
        root.append(copy)
    package.remove(source)
