"""Brings another workbook's cell styles and notice looks into this one, each once."""

from __future__ import annotations

from copy import deepcopy
from functools import cached_property

from lxml import etree

from workbook_tools.errors import ReadError
from workbook_tools.xlsx.editing.book import Book
from workbook_tools.xlsx.editing.parts import Element, local, space

OWN_FORMATS = 164  # numbers below are the spreadsheet programs' own number formats
POINTERS = ("numFmtId", "fontId", "fillId", "borderId", "xfId")
# ECMA-376 Part 1, 18.8.39
STYLE_ORDER = (
    *("numFmts", "fonts", "fills", "borders", "cellStyleXfs", "cellXfs", "cellStyles", "dxfs", "tableStyles"),
    *("colors", "extLst"),
)


def _plain(element: Element) -> bytes:
    """An element as comparable text, whatever prefixes its file uses and however much of a cell style it spells out."""
    compared = deepcopy(element)
    compared.tail = None
    if local(element) == "xf":
        for name in [name for name in compared.attrib if str(name) not in POINTERS]:
            if str(name).startswith("apply") or compared.get(name) in ("0", "false"):
                del compared.attrib[name]
    return bytes(etree.tostring(compared, method="c14n", exclusive=True)).strip()


class StyleGraft:
    """Style numbers of another workbook as they are in this one."""

    def __init__(self, book: Book, other: Book) -> None:
        self.book = book
        self.part = book.package.related(book.package.workbook, "styles")
        other_part = other.package.related(other.package.workbook, "styles")
        if not self.part or not other_part:
            raise ReadError(book.path, "is damaged: it has no styles.")
        self.other = other.package.tree(other_part)
        self._known: dict[str, dict[bytes, int]] = {}

    def _group(self, root: Element, name: str) -> Element | None:
        return next((child for child in root if local(child) == name), None)

    def _entries(self, root: Element, name: str) -> list[Element]:
        group = self._group(root, name)
        return [] if group is None else [child for child in group if isinstance(child.tag, str)]

    def _add(self, group_name: str, element: Element) -> int:
        """Number of an element in one of our lists, where it is added if no equal one is there."""
        root = self.book.package.tree(self.part)
        if group_name not in self._known:
            known: dict[bytes, int] = {}
            for number, entry in enumerate(self._entries(root, group_name)):
                known.setdefault(_plain(entry), number)
            self._known[group_name] = known
        known = self._known[group_name]
        text = _plain(element)
        if text not in known:
            root = self.book.package.tree(self.part, change=True)
            group = self._need(root, group_name)
            known[text] = len(self._entries(root, group_name))
            group.append(element)
            group.set("count", str(len(self._entries(root, group_name))))
        return known[text]

    def _need(self, root: Element, name: str) -> Element:
        group = self._group(root, name)
        if group is None:
            group = etree.Element(f"{{{space(root)}}}{name}")
            rank = STYLE_ORDER.index(name)
            before = [c for c in root if local(c) in STYLE_ORDER and STYLE_ORDER.index(local(c)) < rank]
            root.insert(root.index(before[-1]) + 1 if before else 0, group)
        return group

    def _number_format(self, number: str) -> str:
        """Our number of one of the other's number formats."""
        code = next(
            (f.get("formatCode", "") for f in self._entries(self.other, "numFmts") if f.get("numFmtId") == number), None
        )
        if code is None:
            return number
        root = self.book.package.tree(self.part)
        taken = {int(f.get("numFmtId", "0")): f.get("formatCode") for f in self._entries(root, "numFmts")}
        for own, text in taken.items():
            if text == code:
                return str(own)
        root = self.book.package.tree(self.part, change=True)
        group = self._need(root, "numFmts")
        entry = etree.SubElement(group, f"{{{space(root)}}}numFmt")
        entry.set("numFmtId", str(max([OWN_FORMATS - 1, *taken]) + 1))
        entry.set("formatCode", code)
        group.set("count", str(len(taken) + 1))
        return str(entry.get("numFmtId"))

    @cached_property
    def numbers(self) -> dict[int, int]:
        """Cell style there -> cell style here."""
        parts = {"fontId": "fonts", "fillId": "fills", "borderId": "borders"}
        found: dict[int, int] = {}
        for number, entry in enumerate(self._entries(self.other, "cellXfs")):
            style = deepcopy(entry)
            for attribute, group in parts.items():
                there = self._entries(self.other, group)[int(style.get(attribute, "0"))]
                style.set(attribute, str(self._add(group, deepcopy(there))))
            style.set("numFmtId", self._number_format(style.get("numFmtId", "0")))
            style.set("xfId", "0")
            for attribute in ("applyNumberFormat", "applyFont", "applyFill", "applyBorder"):
                style.set(attribute, "1")  # our base style may look otherwise than theirs
            found[number] = self._add("cellXfs", style)
        return found

    @cached_property
    def notices(self) -> dict[int, int]:
        """Look of a notice there -> look here."""
        return {
            number: self._add("dxfs", self._notice(deepcopy(entry)))
            for number, entry in enumerate(self._entries(self.other, "dxfs"))
        }

    def _notice(self, entry: Element) -> Element:
        for number_format in entry.iter("{*}numFmt"):  # stands in the entry itself, its number only has to be free
            number_format.set("numFmtId", number_format.get("numFmtId", str(OWN_FORMATS)))
        return entry
