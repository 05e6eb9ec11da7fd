"""Packages that every reader takes: plain headers, links from their part, the same bytes on every system."""

from __future__ import annotations

import hashlib
import io
import re
import sys
import zipfile
from pathlib import Path

import pytest

from tests.ready_files import FOLDER
from tests.support.zip_headers import faults
from workbook_tools.hosts import extension
from workbook_tools.xlsx import packing
from workbook_tools.xlsx.packing import Packing
from workbook_tools.xlsx.reading.contents import joined_path, owner_of, relations_of, relative

MOMENT = (2026, 1, 1, 0, 0, 0)
LINKS = '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">{}</Relationships>'


def plain() -> zipfile.ZipInfo:
    """An entry without a fault, as zipfile makes it on the oldest of systems."""
    info = zipfile.ZipInfo("a.rels", MOMENT)
    info.create_system, info.compress_type, info.external_attr = 0, zipfile.ZIP_DEFLATED, 0
    return info


def by_zipfile(info: zipfile.ZipInfo, text: str = LINKS.format(""), wide: bool = False, seekable: bool = True) -> bytes:
    """A zip of one part as Python's own library writes it."""
    target = io.BytesIO()
    if not seekable:
        target.seekable = lambda: False  # type: ignore[method-assign]
        target.seek = target.tell = _refused  # type: ignore[assignment]
    with zipfile.ZipFile(target, "w") as out, out.open(info, "w", force_zip64=wide) as part:
        part.write(text.encode())
    return target.getvalue()


def _refused(*_arguments: object) -> int:
    raise OSError("this file cannot go back")


def test_wide_headers_of_small_parts_are_seen() -> None:
    found = faults(by_zipfile(plain(), wide=True))
    assert "a.rels: its front asks for version 45" in found
    assert "a.rels: its front has 20 bytes of extra fields" in found


def test_sizes_behind_a_part_are_seen() -> None:
    assert "a.rels: its front has flags 0x8" in faults(by_zipfile(plain(), seekable=False))


def test_the_system_it_was_made_on_is_seen() -> None:
    info = plain()
    info.create_system = 3
    assert "a.rels: its directory tells the system or the program it was made on" in faults(by_zipfile(info))


@pytest.mark.parametrize(
    ("link", "fault"),
    [
        ('Target="/xl/a.xml"', ["a.rels: points to /xl/a.xml from the top"]),
        ('Target="../a.xml"', []),
        ('Target="/somewhere" TargetMode="External"', []),
    ],
)
def test_links_from_the_top_are_seen(link: str, fault: list[str]) -> None:
    content = by_zipfile(plain(), LINKS.format(f"<Relationship {link}/>"))
    assert [found for found in faults(content) if "points" in found] == fault


def small() -> bytes:
    with Packing() as out:
        out.add("one.xml", [b"<a>", b"b" * 1000, b"</a>"])
        out.add("_rels/.rels", [LINKS.format("").encode()], (2001, 2, 3, 4, 5, 6))
    return out.content()


def test_a_package_of_ours() -> None:
    assert faults(small()) == []
    with zipfile.ZipFile(io.BytesIO(small())) as archive:
        assert archive.testzip() is None
        assert archive.read("one.xml") == b"<a>" + b"b" * 1000 + b"</a>"
        assert [entry.date_time for entry in archive.infolist()] == [MOMENT, (2001, 2, 3, 4, 5, 6)]


def test_the_system_changes_no_byte(monkeypatch: pytest.MonkeyPatch) -> None:
    here = small()
    for system in ("win32", "linux", "darwin"):
        monkeypatch.setattr(sys, "platform", system)
        assert hashlib.sha256(small()).digest() == hashlib.sha256(here).digest()


def test_a_part_above_the_limit_has_wide_fields(monkeypatch: pytest.MonkeyPatch) -> None:
    """The limit is 2 GB; a lower one here, since the fields depend on the sizes alone."""
    monkeypatch.setattr(zipfile, "ZIP64_LIMIT", 1000)
    content = small()
    assert "one.xml: its front asks for version 45" in faults(content)
    assert not [fault for fault in faults(content) if fault.startswith("_rels/.rels: its front")]
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert archive.testzip() is None


def test_a_part_taken_over_loses_its_wide_header() -> None:
    wide = by_zipfile(plain(), wide=True)
    with zipfile.ZipFile(io.BytesIO(wide)) as archive:
        (entry,) = archive.infolist()
        front = entry.header_offset + 30 + len(entry.filename) + 20
        with Packing() as out:
            out.keep(entry, wide[front : front + entry.compress_size])
        kept = out.content()
        assert faults(kept) == []
        with zipfile.ZipFile(io.BytesIO(kept)) as again:
            assert again.read(entry.filename) == archive.read(entry)


@pytest.mark.parametrize(
    ("part", "target", "written"),
    [
        ("xl/worksheets/sheet1.xml", "xl/tables/table1.xml", "../tables/table1.xml"),
        ("xl/workbook.xml", "xl/sharedStrings.xml", "sharedStrings.xml"),
        ("xl/workbook.xml", "xl/worksheets/sheet1.xml", "worksheets/sheet1.xml"),
        ("xl/workbook.xml", "docProps/core.xml", "../docProps/core.xml"),
        ("", "xl/workbook.xml", "xl/workbook.xml"),
    ],
)
def test_a_link_is_written_from_its_part(part: str, target: str, written: str) -> None:
    assert relative(part, target) == written
    assert joined_path(part, written) == target
    assert owner_of(relations_of(part)) == part


def test_nothing_else_writes_a_package() -> None:
    """`zipfile` is opened for writing in four places: the packing, and three zips that never leave the process."""
    root = Path(packing.__file__).parents[1]
    found = {
        path.relative_to(root).as_posix()
        for path in root.rglob("*.py")
        if re.search(r"ZipFile\([^)]*[\"'][wax][\"']", path.read_text(encoding="utf-8"))
    }
    assert found == {
        "xlsx/packing.py",
        "xlsx/writing/package.py",
        "xlsx/reading/shortened.py",
        "xlsx/reading/archive.py",
    }


@pytest.mark.parametrize("file", sorted(FOLDER.glob("*.*x*")), ids=lambda file: file.name)
def test_ready_made_files(file: Path) -> None:
    assert faults(file.read_bytes()) == []


def test_the_extension(tmp_path: Path) -> None:
    assert faults(extension.build(tmp_path / "functions.oxt").read_bytes()) == []
