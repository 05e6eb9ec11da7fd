"""Puts the functions' names into an .xlsx and leaves everything else in it as it is.

The part that lists the names is edited as bytes at the places that a parser reports, never written anew from a tree:
prefixes, extension elements and spellings of whoever wrote the file stay.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from xml.parsers import expat
from xml.sax.saxutils import escape, quoteattr

from workbook_tools.errors import NameTakenError, ReadError
from workbook_tools.functions.texts.lambda_names import OURS_OR_BROKEN, names
from workbook_tools.xlsx.opened import Opened
from workbook_tools.xlsx.packing import Packing
from workbook_tools.xlsx.reading import Archive, shown, tree
from workbook_tools.xlsx.reading.contents import ROOT, links_of

SPREADSHEET = (
    "http://schemas.openxmlformats.org/spreadsheetml/2006/main",
    "http://purl.oclc.org/ooxml/spreadsheetml/main",
)
BEFORE_NAMES = ("externalReferences", "functionGroups", "sheets")  # ECMA-376 Part 1, 18.2.27: the order of the parts
ENCODINGS = {"utf-8": "utf-8", "us-ascii": "ascii", "iso-8859-1": "latin-1", "utf-16": "utf-16"}

NamedFormula = tuple[str, str, str]  # name, formula as stored, comment


def put_names(file: Path | Opened) -> tuple[list[str], bytes]:
    """Put the functions' names into a workbook; nothing is written.

    Only the part that lists the names changes; every other part keeps its bytes and its place. Names that a save by
    LibreOffice has spelled in lower case are put right. Other names stay.

    Parameters
    ----------
    file : an .xlsx or .xlsm workbook.

    Returns
    -------
    The names put in, and the content of the new file.

    Raises
    ------
    ReadError : not such a workbook, damaged, or with markup that no spreadsheet writes.
    NameTakenError : the workbook uses one of the names for something else.
    """
    found = Opened.of(file)
    wanted = names()
    package = Archive(found.content, found.path)
    part = _workbook_part(package)
    edited = with_names(package.read(part), [(name.name, name.text, name.comment) for name in wanted], found.path)
    with Packing() as target:
        for name, entry in package.entries.items():
            if name == part:
                target.add(name, [edited], entry.date_time)
                continue
            for _ in package.chunks(name):  # refuses a part that is not what the zip says of it
                pass
            target.keep(entry, package.packed(name))
    return [name.name for name in wanted], target.content()


def _workbook_part(package: Archive) -> str:
    """Name of the part that lists sheets and names."""
    if not package.has(ROOT):
        raise ReadError(package.path, f"is not a workbook: it has no part {ROOT}.")
    for link in links_of(package, ""):
        if link.kind == "officeDocument":
            if link.outside or not package.has(link.target):
                raise ReadError(package.path, f"is not a workbook: it has no part {shown(link.target)}.")
            return link.target
    raise ReadError(package.path, "is not a workbook: nothing in it is named as its main part.")


@dataclass(eq=False)
class _Element:
    """A child of the workbook element, or one of the list of names: where it stands, and what it says."""

    name: str
    start: int
    attributes: dict[str, str] = field(default_factory=dict)
    inside: int = 0  # where its content begins
    closing: int = 0  # where its end tag begins
    empty: bool = False  # written as one tag
    end: int = 0
    text: str = ""
    children: list[_Element] = field(default_factory=list)


class _Places:
    """Finds the children of the workbook element with their places, down to the names."""

    def __init__(self, content: bytes) -> None:
        self.content = content
        self.root = _Element("", 0)
        self.open = [self.root]
        self.waiting: list[tuple[_Element, str]] = []  # whose place is where the next event begins
        self.parser = expat.ParserCreate("utf-8", " ")
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._text
        self.parser.DefaultHandler = self._other
        self.parser.Parse(content, True)
        self._settle(len(content))

    def _settle(self, index: int) -> None:
        for element, place in self.waiting:
            setattr(element, place, index)
        self.waiting.clear()

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        index = self.parser.CurrentByteIndex
        self._settle(index)
        element = _Element(name, index, attributes)
        self.open[-1].children.append(element)
        self.open.append(element)
        self.waiting.append((element, "inside"))

    def _end(self, _name: str) -> None:
        index = self.parser.CurrentByteIndex
        element = self.open.pop()
        element.closing = index
        element.empty = (element, "inside") in self.waiting and self.content[index - 2 : index] == b"/>"
        self._settle(index)
        if element.empty:  # the parser is already past the one tag there is
            element.end = index
        else:
            self.waiting.append((element, "end"))

    def _text(self, text: str) -> None:
        self._settle(self.parser.CurrentByteIndex)
        self.open[-1].text += text

    def _other(self, _text: str) -> None:
        self._settle(self.parser.CurrentByteIndex)


def with_names(content: bytes, wanted: list[NamedFormula], path: Path) -> bytes:
    """The part that lists the names, with the wanted ones in it."""
    tree(content, "with the names", path)
    mark, text, encoding = _decoded(content, path)
    plain = text.encode("utf-8")
    workbook = _Places(plain).root.children[0]
    space, _, tag = workbook.name.rpartition(" ")
    if tag != "workbook" or space not in SPREADSHEET:
        raise ReadError(path, f"its main part is a {tag!r}, not a workbook")
    children = {child.name: child for child in reversed(workbook.children)}
    anchor = next((children[f"{space} {name}"] for name in BEFORE_NAMES if f"{space} {name}" in children), None)
    if anchor is None:
        raise ReadError(path, "has no sheets")
    prefix = _prefix(plain, anchor)
    new = {name.casefold(): _definition(prefix, (name, formula, comment)) for name, formula, comment in wanted}
    there = children.get(f"{space} definedNames")
    if there is None:
        edits = [(anchor.end, anchor.end, _list(prefix, new.values()))]
    elif there.empty:
        edits = [(there.start, there.end, _list(prefix, new.values()))]
    else:
        left = b"".join(new[name] for name in new if name not in _global_names(there))
        edits = [*_replacements(there, new, path), (there.closing, there.closing, left)]
    for start, end, replacement in sorted(edits, reverse=True):
        plain = plain[:start] + replacement + plain[end:]
    edited = mark + plain.decode("utf-8").encode(encoding)
    tree(edited, "with the new names", path)
    return edited


def _replacements(there: _Element, new: dict[str, bytes], path: Path) -> list[tuple[int, int, bytes]]:
    """Edits that put our text in the place of each name of ours; refuses names that are someone else's."""
    edits = []
    taken = []
    for name, elements in _global_names(there).items():
        for number, element in enumerate(elements):
            if name in new:
                edits.append((element.start, element.end, new[name] if number == 0 else b""))
                if not OURS_OR_BROKEN.match(element.text):
                    taken.append(element.attributes["name"])
    if taken:
        raise NameTakenError(path, taken)
    return edits


def _global_names(there: _Element) -> dict[str, list[_Element]]:
    """Names that hold in the whole workbook; one that holds on a sheet only is another name."""
    found: dict[str, list[_Element]] = {}
    for element in there.children:
        if element.name.endswith(" definedName") and "localSheetId" not in element.attributes:
            found.setdefault(element.attributes.get("name", "").casefold(), []).append(element)
    return found


def _prefix(content: bytes, element: _Element) -> str:
    """Namespace prefix with its colon, as the file spells its spreadsheet elements, or nothing."""
    spelled = re.match(rb"<([^\s/>]+)", content[element.start :])
    assert spelled is not None
    return spelled[1].decode("utf-8").rpartition(":")[0] + (":" if b":" in spelled[1] else "")


def _list(prefix: str, definitions: Iterable[bytes]) -> bytes:
    return f"<{prefix}definedNames>".encode() + b"".join(definitions) + f"</{prefix}definedNames>".encode()


def _definition(prefix: str, named: NamedFormula) -> bytes:
    name, formula, comment = named
    text = (
        f"<{prefix}definedName name={quoteattr(name)} comment={quoteattr(comment)}>{escape(formula)}"
        f"</{prefix}definedName>"
    )
    return text.encode("ascii", "xmlcharrefreplace")  # so that any encoding holds it


def _decoded(content: bytes, path: Path) -> tuple[bytes, str, str]:
    """Byte order mark, text and encoding of a part."""
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")):
        if content.startswith(mark):
            return mark, content[len(mark) :].decode(encoding), encoding
    declared = re.match(rb"<\?xml[^>]*?encoding\s*=\s*[\"']([A-Za-z0-9._-]+)", content)
    named = declared[1].decode("ascii").lower() if declared else "utf-8"
    if named not in ENCODINGS:
        raise ReadError(path, f"its main part is in an encoding that is not known here: {named}")
    return b"", content.decode(ENCODINGS[named]), ENCODINGS[named]
