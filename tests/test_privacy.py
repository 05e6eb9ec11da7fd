"""No command uses the network, and no file that a command writes tells who made it, where, or on which computer."""

from __future__ import annotations

import io
import json
import os
import platform
import socket
import struct
import subprocess
import sys
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
import openpyxl
import pypdf
import pytest

from tests.support import every_command
from tests.support.every_command import COMMANDS, HOST, PDF, USER, marks, prepared, ran, written
from tests.support.leaks import words_in
from tests.support.zip_headers import faults
from workbook_tools.cli.main import cli


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, bytes], list[dict[str, Any]]]:
    """The folder after every command, its files before, and how each command ended."""
    folder = tmp_path_factory.mktemp("privacy") / "folder of quillonesta"
    folder.mkdir()
    before = prepared(folder)
    return folder, before, ran(folder)


def test_every_command_was_run(done: Any) -> None:
    _, _, results = done
    conflict = ("merge", every_command.MINE, every_command.COPY, "--replace")
    assert [(tuple(one["words"]), one["code"]) for one in results if one["code"]] == [(conflict, 1)]
    assert [tuple(one["words"]) for one in results] == list(COMMANDS)
    assert isinstance(cli.commands["new"], click.Group)
    assert {words[0] for words in COMMANDS} == set(cli.commands)
    assert {words[1] for words in COMMANDS if words[0] == "new"} == set(cli.commands["new"].commands)


def test_no_command_uses_the_network(done: Any) -> None:
    assert [(one["words"], one["network"]) for one in done[2] if one["network"]] == []


def test_no_written_file_tells_who_made_it_or_where(done: Any) -> None:
    folder, before, _ = done
    files = list(written(folder, before))
    kinds = {Path(name).suffix.split(",")[0] for name, _ in files}
    assert kinds == {*every_command.FILES, ".parquet", ".json", ""} - {".txt"}  # "" is the lock of a folder of tables
    assert len(files) >= 18
    assert [(name, found) for name, content in files if (found := words_in(content, marks(folder)))] == []


def test_every_package_is_one_that_every_reader_takes(done: Any) -> None:
    folder, before, _ = done
    packages = {name: content for name, content in written(folder, before) if content.startswith(b"PK")}
    assert len(packages) >= 12
    assert {name: found for name, content in packages.items() if (found := faults(content))} == {}


def test_nothing_is_left_in_the_temporary_folder_and_no_lock(done: Any) -> None:
    folder, _, _ = done
    assert list((folder.parent / f"temporary of {USER}").iterdir()) == []
    assert [file.name for file in folder.iterdir() if file.name.startswith((".", "~"))] == []


def test_the_files_of_a_copy_printed_to_pdf_tell_nothing_either(office: object, tmp_path: Path) -> None:
    """LibreOffice makes the PDF, from a profile that it has never seen before."""
    folder = tmp_path / "folder of quillonesta"
    folder.mkdir()
    before = prepared(folder)
    (result,) = ran(folder, PDF)
    assert (result["code"], result["network"]) == (0, [])
    files = dict(written(folder, before))
    assert set(files) == {"printed.xlsx", "printed.pdf"}, result["said"]
    assert [(name, found) for name, content in files.items() if (found := words_in(content, marks(folder)))] == []
    assert words_in(files["printed.pdf"], ["Alder springs"])  # the search sees what is on the pages


# --------------------------------------------------------------------------------------- the search and the refusal


def workbook(change: Callable[[openpyxl.Workbook], None]) -> bytes:
    book = openpyxl.Workbook()
    change(book)
    target = io.BytesIO()
    book.save(target)
    return target.getvalue()


def with_part(name: str, part: bytes) -> bytes:
    target = io.BytesIO(workbook(lambda _: None))
    with zipfile.ZipFile(target, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, part)
    return target.getvalue()


def pdf(author: str) -> bytes:
    writer = pypdf.PdfWriter()
    writer.add_blank_page(100, 100)
    writer.add_metadata({"/Author": author})
    writer.add_attachment("note.txt", f"by {author}".encode())
    writer.compress_identical_objects()
    target = io.BytesIO()
    writer.write(target)
    return target.getvalue()


def png(text: str) -> bytes:
    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    return b"\x89PNG\r\n\x1a\n" + chunk(b"zTXt", b"Author\0\0" + zlib.compress(text.encode()))


def set_creator(book: openpyxl.Workbook) -> None:
    book.properties.creator = USER


PATH_PART = f'<x15ac:absPath url="C:\\Users\\{USER}\\"/>'
PLACES = {
    "property": workbook(set_creator),
    "part in UTF-16": with_part("xl/printerSettings1.bin", f"\\\\{USER}".encode("utf-16-le")),
    "absolute path": with_part("xl/more.xml", PATH_PART.encode()),
    "part's name": with_part(f"customXml/{USER}.xml", b"<a/>"),
    "package in the package": with_part("xl/embeddings/a.xlsx", workbook(set_creator)),
    "PDF": pdf(USER),
    "PDF in UTF-16": pdf(f"{USER} Ł"),
    "picture": png(USER),
    "text": f"made by {USER.upper()}".encode(),
    "address": f"file:///home/{USER}%20x".encode(),
}


@pytest.mark.parametrize("place", PLACES)
def test_the_search_finds_a_name_wherever_it_stands(place: str) -> None:
    assert words_in(PLACES[place], [USER]) == [USER]
    assert words_in(PLACES[place], ["nobody-of-that-name"]) == []


@pytest.mark.parametrize(
    "line",
    [
        "import socket; socket.create_connection(('127.0.0.1', 9))",
        "import socket; socket.getaddrinfo('localhost', 80)",
        "import urllib.request; urllib.request.urlopen('http://127.0.0.1:9/')",
        "import socket; socket.socket(socket.AF_INET, socket.SOCK_DGRAM).sendto(b'', ('127.0.0.1', 9))",
    ],
)
def test_a_command_that_used_the_network_would_be_seen(line: str, tmp_path: Path) -> None:
    """A catalogue command that does so is put in place of the real one."""
    code = (
        "import sys, io, pathlib\n"
        "from tests.support import every_command\n"
        "from workbook_tools.cli.main import cli\n"
        f"cli.commands['functions'].callback = lambda **_: exec({line!r})\n"
        "sys.stdin = io.StringIO('[[\"functions\"]]')\n"
        "every_command.main(pathlib.Path('.'))\n"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
        env={**os.environ, "PYTHONPATH": str(every_command.ROOT)},
        cwd=tmp_path,
    )
    (result,) = [json.loads(text) for text in ended.stdout.splitlines()]
    assert result["code"] != 0
    assert result["network"]


def test_this_computer_is_not_the_invented_one() -> None:
    assert HOST not in (platform.node(), socket.gethostname())
