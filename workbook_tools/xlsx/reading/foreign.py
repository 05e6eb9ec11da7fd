"""What in a workbook could act on the computer that opens it, or fetch from elsewhere.

It is named here, never run or followed. A case log needs none of it. It is no reason to refuse a file; it is a reason
to know before a spreadsheet program asks whether to allow it.
"""

from __future__ import annotations

import html
import posixpath
import re
from collections.abc import Iterator
from dataclasses import dataclass

from workbook_tools.errors import ReadError
from workbook_tools.xlsx.reading.archive import Archive, shown
from workbook_tools.xlsx.reading.contents import Link, links_in, tree_of
from workbook_tools.xlsx.reading.markup import Element

FAULT = "fault"
NOTICE = "notice"
MACRO_SHEETS = ("xlMacrosheet", "xlIntlMacrosheet", "dialogsheet")
EMBEDDED = ("oleObject", "package", "control", "activeXControlBinary", "ctrlProp")
CONNECTIONS = ("connections", "queryTable", "xmlMaps", "model")
FOLLOWED = (
    "hyperlink",
    "externalLinkPath",
    "externalLink",
    "oleObject",
    "package",
)  # named otherwise, or a person's own
PROGRAMS = ((b"MZ", "Windows"), (b"\x7fELF", "Linux"), (b"\xcf\xfa\xed\xfe", "a Mac"), (b"#!", "a shell"))
# functions that fetch, run or talk to other programs when a cell is computed
REACHING_OUT = ("CALL", "DDE", "EXEC", "IMAGE", "REGISTER", "REGISTER.ID", "RTD", "WEBSERVICE")
CALLED = re.compile(r"(?<![\w.])(?:_xl\w+\.)*(" + "|".join(map(re.escape, REACHING_OUT)) + r")\s*\(", re.IGNORECASE)
PIPED = re.compile(r"(?<![\w\"])[A-Za-z][\w.]*\|'?")  # program|topic!item
QUOTED = re.compile(r'"(?:[^"]|"")*"')
FORMULA = re.compile(
    rb"<(?:[^\s<>/:!?]{1,99}:)?(?:f|formula[12]?|definedName|calculatedColumnFormula)(?:\s[^<>]{0,999})?>([^<]{1,40000})<"
)
FORMULA_ENDS = (b"f>", b"ormula", b"definedName")  # as a row of computed cells of ours has none of
WORDS = tuple(name.encode() for name in REACHING_OUT)
LONGEST_FORMULA = 1 << 17  # bytes of its element, its signs escaped


@dataclass(frozen=True)
class Foreign:
    """One such thing: a code, how serious, in which part, and a sentence."""

    code: str
    severity: str
    part: str
    say: str


def foreign_in(archive: Archive) -> list[Foreign]:
    """Everything in a workbook that could act or fetch, in the order of its parts, each said once."""
    found: dict[Foreign, None] = {}
    for part in archive.names():
        for one in _of_part(archive, part):
            found[one] = None
    return list(found)


def _of_part(archive: Archive, part: str) -> Iterator[Foreign]:
    folded = part.lower()
    if posixpath.basename(folded) in ("vbaproject.bin", "vbadata.xml") or "/macrosheets/" in folded:
        yield _macros(part)
    head = archive.head(part)
    for beginning, system in PROGRAMS:
        if head.startswith(beginning) and not (folded.endswith((".xml", ".rels", ".vml"))):
            say = f"The part {shown(part)} is a program for {system}. It was not run; do not run it."
            yield Foreign("program-embedded", FAULT, part, say)
    if folded.endswith(".rels"):
        for link in _links(archive, part):
            yield from _of_link(part, link)
    elif "/externallinks/" in folded and folded.endswith(".xml"):
        yield from _of_external(archive, part)
    elif folded.endswith(".xml") and b"<" in head:
        yield from _of_formulas(archive, part)


def _macros(part: str) -> Foreign:
    say = f"The part {shown(part)} holds macros, which a case log has none of. They were not run; do not allow them."
    return Foreign("macros", FAULT, part, say)


def _links(archive: Archive, part: str) -> list[Link]:
    try:
        return links_in(tree_of(archive, part), "")
    except ReadError:
        return []  # a list of links that is broken leads nowhere; whoever needs it says so


def _of_link(part: str, link: Link) -> Iterator[Foreign]:
    where = shown(link.target)
    if link.kind in MACRO_SHEETS or link.kind == "vbaProject":
        yield _macros(link.target)
    elif link.kind in EMBEDDED:
        say = f"An object is embedded or linked: {where}. It was not opened; do not open it unless you know what it is."
        yield Foreign("object-embedded", FAULT, part, say)
    elif link.kind in CONNECTIONS:
        say = f"There is a connection to data elsewhere ({where}). Nothing was fetched; do not allow it."
        yield Foreign("data-connection", NOTICE, part, say)
    elif link.kind == "externalLinkPath" or (link.kind == "externalLink" and link.outside):
        say = f"Cells or names look into another file: {where}. It was not opened; a case log needs no other file."
        yield Foreign("external-link", NOTICE, part, say)
    elif link.outside and link.kind not in FOLLOWED:
        say = f"Something is fetched from elsewhere when the file is opened: {where}. Nothing was fetched here."
        yield Foreign("fetched-from-elsewhere", NOTICE, part, say)


def _of_external(archive: Archive, part: str) -> Iterator[Foreign]:
    try:
        root: Element = tree_of(archive, part)
    except ReadError:
        return
    for element in root.iter("{*}ddeLink", "{*}oleLink"):
        asked = " ".join(filter(None, (element.get("ddeService"), element.get("ddeTopic"), element.get("progId"))))
        say = f"Cells ask another program for their values: {shown(asked)}. It was not asked; do not allow it."
        yield Foreign("program-link", FAULT, part, say)


def _of_formulas(archive: Archive, part: str) -> Iterator[Foreign]:
    """Formulas that reach out of the workbook, in cells and names; each function once for each part."""
    before = b""
    seen: set[str] = set()
    for piece in archive.chunks(part):
        text = before + piece
        cut = text.rfind(b"<")
        before = text[cut:] if cut >= 0 and len(text) - cut < LONGEST_FORMULA else b""
        if not (b"(" in text or b"|" in text) or not any(end in text for end in FORMULA_ENDS):
            continue
        upper = text.upper()
        if b"|" not in text and not any(word in upper for word in WORDS):
            continue
        for formula in FORMULA.finditer(text):
            if b"(" in formula[1] or b"|" in formula[1]:
                plain = QUOTED.sub(" ", html.unescape(formula[1].decode("utf-8", "replace")))
                seen |= {called[1].upper() for called in CALLED.finditer(plain)}
                seen |= {"program|topic" for _ in PIPED.finditer(plain)}
    for name in sorted(seen):
        say = (
            f"The part {shown(part)} has a formula with {name}, which reaches out of the workbook. It was not computed."
        )
        yield Foreign("formula-reaches-out", FAULT, part, say)
