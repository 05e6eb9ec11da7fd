"""What every edit of a workbook rests on: its sheets, tables, shared texts, names and properties."""

from __future__ import annotations

import re
from dataclasses import dataclass

from lxml import etree

from workbook_tools.errors import EditError, ReadError
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.editing.parts import Element, Package, Relation, as_utf8, local, space
from workbook_tools.xlsx.editing.sheet_rows import ATTRIBUTES, ORDER, SheetRows, place_of
from workbook_tools.xlsx.reading import Archive
from workbook_tools.xlsx.writing.cells import escaped_cell, xml_text

OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
SPREADSHEET_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml."
ESCAPED = re.compile("_x([0-9A-Fa-f]{4})_")
CUSTOM = "http://schemas.openxmlformats.org/officeDocument/2006/custom-properties"
CUSTOM_TYPE = "application/vnd.openxmlformats-officedocument.custom-properties+xml"
VARIANT = "http://schemas.openxmlformats.org/officeDocument/2006/docPropsVTypes"
PROPERTY_FORMAT = "{D5CDD505-2E9C-101B-9397-08002B2CF9AE}"  # the one format that custom properties have
# ECMA-376 Part 1, 18.2.27
WORKBOOK_ORDER = (
    *("fileVersion", "fileSharing", "workbookPr", "AlternateContent", "revisionPtr", "absPath", "workbookProtection"),
    *("bookViews", "sheets", "functionGroups", "externalReferences", "definedNames", "calcPr", "oleSize"),
    *("customWorkbookViews", "pivotCaches", "smartTagPr", "smartTagTypes", "webPublishing", "fileRecoveryPr"),
    *("webPublishObjects", "extLst"),
)


@dataclass(frozen=True)
class TablePlace:
    """Where a table stands: rows and columns from 1, headings as they are read."""

    name: str
    sheet: str
    heading_row: int
    last_row: int
    first_column: int
    headings: tuple[str, ...]
    part: str
    totals: bool = False

    @property
    def first_row(self) -> int:
        return self.heading_row + 1

    @property
    def last_column(self) -> int:
        return self.first_column + len(self.headings) - 1

    def column(self, heading: str) -> int:
        """Column number of a heading; raises KeyError."""
        folded = [own.strip().casefold() for own in self.headings]
        if heading.strip().casefold() not in folded:
            raise KeyError(heading)
        return self.first_column + folded.index(heading.strip().casefold())


def escaped(text: str) -> str:
    """Text as an element of a part may hold it, before its signs are written as XML; see `cells.xml_text`."""
    return escaped_cell(text).replace("\r", "_x000D_")


def unescaped(text: str) -> str:
    """A text of a part with its _xHHHH_ escapes undone."""
    return ESCAPED.sub(lambda match: chr(int(match[1], 16)), text) if "_x" in text else text


def link_id(element: Element) -> str:
    """The r:id of an element, in the usual or the strict namespace."""
    names = (name for name in element.attrib if str(name).endswith("relationships}id"))
    return str(element.get(next(names, "id"), ""))


def link_name(root: Element) -> str:
    """Name of the r:id attribute in a part's own dialect."""
    strict = space(root).startswith("http://purl.oclc.org/")
    return f"{{{'http://purl.oclc.org/ooxml/officeDocument/relationships' if strict else OFFICE}}}id"


class SharedTexts:
    """The shared table of texts: new ones go to its end, none is numbered anew."""

    def __init__(self, package: Package) -> None:
        self.package = package
        self.part = package.related(package.workbook, "sharedStrings")
        self.new: dict[str, int] = {}
        self.uses = 0
        self._there: int | None = None

    def number(self, text: str) -> int:
        self.uses += 1
        return self.new.setdefault(text, self._count() + len(self.new))

    def _source(self) -> bytes:
        return as_utf8(self.package.read(self.part), self.part, self.package.path)

    def _count(self) -> int:
        if self._there is None:
            if not self.part:
                self.part = "xl/sharedStrings.xml"
                if self.package.has(self.part):
                    self.part = self.package.free_name("xl/sharedStrings{}.xml")
                empty = f'<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n<sst xmlns="{MAIN}"/>'
                self.package.add(self.part, empty.encode(), f"{SPREADSHEET_TYPE}sharedStrings+xml")
                self.package.relate(self.package.workbook, f"{OFFICE}/sharedStrings", self.part)
            source = re.sub(rb"<!--.*?-->|<!\[CDATA\[.*?\]\]>", b"", self._source(), flags=re.DOTALL)
            self._there = len(re.findall(rb"<(?:[\w.-]+:)?si(?=[\s/>])", source))
        return self._there

    def texts(self) -> list[str]:
        """The texts of the table, new ones included, without their formats."""
        root = self.package.tree(self.part) if self.part else ()
        there = [
            unescaped("".join(t.text or "" for t in item.iter("{*}t") if local(t.getparent()) != "rPh"))
            for item in root
            if local(item) == "si"
        ]
        return [*there, *self.new]

    def write(self) -> None:
        """Write the new ones to the end of the part."""
        if not self.new:
            return
        source = self._source()
        opening = re.search(rb"<((?:[\w.-]+:)?)sst(?=[\s/>])(" + ATTRIBUTES + rb")>", source)
        if opening is None:
            raise ReadError(self.package.path, f"its part {self.part} is no table of texts.")
        prefix, attributes = opening[1], opening[2]
        whole = self._count() + len(self.new)
        attributes = re.sub(
            rb"(\scount\s*=\s*[\"'])(\d+)", lambda m: m[1] + b"%d" % (int(m[2]) + self.uses), attributes
        )
        attributes = re.sub(rb"(\suniqueCount\s*=\s*[\"'])\d+", rb"\g<1>%d" % whole, attributes)
        tag = prefix.decode()
        items = "".join(
            f'<{tag}si><{tag}t xml:space="preserve">{xml_text(text)}</{tag}t></{tag}si>' for text in self.new
        ).encode()
        empty = attributes.rstrip().endswith(b"/")
        start = b"<" + prefix + b"sst" + (attributes.rstrip()[:-1] if empty else attributes) + b">"
        if empty:
            content = source[: opening.start()] + start + items + b"</" + prefix + b"sst>" + source[opening.end() :]
        else:
            end = source.rindex(b"</" + prefix + b"sst")
            content = source[: opening.start()] + start + source[opening.end() : end] + items + source[end:]
        self.package.write(self.part, content)
        self._there, self.new, self.uses = whole, {}, 0


class Book:
    """A workbook that is being edited."""

    def __init__(self, content: bytes | Archive, path: object = "workbook") -> None:
        self.path = path
        self.package = Package(content, path)
        self.texts = SharedTexts(self.package)
        self._rows: dict[str, SheetRows] = {}
        self._sheet_parts: dict[str, str] = {}  # a sheet keeps its part for good
        self._table_ids = 0
        self.formulas_changed = False
        self.values_changed = False

    # ------------------------------------------------------------------------------------------------ sheets

    @property
    def sheet_names(self) -> tuple[str, ...]:
        return tuple(sheet.get("name", "") for sheet in self.sheet_elements())

    def sheet_elements(self) -> list[Element]:
        root = self.package.tree(self.package.workbook)
        return [sheet for sheets in root if local(sheets) == "sheets" for sheet in sheets if local(sheet) == "sheet"]

    def sheet_element(self, name: str) -> Element:
        folded = name.casefold()
        for sheet in self.sheet_elements():
            if sheet.get("name", "").casefold() == folded:
                return sheet
        raise EditError(self.path, name, "there is no such sheet.")

    def relation(self, part: str, identifier: str) -> Relation:
        for relation in self.package.relations(part):
            if relation.id == identifier:
                return relation
        raise ReadError(self.path, f"is damaged: its part {part} points to {identifier}, which is nothing.")

    def part_of(self, sheet: str) -> str:
        """The part of a sheet of cells."""
        if sheet in self._sheet_parts:
            return self._sheet_parts[sheet]
        relation = self.relation(self.package.workbook, link_id(self.sheet_element(sheet)))
        if relation.kind != "worksheet":
            raise EditError(self.path, sheet, "is no sheet of cells.")
        self._sheet_parts[sheet] = relation.target
        return relation.target

    def has_cells(self, sheet: str) -> bool:
        """Whether a sheet is one of cells, and not a chart that fills a sheet."""
        return self.relation(self.package.workbook, link_id(self.sheet_element(sheet))).kind == "worksheet"

    def rows(self, sheet: str) -> SheetRows:
        """The rows of a sheet."""
        part = self.part_of(sheet)
        if part not in self._rows:
            self._rows[part] = SheetRows(self.package.read(part), part, self.path)
        return self._rows[part]

    def forget(self, part: str) -> None:
        """Read a sheet's rows anew when they are asked for: its part was written as a whole."""
        self._rows.pop(part, None)

    # ------------------------------------------------------------------------------------------------ tables

    def tables(self) -> dict[str, TablePlace]:
        """Every table of the workbook by its name."""
        found = {}
        for name in self.sheet_names:
            relation = self.relation(self.package.workbook, link_id(self.sheet_element(name)))
            if relation.kind == "worksheet":
                for link in self.package.relations(relation.target):
                    if link.kind == "table":
                        place = self._table(name, link.target)
                        found[place.name] = place
        return found

    def table(self, name: str) -> TablePlace:
        for own, place in self.tables().items():
            if own.casefold() == name.casefold():
                return place
        raise EditError(self.path, name, "there is no such table.")

    def _table(self, sheet: str, part: str) -> TablePlace:
        root = self.package.tree(part)
        first, _, last = root.get("ref", "").partition(":")
        top, bottom = place_of(first), place_of(last or first)
        if top is None or bottom is None:
            raise ReadError(self.path, f"is damaged: its part {part} says no place.")
        columns = [column for group in root if local(group) == "tableColumns" for column in group]
        headings = tuple(unescaped(column.get("name", "")) for column in columns if local(column) == "tableColumn")
        totals = int(root.get("totalsRowCount", "0"))
        heading_row = top[0] if root.get("headerRowCount", "1") != "0" else top[0] - 1
        name = root.get("displayName") or root.get("name", "")
        return TablePlace(name, sheet, heading_row, bottom[0] - totals, top[1], headings, part, totals > 0)

    def free_table_id(self) -> int:
        """A number that no table has."""
        roots = (self.package.tree(place.part) for place in self.tables().values())
        self._table_ids = max([self._table_ids, *(int(root.get("id", "0")) for root in roots)]) + 1
        return self._table_ids

    def stretch(self, place: TablePlace, last_row: int, last_column: int) -> Element:
        """Let a table and its filter reach to another row and column; its tree, to be changed further, is answered."""
        root = self.package.tree(place.part, change=True)
        first = place.heading_row if root.get("headerRowCount", "1") != "0" else place.first_row
        old = f"{letter(place.first_column)}{first}:{letter(place.last_column)}{place.last_row}"
        root.set("ref", f"{letter(place.first_column)}{first}:{letter(last_column)}{last_row}")
        for entry in root.iter("{*}autoFilter"):
            if entry.get("ref") == old:
                entry.set("ref", root.get("ref"))
        for entry in root.iter("{*}sortState"):
            top, _, _ = entry.get("ref", "").partition(":")
            corner = place_of(entry.get("ref", "").rpartition(":")[2])
            if corner is not None and corner[0] == place.last_row:
                entry.set("ref", f"{top}:{letter(corner[1])}{last_row}")
        return root

    # ----------------------------------------------------------------------------------- the workbook itself

    def place_in_workbook(self, element: Element) -> None:
        """Put an element where its kind belongs in the workbook part."""
        root = self.package.tree(self.package.workbook, change=True)
        rank = WORKBOOK_ORDER.index(local(element))
        before = [c for c in root if local(c) in WORKBOOK_ORDER and WORKBOOK_ORDER.index(local(c)) <= rank]
        root.insert(root.index(before[-1]) + 1 if before else 0, element)

    def need_in_workbook(self, name: str) -> Element:
        root = self.package.tree(self.package.workbook)
        for child in root:
            if local(child) == name:
                return child
        made = etree.Element(f"{{{space(root)}}}{name}", nsmap=root.nsmap)
        self.place_in_workbook(made)
        return made

    def recalculate_on_opening(self) -> None:
        """Have a spreadsheet program compute every formula when it opens the file."""
        if self.need_in_workbook("calcPr").get("fullCalcOnLoad") not in ("1", "true"):
            self.package.tree(self.package.workbook, change=True)
            self.need_in_workbook("calcPr").set("fullCalcOnLoad", "1")

    def drop_calculation_order(self) -> None:
        """Take out the list of formula cells, which is wrong once there are others; programs write it anew."""
        for relation in self.package.relations(self.package.workbook):
            if relation.kind == "calcChain":
                self.package.unrelate(self.package.workbook, relation.id)
                self.package.remove(relation.target)

    def set_name(self, name: str, text: str, comment: str | None = None, sheet: int | None = None) -> None:
        """Define a name, or give it another text; `sheet` is the position of the sheet that it belongs to."""
        names = self.need_in_workbook("definedNames")
        root = self.package.tree(self.package.workbook, change=True)
        scope = None if sheet is None else str(sheet)
        alike = [n for n in names if n.get("name", "").casefold() == name.casefold() and n.get("localSheetId") == scope]
        entry = alike[0] if alike else etree.SubElement(names, f"{{{space(root)}}}definedName")
        entry.set("name", entry.get("name") or name)
        if scope is not None:
            entry.set("localSheetId", scope)
        if comment:
            entry.set("comment", comment)
        entry.text = text

    def set_property(self, name: str, value: str) -> None:
        """Set a custom document property to a text."""
        part = self.package.related("", "custom-properties")
        if not part:
            part = "docProps/custom.xml" if not self.package.has("docProps/custom.xml") else "docProps/custom2.xml"
            self.package.add(part, f'<Properties xmlns="{CUSTOM}"/>'.encode(), CUSTOM_TYPE)
            self.package.relate("", f"{OFFICE}/custom-properties", part)
        root = self.package.tree(part, change=True)
        found = next((entry for entry in root if entry.get("name") == name), None)
        if found is None:
            taken = [int(entry.get("pid", "1")) for entry in root]
            found = etree.SubElement(root, f"{{{space(root)}}}property")
            found.set("fmtid", PROPERTY_FORMAT)
            found.set("pid", str(max(taken, default=1) + 1))
            found.set("name", name)
        for child in list(found):
            found.remove(child)
        etree.SubElement(found, f"{{{VARIANT}}}lpwstr", nsmap={"vt": VARIANT}).text = value

    def property(self, name: str) -> str | None:
        """A custom document property as text; None where there is none."""
        part = self.package.related("", "custom-properties")
        for entry in self.package.tree(part) if part else ():
            if entry.get("name") == name:
                return "".join(str(text) for text in entry.itertext())
        return None

    # ------------------------------------------------------------------------------------------------- write

    def content(self) -> bytes:
        """The edited file. The same edits of the same file give the same bytes."""
        if self.formulas_changed:
            self.drop_calculation_order()
        if self.formulas_changed or self.values_changed:
            self.recalculate_on_opening()
        self.texts.write()
        for part, rows in self._rows.items():
            if rows.edited or rows.whole or rows.frame_changed:
                self.package.write(part, rows.content())
        return self.package.content()


__all__ = ["ORDER", "Book", "SharedTexts", "TablePlace", "escaped", "link_id", "link_name", "unescaped"]
