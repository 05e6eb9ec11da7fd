"""The custom properties of a workbook, by which it says what it was made from."""

from __future__ import annotations

from workbook_tools.errors import ReadError
from workbook_tools.xlsx.reading.archive import Archive
from workbook_tools.xlsx.reading.contents import links_of, tree_of

USUAL = "docProps/custom.xml"


def properties_of(content: bytes) -> dict[str, str]:
    """The custom properties of a file, each as a text; none where it has none, or cannot be read."""
    try:
        archive = Archive(content, "file", strict=False, renamed=True)
        named = [link.target for link in links_of(archive, "") if link.kind == "custom-properties" and not link.outside]
        part = next((name for name in (*named, USUAL) if archive.has(name)), "")
        root = tree_of(archive, part) if part else ()
    except ReadError:
        return {}
    return {str(one.get("name")): "".join(map(str, one.itertext())) for one in root}
