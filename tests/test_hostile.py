"""Hostile and broken files to every command that reads: a reason on one line, exit code 2, and nothing touched."""

from __future__ import annotations

import ast
import json
import os
import re
import socket
import subprocess
import sys
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest
import python_calamine

from tests.support import forked, heavy, hostile
from tests.support.commands import run
from tests.support.forked import MEMORY, SECONDS, Job, Run, run_all
from workbook_tools.cli.main import cli
from workbook_tools.errors import EditError, ReadError
from workbook_tools.layout import case_log
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.checking.log_check import check_log
from workbook_tools.producer.package_texts import Room, package_texts
from workbook_tools.xlsx import opened
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit
from workbook_tools.xlsx.reading import Archive, admitted, foreign_in, native_cells, native_workbook
from workbook_tools.xlsx.reading.archive import shown
from workbook_tools.xlsx.reading.limits import MOST_CELLS, MOST_MERGED

PACKAGE = Path(__file__).parents[1] / "workbook_tools"
# every command that reads a workbook, the hostile one called bad.xlsx and a good log good.xlsx
COMMANDS: dict[str, tuple[str, ...]] = {
    "check": ("check", "bad.xlsx"),
    "check marked": ("check", "bad.xlsx", "--annotate", "out.xlsx"),
    "card": ("card", "bad.xlsx"),
    "summary": ("summary", "bad.xlsx"),
    "responses": ("responses", "bad.xlsx"),
    "responses kept": ("responses", "bad.xlsx", "--into-log", "--replace"),
    "plan": ("plan", "bad.xlsx"),
    "plan printed": ("plan", "bad.xlsx", "--out", "out.xlsx"),
    "lend": ("lend", "bad.xlsx", "--out", "out.xlsx", "--mark", "T"),
    "merge into": ("merge", "bad.xlsx", "good.xlsx", "--replace"),
    "merge": ("merge", "good.xlsx", "bad.xlsx", "--replace"),
    "merge base": ("merge", "good.xlsx", "good2.xlsx", "--base", "bad.xlsx", "--replace"),
    "mend": ("mend", "bad.xlsx"),
    "upgrade": ("upgrade", "bad.xlsx"),
    "upgrade out": ("upgrade", "bad.xlsx", "--out", "out.xlsx"),
    "share": ("share", "bad.xlsx", "--site", "S01", "--out", "out.xlsx"),
    "audit against": ("audit", "good.xlsx", "--against", "bad.xlsx", "--site", "S01"),
    "audit": ("audit", "bad.xlsx", "--against", "good.xlsx"),
}
# these look at a file without taking it for a case log: they may also do their work
LENIENT: dict[str, tuple[str, ...]] = {
    "audit site": ("audit", "bad.xlsx", "--against", "good.xlsx", "--site", "S01"),
    "names": ("names", "bad.xlsx"),
}
BATCHES = 4
TURNS = 6  # every file goes to the check, and to one in so many of the other commands: they share one door
READ_NO_WORKBOOK = {"calc", "functions", "new", "extension", "excel", "guide", "completion", "insight"}


def test_every_command_that_reads_a_workbook_is_tried() -> None:
    assert {words[0] for words in (*COMMANDS.values(), *LENIENT.values())} | {"gather"} | READ_NO_WORKBOOK == set(
        cli.commands
    )


def folder_with(folder: Path, content: bytes | None) -> Path:
    folder.mkdir()
    if content is not None:
        (folder / "bad.xlsx").write_bytes(content)
    for name in ("good.xlsx", "good2.xlsx"):
        (folder / name).write_bytes(hostile.good())
    return folder


def fault(run: Run, says: str = "", codes: tuple[int, ...] = (2,)) -> str:
    """What a run did wrong, in words; nothing where it turned the file away as it should."""
    lines = run.error.strip().splitlines()
    if run.code not in codes:
        return f"ended with {run.code}: {run.error[-300:]}"
    if run.code == 2 and (len(lines) != 1 or not lines[0].startswith("Error: ") or not lines[0].isprintable()):
        return f"said other things than one line: {run.error[:300]!r}"
    if run.code == 2 and says not in run.error:
        return f"gave another reason: {run.error[:300]!r}"
    if "Traceback" in run.error or "panicked" in run.error:
        return f"showed its inside: {run.error[-300:]!r}"
    if run.after != run.before and run.code == 2:
        return f"changed the folder: {run.before} {run.after}"
    return "" if run.seconds < SECONDS and run.peak < MEMORY else f"took {run.seconds} s and {run.peak} bytes"


def in_turn(number: int) -> list[str]:
    """The commands that a file goes to."""
    every = [*COMMANDS, *LENIENT]
    return [command for place, command in enumerate(every) if place == 0 or place % TURNS == number % TURNS]


def test_every_command_gets_files_of_every_batch() -> None:
    for batch in range(BATCHES):
        names = list(hostile.REFUSED)[batch::BATCHES]
        assert {command for number in range(len(names)) for command in in_turn(number)} == {*COMMANDS, *LENIENT}


@pytest.mark.parametrize("batch", range(BATCHES))
def test_hostile_files_are_turned_away_by_every_command(batch: int, tmp_path: Path) -> None:
    names = list(hostile.REFUSED)[batch::BATCHES]
    every = COMMANDS | LENIENT
    jobs = []
    for number, name in enumerate(names):
        folder = folder_with(tmp_path / str(number), hostile.REFUSED[name][0]())
        jobs += [Job(every[command], str(folder)) for command in in_turn(number)]
    runs = iter(run_all(jobs))
    wrong = {}
    for number, name in enumerate(names):
        for command in in_turn(number):
            # a file that is no workbook of ours does not say which site it is for, whatever else is wrong with it
            says = "" if command in ("audit", *LENIENT) else hostile.REFUSED[name][1]
            what = fault(next(runs), says, (0, 1, 2) if command in LENIENT else (2,))
            if what:
                wrong[name, command] = what
    assert not wrong, wrong


def a_socket(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(os.path.relpath(path))  # the path of a socket must be short


def no_permission(path: Path) -> None:
    path.write_bytes(hostile.good())
    path.chmod(0)


# what may lie at a path and is no workbook file: how it is put there, and words of the reason
SPECIAL: dict[str, tuple[Callable[[Path], object], str]] = {
    "nothing": (lambda path: None, "no such file"),
    "folder": (lambda path: path.mkdir(), "is a folder"),
    "pipe": (os.mkfifo, "a pipe"),
    "socket": (a_socket, "a socket"),
    "device": (lambda path: path.symlink_to("/dev/zero"), "a device"),
    "link to itself": (lambda path: path.symlink_to(path), "leads back to itself"),
    "link to nothing": (lambda path: path.symlink_to(path.with_name("nothing.xlsx")), "no such file"),
    "no permission": (no_permission, "Permission denied"),
}


def test_what_is_no_readable_file_is_turned_away_by_every_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    every = COMMANDS | LENIENT
    jobs = []
    for kind, (put, _) in SPECIAL.items():
        folder = folder_with(tmp_path / kind, None)
        monkeypatch.chdir(folder)
        put(folder / "bad.xlsx")
        jobs += [Job(words, str(folder)) for words in every.values()]
    runs = iter(run_all(jobs))
    wrong = {}
    for kind, (_, says) in SPECIAL.items():
        for command in every:
            what = fault(next(runs), says)
            if what:
                wrong[kind, command] = what
    assert not wrong, wrong


def test_what_could_act_is_reported_and_does_not_stop_the_work(tmp_path: Path) -> None:
    jobs = []
    for number, (make, _) in enumerate(hostile.ACTING.values()):
        folder = str(folder_with(tmp_path / str(number), make()))
        merge = ("merge", "good.xlsx", "bad.xlsx", "--out", "merged.xlsx")
        jobs += [Job(words, folder) for words in (COMMANDS["check"], LENIENT["audit site"], merge)]
    runs = iter(run_all(jobs))
    for number, (name, (_, code)) in enumerate(hostile.ACTING.items()):
        (finding,) = [
            f for f in check_log(tmp_path / str(number) / "bad.xlsx", case_log()).findings if f.cell == "whole file"
        ]
        assert finding.code == code, name
        assert finding.reason.endswith("."), name
        check, audit, merged = next(runs), next(runs), next(runs)
        assert (check.code, audit.code, merged.code) == (1, 1, 0), (name, merged.error)
        assert finding.reason in check.out, name
        assert finding.reason in audit.out, name


def test_gathering_names_hostile_files_and_goes_on(tmp_path: Path) -> None:
    folder = tmp_path / "logs"
    folder.mkdir()
    for number, (make, _) in enumerate(hostile.REFUSED.values()):
        (folder / f"bad{number:03}.xlsx").write_bytes(make())
    (folder / "good.xlsx").write_bytes(hostile.good())
    before = forked.files_in(folder)
    # a process of its own: the library of the tables has threads, which no fork survives
    code = (
        f"import resource; resource.setrlimit(resource.RLIMIT_AS, ({MEMORY}, {MEMORY})); "
        "from workbook_tools.cli import main; main()"
    )
    words = ["gather", "logs", "--out", "all.parquet", "--workers", "1", "--json"]
    done = subprocess.run(
        [sys.executable, "-c", code, *words],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(forked.ROOT)},
        timeout=600,
    )
    assert done.returncode == 1, done.stderr
    said = json.loads(done.stdout)
    named = {one["file"] for one in said["unreadable"]}
    assert named == {path.name for path in folder.iterdir()} - {"good.xlsx"}
    assert forked.files_in(folder) == before


def test_words_in_cells_are_no_formulas(tmp_path: Path) -> None:
    """A text that looks like a command is a text."""
    path = tmp_path / "log.xlsx"
    rows = {"sites": [{"site": "S01", "name": '=DDE("cmd";"/c calc")', "notes": "=cmd|' /C calc'!A0"}]}
    path.write_bytes(build_log(case_log(), rows, rows=3))
    assert foreign_in(Archive(path.read_bytes(), path)) == []


def test_a_log_of_ours_has_nothing_that_could_act() -> None:
    assert foreign_in(Archive(hostile.good(), "good")) == []
    admitted("good", hostile.good())


# ------------------------------------------------------------------------------------------- the edges of the limits


def test_a_dimension_that_lies_is_not_believed(tmp_path: Path) -> None:
    folder = folder_with(tmp_path / "files", hostile.lying_dimension())
    for done in run_all([Job(COMMANDS["check"], str(folder)), Job(COMMANDS["lend"], str(folder))]):
        assert done.code == 0, done.error
        assert done.peak < MEMORY / 4


def test_a_large_file_of_any_family_keeps_no_command_long(tmp_path: Path) -> None:
    """A seventh of the families, of 4 MB; all of them, in four sizes, in tests/reliability.py."""
    seeds = range(0, len(heavy.FAMILIES), 7)
    wanted = heavy.jobs(seeds, tmp_path, heavy.SIZES[1])
    wrong = {}
    for (name, command, _), done in zip(wanted, run_all([job for _, _, job in wanted]), strict=True):
        if done.code not in (0, 1, 2) or "Traceback" in done.error or done.seconds > SECONDS or done.peak > MEMORY:
            wrong[name, command] = (done.code, done.seconds, done.error[-300:])
    assert not wrong, wrong


def test_every_command_that_reads_gets_large_files() -> None:
    tried = {words[0] for words in heavy.COMMANDS.values()}
    alike = {"card", "mend", "responses"}  # they read as plan, merge and summary do
    assert {words[0] for words in COMMANDS.values()} - tried == alike


def test_no_number_that_lies_ends_the_process_of_the_reader() -> None:
    """Every count of every kind of part, each with five numbers: taken or refused in words, never a signal."""
    ended: dict[str, int] = {}
    tried = 0
    for name, content in hostile.hostile_counts():
        code = forked.read_in_a_fork(content)
        tried += 1
        if code not in (0, 2):
            ended[name] = code
    assert tried >= 70
    assert not ended, ended


@pytest.mark.parametrize(("number", "code"), [(1_000, 0), (2 * MOST_MERGED, 2)])
def test_merged_areas_are_counted_where_they_would_cost_time(number: int, code: int, tmp_path: Path) -> None:
    content = hostile.merged_cells(number)
    edit = WorkbookEdit(content)
    sheet = edit.sheet_names[1]
    if code:
        with pytest.raises(ReadError, match="100,000 are allowed"):
            edit.put(sheet, 500, 2, "x")
    else:
        edit.put(sheet, 500, 2, "x")


def test_the_largest_block_that_is_let_in_stays_under_the_memory_limit(tmp_path: Path) -> None:
    """Just under the limit of cells, on one sheet: read under the limits of memory and time, or refused in words."""
    width = MOST_CELLS // 1_048_576
    last = b'<c r="%s1048576"><v>1</v></c>' % bytes([64 + width])
    content = hostile.in_sheet(hostile.row(1, b'<c r="A1"><v>1</v></c>') + hostile.row(1_048_576, last))
    folder = folder_with(tmp_path / "files", content)
    (done,) = run_all([Job(COMMANDS["check"], str(folder))])
    assert done.code == 1, done.error
    assert done.peak < MEMORY
    assert done.seconds < SECONDS


def test_a_date_that_no_calendar_has_is_said_without_noise(capfd: pytest.CaptureFixture[str]) -> None:
    """A panic of the native reader becomes a sentence; its own text does not reach the terminal."""
    content = hostile.in_sheet(hostile.row(1, b'<c r="A1" s="%d"><v>1e300</v></c>' % date_format()))
    book = native_workbook(content, "log.xlsx")
    try:
        native_cells(book, "Sites", "log.xlsx")
    except ReadError as error:
        assert "no calendar has" in str(error)  # noqa: PT017 - a reader that takes it is as good
    assert capfd.readouterr().err == ""


def date_format() -> int:
    """The number of a cell format for dates in the good log."""
    styles = hostile.parts_of(hostile.good())[hostile.STYLES].decode()
    dates = set(re.findall(r'<numFmt numFmtId="(\d+)" formatCode="[^"]*yy', styles)) | {"14"}
    cells = re.search(r"<cellXfs.*?</cellXfs>", styles, re.DOTALL)
    assert cells is not None
    formats = re.findall(r'<xf [^>]*?numFmtId="(\d+)"', cells[0])
    return next(number for number, one in enumerate(formats) if one in dates)


class PanicException(BaseException):
    """Looks like what the native reader raises when it gives up."""


@pytest.mark.parametrize(
    ("panic", "says"),
    [
        ("index out of bounds: the len is 3 but the index is 9", "points to a text or a format that is not there"),
        ("attempt to add with overflow in date", "no calendar has"),
        ("something else", "stops the reader"),
    ],
)
def test_a_panic_becomes_a_sentence(panic: str, says: str, capfd: pytest.CaptureFixture[str]) -> None:
    class Sheet:
        def to_python(self, skip_empty_area: bool) -> list[list[object]]:
            os.write(2, b"thread panicked\n")
            raise PanicException(panic)

    class Book:
        def get_sheet_by_name(self, name: str) -> Sheet:
            return Sheet()

    with pytest.raises(ReadError, match=says):
        native_cells(Book(), "Fish", "log.xlsx")  # type: ignore[arg-type]
    assert capfd.readouterr().err == ""


def test_what_others_write_meanwhile_is_not_lost(capfd: pytest.CaptureFixture[str]) -> None:
    class Sheet:
        def to_python(self, skip_empty_area: bool) -> list[list[object]]:
            os.write(2, b"from another thread\n")
            return []

    class Book:
        def get_sheet_by_name(self, name: str) -> Sheet:
            return Sheet()

    native_cells(Book(), "Fish", "log.xlsx")  # type: ignore[arg-type]
    assert capfd.readouterr().err == "from another thread\n"


def test_a_keyboard_interrupt_stays_one() -> None:
    class Book:
        def get_sheet_by_name(self, name: str) -> object:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        native_cells(Book(), "Fish", "log.xlsx")  # type: ignore[arg-type]


# ------------------------------------------------------------------------------------------------- the one door

# where a zip is opened or markup is parsed outside the door, and why that is no reading of a file from elsewhere
ALLOWED = {
    "functions/formulas/unit.py parse": "reads the name of a unit",
    "xlsx/packing.py ZipFile": "writes every package",
    "hosts/workbook_names.py ParserCreate": "over a part that the door has parsed",
    "xlsx/writing/package.py ZipFile": "over what openpyxl has just written",
    "xlsx/writing/package.py fromstring": "over what openpyxl has just written",
    "xlsx/writing/picture.py ZipFile": "over what the tools have just built",
    "xlsx/editing/column_models.py fromstring": "over trees that the door has made",
    "producer/package_texts.py DefusedXMLParser": "the leak audit reads comments; no entity, no document type",
    "producer/copy.py load_workbook": "over the copy that was just built",
}
OPENING = {"ZipFile", "is_zipfile", "load_workbook", "fromstring", "parse", "iterparse", "XMLParser", "ParserCreate"}
OPENING |= {"DefusedXMLParser", "CalamineWorkbook", "from_path", "from_filelike"}


def test_files_are_opened_through_the_door_alone() -> None:
    found = set()
    for path in sorted(PACKAGE.rglob("*.py")):
        name = path.relative_to(PACKAGE).as_posix()
        if name.startswith("xlsx/reading/"):
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        doors = {
            alias.asname or alias.name
            for node in ast.walk(tree)
            if isinstance(node, ast.ImportFrom)
            and (node.module or "").startswith(("workbook_tools.xlsx.reading", "workbook_tools.xlsx.editing.parts"))
            for alias in node.names
        }
        for node in ast.walk(tree):
            called = ast.unparse(node.func) if isinstance(node, ast.Call) else ""
            if called.rpartition(".")[2] in OPENING and called not in doors and not called.startswith("ast."):
                found.add(f"{name} {called.rpartition('.')[2]}")
    assert found - set(ALLOWED) == set()
    assert set(ALLOWED) - found == set()


def test_a_name_in_a_sentence_is_short_and_on_one_line() -> None:
    assert shown("a\n\x1b[2J") == "a\\n\\x1b[2J"
    assert len(shown("x" * 1000)) == 80


def test_a_file_that_is_replaced_after_the_look_is_not_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The native reader gets the bytes that were looked at, not the path."""
    path = tmp_path / "log.xlsx"
    path.write_bytes(hostile.good())
    seen: list[object] = []
    original: Callable[..., object] = python_calamine.load_workbook

    def load(source: object) -> object:
        path.write_bytes(b"other")
        seen.append(source)
        return original(source)

    monkeypatch.setattr(python_calamine, "load_workbook", load)
    native_workbook(admitted(path).content, path)
    assert not isinstance(seen[0], str | Path)


def test_compressed_streams_in_a_part_are_not_unpacked_again_and_again() -> None:
    """A hundred thousand beginnings of a stream, and streams that unpack to much: the search ends, and soon."""
    begun = b"x\x9c" * 100_000
    swollen = zlib.compress(bytes(1 << 24)) * 30
    for content in (begun, swollen):
        found = list(package_texts(hostile.changed({"xl/media/a.bin": content})))
        assert found


def test_packages_in_packages_share_one_room() -> None:
    """Each package alone would fit; what is over is said to be unread."""
    content = hostile.zipped({"a.bin": os.urandom(1 << 12)}, 0)
    for _ in range(2):
        content = hostile.zipped({f"{n}.zip": content for n in range(6)})
    assert [found for found in package_texts(content, room=Room(1 << 16)) if found.kind == "unread"]
    assert not [found for found in package_texts(content, room=Room(1 << 22)) if found.kind == "unread"]


def test_signs_that_steer_a_terminal_stay_out_of_sentences() -> None:
    assert str(ReadError("log.xlsx", "the sheet a\n\x1b[2Jb is odd.")) == "log.xlsx: the sheet a  [2Jb is odd."
    assert str(EditError("log.xlsx", "a\nb!A1", "is\rodd.")) == "log.xlsx: a b!A1: is odd."


def test_too_little_memory_is_said_in_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def nothing_left(path: Path) -> bytes:
        raise MemoryError

    monkeypatch.setattr(opened, "file_content", nothing_left)
    (tmp_path / "log.xlsx").write_bytes(hostile.good())
    assert "not enough memory" in run("check", str(tmp_path / "log.xlsx"), code=2).output
