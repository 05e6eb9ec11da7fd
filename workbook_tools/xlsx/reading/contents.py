"""Whether a zip that was let in is a workbook that can be read: its parts, what they point to, and what is in them."""

from __future__ import annotations

import posixpath
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TypeAlias

from workbook_tools.errors import ReadError
from workbook_tools.xlsx.reading.archive import Archive, shown
from workbook_tools.xlsx.reading.limits import MOST_SHEETS, MOST_STYLES, MOST_TEXTS
from workbook_tools.xlsx.reading.markup import Element, root_name, tree
from workbook_tools.xlsx.reading.sheet_extent import check_sheet

TYPES, ROOT = "[Content_Types].xml", "_rels/.rels"
PLAIN_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"
MACRO_TYPE = "application/vnd.ms-excel.sheet.macroEnabled.main+xml"
# other main parts, by what their content type holds -> what the file is
OTHERS = (
    ("spreadsheetml.template", "is a template (.xltx) under another name; open it, save it as .xlsx, and try again."),
    ("ms-excel.template", "is a template with macros (.xltm) under another name; save it as .xlsx, and try again."),
    ("ms-excel.addin", "is an add-in (.xlam) under another name, not a workbook."),
    ("sheet.binary", "is a binary workbook (.xlsb) under another name; open it, save it as .xlsx, and try again."),
    ("wordprocessingml", "is a text document (.docx) under another name, not a workbook."),
    ("ms-word", "is a text document (.docm) under another name, not a workbook."),
    ("presentationml", "is a set of slides (.pptx) under another name, not a workbook."),
)
OPEN_DOCUMENT = re.compile(rb"^application/vnd\.oasis\.opendocument\.(\w+)")
# of each sheet, by its name in small letters: rows at the top, and columns from A on of the others
Asked: TypeAlias = Mapping[str, tuple[int, int]]
TEXT_TAG = re.compile(rb"<(?:[^\s<>/:!?]{1,99}:)?si(?=[\s/>])")
TAKEN = {"xl/sharedstrings.xml": "sharedStrings", "xl/styles.xml": "styles"}  # by the reader, whatever points to them
# room that the reader makes at once; beyond that of all texts that may be there, the system ends its process
SAID_TEXTS = re.compile(rb"""uniqueCount\s{0,99}(?:=\s{0,99}(?:"([^"<]{0,99})"|'([^'<]{0,99})')|\s)""")
OVERLAP = 512  # bytes, more than that expression can take
FORMAT_TAG = re.compile(rb"<(?:[^\s<>/:!?]{1,99}:)?xf(?=[\s/>])")


@dataclass(frozen=True)
class Link:
    """What a part points to: its id there, the last word of its kind, and the part, or the address outside."""

    id: str
    kind: str
    target: str
    outside: bool = False


def relations_of(part: str) -> str:
    """The part that lists what a part points to."""
    folder, name = posixpath.split(part)
    return posixpath.join(folder, "_rels", f"{name}.rels")


def owner_of(relations: str) -> str:
    """The part whose links a part lists."""
    folder, name = posixpath.split(relations)
    return posixpath.join(posixpath.dirname(folder), name.removesuffix(".rels"))


def links_in(root: Element, part: str) -> list[Link]:
    """The links that a list of them holds; `part` is what they point from."""
    found = []
    for link in root:
        if isinstance(link.tag, str) and link.tag.rpartition("}")[2] == "Relationship":
            outside = link.get("TargetMode") == "External"
            target = link.get("Target", "")
            whole = target if outside else joined_path(part, target)
            found.append(Link(link.get("Id", ""), link.get("Type", "").rpartition("/")[2], whole, outside))
    return found


def joined_path(part: str, target: str) -> str:
    """The name of the part that a target names, seen from a part."""
    return posixpath.normpath(posixpath.join("/", posixpath.dirname(part), target)).lstrip("/")


def relative(part: str, target: str) -> str:
    """How a part names another; readers exist that do not follow a name from the top."""
    return posixpath.relpath(f"/{target}", f"/{posixpath.dirname(part)}")


def tree_of(archive: Archive, part: str) -> Element:
    return tree(archive.read(part), part, archive.path)


def links_of(archive: Archive, part: str) -> list[Link]:
    name = relations_of(part)
    return links_in(tree_of(archive, name), part) if archive.has(name) else []


def content_type(types: Element, part: str) -> str:
    """What the list of content types says of a part; nothing where it says nothing."""
    ending, fallback = part.rpartition(".")[2].lower(), ""
    for entry in types:
        if entry.get("PartName", "").lower() == f"/{part}".lower():
            return str(entry.get("ContentType", ""))
        if entry.get("Extension", "").lower() == ending:
            fallback = str(entry.get("ContentType", ""))
    return fallback


# --------------------------------------------------------------------------------------------------- the workbook


def main_part(archive: Archive) -> str:
    """The part with the list of sheets; raises ReadError where the file is no workbook of cells, naming what it is."""
    return archive.once(_main_part)


def sheets_of(archive: Archive) -> Mapping[str, Link]:
    """The sheets and what each points to, by name; raises ReadError where one of them is not there."""
    return archive.once(_sheets_of)


def _main_part(archive: Archive) -> str:
    path = archive.path
    if archive.has("mimetype"):
        kind = OPEN_DOCUMENT.match(archive.read("mimetype"))
        if kind is not None and kind[1] == b"spreadsheet":
            raise ReadError(path, "is an .ods workbook; open it in a spreadsheet program and save it as .xlsx.")
        if kind is not None:
            raise ReadError(path, f"is an OpenDocument file ({kind[1].decode()}), not an .xlsx workbook.")
    missing = [name for name in (TYPES, ROOT) if not archive.has(name)]
    if missing:
        raise ReadError(path, f"is a zip, but not an .xlsx workbook: it has no {' and no '.join(missing)}.")
    targets = [link.target for link in links_of(archive, "") if link.kind == "officeDocument" and not link.outside]
    if not targets:
        raise ReadError(path, "is not a workbook: nothing in it is named as its main part.")
    if not archive.has(targets[0]):
        raise ReadError(path, f"is damaged: its part {shown(targets[0])} is missing.")
    said = content_type(tree_of(archive, TYPES), targets[0])
    other = next((sentence for word, sentence in OTHERS if word in said), None)
    if other is not None:
        raise ReadError(path, other)
    if said == MACRO_TYPE and not str(path).lower().endswith(".xlsm"):
        raise ReadError(
            path,
            "is a workbook with macros (.xlsm) under another name, which no spreadsheet program opens like this; save "
            "it as .xlsx, without macros.",
        )
    if said not in (PLAIN_TYPE, MACRO_TYPE):
        named = f"calls its main part {shown(said)}" if said else "says nothing of what its main part is"
        raise ReadError(path, f"is no .xlsx workbook: its list of content types {named}.")
    return targets[0]


def _sheets_of(archive: Archive) -> Mapping[str, Link]:
    path, main = archive.path, main_part(archive)
    root = tree_of(archive, main)
    if root.tag.rpartition("}")[2] != "workbook":
        raise ReadError(path, "is not a workbook, but another kind of document.")
    links = {link.id: link for link in links_of(archive, main)}
    elements = [sheet for sheets in root.iterchildren("{*}sheets") for sheet in sheets.iterchildren("{*}sheet")]
    if not elements:
        raise ReadError(path, "is a workbook without a sheet.")
    if len(elements) > MOST_SHEETS:
        raise ReadError(path, f"has {len(elements):,} sheets; {MOST_SHEETS:,} are allowed.")
    found: dict[str, Link] = {}
    folded: set[str] = set()
    for sheet in elements:
        name = str(sheet.get("name", ""))
        if not name.strip():
            raise ReadError(path, "is damaged: it has a sheet without a name.")
        if name.casefold() in folded:
            raise ReadError(path, f"is damaged: it has two sheets named {shown(name)}.")
        identifier = next((str(v) for k, v in sheet.attrib.items() if str(k).endswith("relationships}id")), "")
        link = links.get(identifier)
        if link is None or link.outside or not archive.has(link.target):
            raise ReadError(path, f"is damaged: its sheet {shown(name)} is not in the file.")
        folded.add(name.casefold())
        found[name] = link
    return found


def cell_sheets(archive: Archive) -> list[str]:
    """The names of the sheets that hold cells, in their order."""
    return [name for name, link in sheets_of(archive).items() if link.kind == "worksheet"]


def sheets_in_turn(archive: Archive, asked: Asked) -> Iterator[str]:
    """Looks at a whole workbook and names its sheets of cells, each when it may be read: the largest first.

    By then everything that is no sheet was looked at, and this sheet; the others follow. Every part is unpacked once.
    Rows of a sheet of which only a part is asked for are shortened.
    Raises ReadError where the file is no workbook that can be read.
    """
    main = main_part(archive)
    sheets: dict[str, list[str]] = {}
    for name, link in sheets_of(archive).items():
        if link.kind == "worksheet":
            sheets.setdefault(link.target, []).append(name)  # nothing forbids two sheets of one part
    links = [link for link in links_of(archive, main) if not link.outside]
    cells = {*sheets, *(link.target for link in links if link.kind == "worksheet")}
    limits = {"sharedStrings": (TEXT_TAG, MOST_TEXTS, "texts"), "styles": (FORMAT_TAG, MOST_STYLES, "formats of cells")}
    kinds = {link.target: link.kind for link in links if link.kind in limits}
    kinds |= {part: TAKEN[part.casefold()] for part in archive.names() if part.casefold() in TAKEN}
    counted = {part: limits[kind] for part, kind in kinds.items()}
    for part in sorted(archive.names(), key=lambda part: (part in cells, -archive.entries[part].file_size)):
        root = ""
        if part in cells or part in counted or part.lower().endswith((".xml", ".rels")):
            head = archive.head(part)
            root = root_name(head, part, archive.path) if head else ""
        if part in cells and root != "worksheet":
            raise ReadError(archive.path, f"is damaged: its part {shown(part)} is no sheet of cells.")
        if root == "worksheet":
            wanted = {asked.get(name.casefold(), (0, 0)) for name in sheets.get(part, [""])}
            short = check_sheet(archive, part, *(wanted.pop() if len(wanted) == 1 else ()))
            if short is not None:
                archive.shorten(part, short)
        elif part in counted:
            _count(archive, part, *counted[part])
            if kinds[part] == "sharedStrings":
                _check_said(archive, part)
        else:
            _unpack(archive, part)
        yield from sheets.get(part, ())


def _unpack(archive: Archive, part: str) -> None:
    for _ in archive.chunks(part):
        pass


def _count(archive: Archive, part: str, tag: re.Pattern[bytes], most: int, what: str) -> None:
    number = sum(_tags(archive, part, tag))
    if number > most:
        raise ReadError(archive.path, f"its part {shown(part)} has {number:,} {what}; {most:,} are allowed.")


def _check_said(archive: Archive, part: str) -> None:
    """Raises ReadError where the table of texts says that it has more than can be: the reader would make room."""
    before = b""
    for piece in archive.chunks(part):
        text = before + piece
        for said in SAID_TEXTS.finditer(text):
            number = (said[1] or said[2] or b"").strip()
            if not number.isdigit() or int(number) > MOST_TEXTS:
                named = shown(number.decode("utf-8", "replace")) or "no number of"
                raise ReadError(
                    archive.path, f"its part {shown(part)} says that it has {named} texts; {MOST_TEXTS:,} are allowed."
                )
        before = text[-OVERLAP:]


def _tags(archive: Archive, part: str, tag: re.Pattern[bytes]) -> Iterator[int]:
    before = b""
    for piece in archive.chunks(part):
        text = before + piece
        cut = max(text.rfind(b"<"), 0)
        yield len(tag.findall(text[:cut]))
        before = text[cut:] if len(text) - cut < 200 else b""
    yield len(tag.findall(before))
