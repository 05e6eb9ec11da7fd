"""A workbook file as its parts: small parts as trees, large ones as bytes, untouched ones as they lie in the file."""

from __future__ import annotations

import re

from lxml import etree

from workbook_tools.errors import ReadError
from workbook_tools.xlsx.packing import Packing
from workbook_tools.xlsx.reading.archive import Archive
from workbook_tools.xlsx.reading.contents import Link as Relation
from workbook_tools.xlsx.reading.contents import links_in, relations_of, relative
from workbook_tools.xlsx.reading.markup import Element
from workbook_tools.xlsx.reading.markup import tree as parse

__all__ = [
    "CONTENT_TYPES",
    "RELATIONS",
    "TYPES",
    "Element",
    "Package",
    "Relation",
    "as_utf8",
    "local",
    "parse",
    "relations_of",
    "space",
    "written",
]

RELATIONS = "http://schemas.openxmlformats.org/package/2006/relationships"
TYPES = "http://schemas.openxmlformats.org/package/2006/content-types"
CONTENT_TYPES = "[Content_Types].xml"
ENCODING = re.compile(rb"^<\?xml[^>]*?encoding\s*=\s*[\"']([A-Za-z0-9._-]+)[\"']")
MARKS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))


def local(element: Element) -> str:
    """An element's name without its namespace; nothing for a comment."""
    return element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""


def space(element: Element) -> str:
    """An element's namespace."""
    return etree.QName(element).namespace or ""


def written(root: Element) -> bytes:
    """A tree as a part."""
    return bytes(etree.tostring(root.getroottree(), xml_declaration=True, encoding="UTF-8", standalone=True))


def as_utf8(content: bytes, name: str, path: object) -> bytes:
    """A part's bytes in UTF-8, which nearly all are already."""
    encoding = next((encoding for mark, encoding in MARKS if content.startswith(mark)), "")
    declared = ENCODING.match(content)
    if not encoding and (declared is None or declared[1].lower() in (b"utf-8", b"us-ascii")):
        return content
    try:
        text = content.decode(encoding or str(declared and declared[1].decode())).removeprefix("\ufeff")
    except (LookupError, UnicodeDecodeError) as error:
        raise ReadError(path, f"its part {name} is in an encoding that cannot be read ({error}).") from error
    return re.sub(r"^(<\?xml[^>]*?encoding\s*=\s*[\"'])[^\"']*", r"\g<1>UTF-8", text).encode()


class Package:
    """The parts of a workbook file, read when they are asked for and written back only where they were changed."""

    def __init__(self, content: bytes | Archive, path: object) -> None:
        self.path = path
        self.archive = content if isinstance(content, Archive) else Archive(content, path)
        self.entries = self.archive.entries
        self.parts: dict[str, bytes] = {}  # what was written
        self.trees: dict[str, Element] = {}
        self.changed: set[str] = set()  # trees to write
        self.removed: set[str] = set()
        self.workbook = self._main()

    def _main(self) -> str:
        found = [relation.target for relation in self.relations("") if relation.kind == "officeDocument"]
        if not found or not self.has(found[0]):
            raise ReadError(self.path, "is not a workbook: nothing in it is named as its main part.")
        if local(self.tree(found[0])) != "workbook":
            raise ReadError(self.path, "is not a workbook, but another kind of document.")
        return found[0]

    # ------------------------------------------------------------------------------------------------- parts

    def has(self, name: str) -> bool:
        return name not in self.removed and (name in self.parts or name in self.trees or name in self.entries)

    def names(self) -> list[str]:
        """Every part, the file's own in their order, then new ones."""
        added = [name for name in (*self.parts, *self.trees) if name not in self.entries]
        return [name for name in dict.fromkeys([*self.entries, *added]) if name not in self.removed]

    def read(self, name: str) -> bytes:
        """The bytes of a part as they stand now."""
        if name in self.changed:
            return written(self.trees[name])
        if name in self.parts:
            return self.parts[name]
        if name in self.removed or name not in self.entries:
            raise ReadError(self.path, f"is damaged: its part {name} is missing.")
        return self.archive.read(name)

    def tree(self, name: str, change: bool = False) -> Element:
        """A part as a tree; `change` says that it will be changed."""
        if name not in self.trees:
            self.trees[name] = parse(self.read(name), name, self.path)
        if change:
            self.changed.add(name)
        return self.trees[name]

    def write(self, name: str, content: bytes) -> None:
        self.trees.pop(name, None)
        self.changed.discard(name)
        self.removed.discard(name)
        self.parts[name] = content

    def add(self, name: str, content: bytes, content_type: str) -> None:
        """A new part."""
        self.write(name, content)
        types = self.tree(CONTENT_TYPES, change=True)
        override = etree.SubElement(types, f"{{{TYPES}}}Override")
        override.set("PartName", f"/{name}")
        override.set("ContentType", content_type)

    def discard(self, name: str) -> None:
        """Take out a part, and nothing else."""
        self.trees.pop(name, None)
        self.parts.pop(name, None)
        self.changed.discard(name)
        self.removed.add(name)

    def remove(self, name: str) -> None:
        """Take out a part, the list of what it points to, and its content type."""
        for gone in (name, relations_of(name)):
            self.discard(gone)
        for override in list(self.tree(CONTENT_TYPES, change=True)):
            if override.get("PartName", "").lower() == f"/{name}".lower():
                override.getparent().remove(override)

    def content_type(self, name: str) -> str:
        ending = name.rpartition(".")[2].lower()
        fallback = ""
        for entry in self.tree(CONTENT_TYPES):
            if entry.get("PartName", "").lower() == f"/{name}".lower():
                return str(entry.get("ContentType"))
            if entry.get("Extension", "").lower() == ending:
                fallback = str(entry.get("ContentType"))
        return fallback

    def default_type(self, ending: str, content_type: str) -> None:
        """Name the content type of all parts with an ending, where the file does not yet."""
        types = self.tree(CONTENT_TYPES)
        if not any(entry.get("Extension", "").lower() == ending for entry in types):
            types = self.tree(CONTENT_TYPES, change=True)
            default = etree.Element(f"{{{TYPES}}}Default")
            default.set("Extension", ending)
            default.set("ContentType", content_type)
            types.insert(0, default)

    def free_name(self, pattern: str) -> str:
        """The first name of a pattern such as xl/tables/table{}.xml that no part has."""
        taken = {name.lower() for name in (*self.entries, *self.parts, *self.trees)}  # removed ones stay taken
        number = 1
        while pattern.format(number).lower() in taken:
            number += 1
        return pattern.format(number)

    # --------------------------------------------------------------------------------------------- relations

    def relations(self, part: str) -> list[Relation]:
        """What a part points to; an empty name is the package itself."""
        name = relations_of(part)
        if not self.has(name):
            return []
        return links_in(self.tree(name), part)

    def related(self, part: str, kind: str) -> str:
        """The one part of a kind that a part points to, or nothing."""
        return next((r.target for r in self.relations(part) if r.kind == kind and not r.outside), "")

    def relate(self, part: str, kind: str, target: str, outside: bool = False) -> str:
        """Point from a part to another; `kind` is the whole address of the kind. The id is answered."""
        name = relations_of(part)
        if not self.has(name):
            self.write(name, f'<Relationships xmlns="{RELATIONS}"/>'.encode())
        root = self.tree(name, change=True)
        taken = {link.get("Id") for link in root}
        number = len(taken) + 1
        while f"rId{number}" in taken:
            number += 1
        link = etree.SubElement(root, f"{{{RELATIONS}}}Relationship")
        link.set("Id", f"rId{number}")
        link.set("Type", kind)
        link.set("Target", target if outside else relative(part, target))
        if outside:
            link.set("TargetMode", "External")
        return f"rId{number}"

    def unrelate(self, part: str, identifier: str) -> None:
        for link in list(self.tree(relations_of(part), change=True)):
            if link.get("Id") == identifier:
                link.getparent().remove(link)

    # ------------------------------------------------------------------------------------------------- write

    def content(self) -> bytes:
        """The file: parts that nobody touched as they lie in the old one, compressed bytes and all."""
        with Packing() as out:
            for name in self.names():
                old = self.entries.get(name)
                if old is None:
                    out.add(name, [self.read(name)])
                elif name in self.parts or name in self.changed:
                    out.add(name, [self.read(name)], old.date_time)
                else:
                    out.keep(old, self.archive.packed(name))
        return out.content()
