"""Two commands at once, lock files of spreadsheet programs, and files that change while they are read."""

from __future__ import annotations

import datetime
import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from click.testing import CliRunner, Result

from tests.test_check import clean
from tests.test_merging_files import changed, made, small
from workbook_tools.cli.main import cli
from workbook_tools.errors import BusyFileError, ChangedFileError, SaveError
from workbook_tools.xlsx.saving import lock, program_locks
from workbook_tools.xlsx.saving.inputs import Seen
from workbook_tools.xlsx.saving.lock import holder, in_place, lock_file, this_host
from workbook_tools.xlsx.saving.program_locks import check_not_open, open_elsewhere, plain
from workbook_tools.xlsx.saving.whole_file import save

ROOT = Path(__file__).resolve().parents[1]
NOW = datetime.datetime.now(datetime.UTC)


@pytest.fixture
def log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A log, and a clock that stands still: how long the tests take changes no age."""
    monkeypatch.setattr(lock, "_now", lambda: NOW)
    monkeypatch.setattr(program_locks, "time", SimpleNamespace(time=NOW.timestamp))
    path = tmp_path / "River farm.xlsx"
    path.write_bytes(b"a log")
    return path


def run(*words: object) -> Result:
    return CliRunner().invoke(cli, list(map(str, words)))


def said(error: BaseException) -> str:
    return " ".join(str(error).split())


def held_by(log: Path, age: datetime.timedelta = datetime.timedelta(0), **changes: Any) -> Path:
    """A lock as some command left it."""
    facts = {"command": "merge", "host": this_host(), "process": os.getpid(), "begun": (NOW - age).isoformat()}
    lock_file(log).write_text(json.dumps(facts | changes), encoding="utf-8")
    return lock_file(log)


def gone_process() -> int:
    """The number of a process that has ended."""
    with subprocess.Popen([sys.executable, "-c", ""]) as process:
        process.wait()
    return process.pid


# ------------------------------------------------------------------------------------------------- our own lock


def test_a_log_is_held_while_a_command_writes_it(log: Path) -> None:
    with in_place(log, "merge") as note:
        assert note is None
        held = holder(lock_file(log))
        assert held is not None
        assert (held.command, held.process, held.host) == ("merge", os.getpid(), this_host())
        assert held.age < datetime.timedelta(minutes=1)
    assert not lock_file(log).exists()


def test_the_lock_says_no_more_than_is_needed(log: Path) -> None:
    """Which command, which process of which computer, since when: no account, no folder."""
    with in_place(log, "merge"):
        assert set(json.loads(lock_file(log).read_text())) == {"command", "process", "host", "begun"}
        assert str(log.parent) not in lock_file(log).read_text()


def test_a_second_command_is_told_who_has_it(log: Path) -> None:
    held_by(log, datetime.timedelta(seconds=7))
    with pytest.raises(BusyFileError) as caught, in_place(log, "upgrade"):
        pass
    assert re.fullmatch(
        rf"{re.escape(str(log))}: is being written by `workbook-tools merge` on {re.escape(this_host())} \(process "
        rf"{os.getpid()}\), begun 7 seconds ago\. Wait until it has ended, then try again; if it was broken off, "
        r"delete the lock file \.River farm\.xlsx\.in-use\.",
        said(caught.value),
    )
    assert lock_file(log).exists()


@pytest.mark.parametrize(
    "change",
    [{"host": "boat-2, linux"}, {"process": 0}, {"process": -1}, {}],
    ids=["another computer", "no process", "a group of processes", "a process that runs"],
)
def test_an_old_lock_that_may_still_hold_is_explained_and_stays(change: dict[str, Any], log: Path) -> None:
    held_by(log, datetime.timedelta(hours=30), **change)
    with pytest.raises(BusyFileError) as caught, in_place(log, "upgrade"):
        pass
    assert (
        "begun 30 hours ago. No command takes 60 minutes: it was probably broken off. If it does not run any more, "
        in (said(caught.value))
    )
    assert str(caught.value).endswith("delete the lock file .River farm.xlsx.in-use and try again.")
    assert lock_file(log).exists()


@pytest.mark.parametrize(
    "content", [b"", b"{", b"[]", b'{"command": 5}', b"\xff\xfe", b"[" * 4_000, b'{"process": 1e999}']
)
def test_a_lock_that_cannot_be_read_still_holds(content: bytes, log: Path) -> None:
    lock_file(log).write_bytes(content)
    words = "another command of workbook-tools, which its lock file does not name"
    with pytest.raises(BusyFileError, match=words), in_place(log, "merge"):
        pass
    assert lock_file(log).read_bytes() == content


def test_what_a_lock_says_is_shown_without_its_tricks(log: Path) -> None:
    held_by(log, host="boat\x1b[31m\u202e\n2" + "x" * 500, command="merge\a")
    with pytest.raises(BusyFileError) as caught, in_place(log, "upgrade"):
        pass
    assert "`workbook-tools merge` on boat[31m 2xxx" in str(caught.value)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 600


def test_the_lock_of_a_process_that_is_gone_is_taken_away_and_that_is_said(log: Path) -> None:
    held_by(log, datetime.timedelta(minutes=3), process=gone_process())
    with in_place(log, "upgrade") as note:
        assert note is not None
        assert re.search(r"`workbook-tools merge` on .* \(process \d+\), begun 3 minutes ago, ended without", note)
        assert "its lock file was removed" in note
        held = holder(lock_file(log))
        assert held is not None
        assert held.command == "upgrade"
    assert [file.name for file in log.parent.iterdir()] == [log.name]


def test_of_two_that_find_a_left_over_lock_one_gets_it(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The other had taken it away and made its own between our look and our hand."""
    held_by(log, process=gone_process())
    found = holder(lock_file(log))
    other = held_by(log, command="names").read_bytes()
    looks = iter([found])
    monkeypatch.setattr(lock, "holder", lambda _: next(looks))
    with pytest.raises(BusyFileError, match="another command has just begun to write it"), in_place(log, "upgrade"):
        pass
    assert lock_file(log).read_bytes() == other
    assert len(list(log.parent.iterdir())) == 2


def test_of_two_that_begin_at_once_one_gets_it(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    held_by(log)
    monkeypatch.setattr(lock, "holder", lambda _: None)  # there was none when we looked
    with pytest.raises(BusyFileError, match="another command has just begun"), in_place(log, "upgrade"):
        pass
    assert lock_file(log).exists()


def test_the_lock_goes_whatever_happens(log: Path) -> None:
    for kind in (ValueError, KeyboardInterrupt, SystemExit, SaveError):
        with pytest.raises(kind), in_place(log, "merge"):
            raise kind("went", "wrong") if kind is SaveError else kind("went wrong")
        assert not lock_file(log).exists()


def test_a_lock_that_somebody_else_has_by_now_is_left_alone(log: Path) -> None:
    with in_place(log, "merge"):
        other = held_by(log, command="names").read_bytes()
    assert lock_file(log).read_bytes() == other


def test_a_log_that_is_not_there_is_not_held(tmp_path: Path) -> None:
    with in_place(tmp_path / "gone.xlsx", "merge") as note:
        assert note is None
    assert list(tmp_path.iterdir()) == []


def test_a_link_and_what_it_points_to_have_one_lock(log: Path, tmp_path: Path) -> None:
    link = tmp_path / "link.xlsx"
    link.symlink_to(log)
    with in_place(link, "merge"), pytest.raises(BusyFileError), in_place(log, "upgrade"):
        pass


HOLDS = """
import sys, time
from pathlib import Path
from types import SimpleNamespace
from workbook_tools.xlsx.saving.lock import in_place
with in_place(Path(sys.argv[1]), "merge"):
    print("held", flush=True)
    time.sleep(60)
"""


def test_a_command_waits_for_one_that_runs_and_takes_over_from_one_that_was_killed(log: Path) -> None:
    """Two processes on one log; then the first is killed, which leaves its lock."""
    with subprocess.Popen([sys.executable, "-c", HOLDS, str(log)], cwd=ROOT, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"held\n"
        with pytest.raises(BusyFileError, match=rf"process {process.pid}\)"), in_place(log, "upgrade"):
            pass
        process.send_signal(signal.SIGKILL)
        process.wait()
    assert lock_file(log).exists()
    with in_place(log, "upgrade") as note:
        assert note is not None
        assert f"process {process.pid}" in note


@pytest.mark.parametrize(
    "words",
    [("merge", "LOG", "COPY", "--replace"), ("upgrade", "LOG"), ("names", "LOG"),
     ("responses", "LOG", "--into-log", "--replace")],
    ids=lambda words: words[0],
)  # fmt: skip
def test_each_command_that_writes_in_place_asks_for_the_lock(words: tuple[str, ...], tmp_path: Path) -> None:
    log, one = small(tmp_path, clean(), changed(clean(), "visits", 0, findings="all well"))
    held_by(log, command="merge")
    before = {file: file.read_bytes() for file in tmp_path.iterdir()}
    done = run(*({"LOG": log, "COPY": one}.get(word, word) for word in words))
    assert done.exit_code == 2
    assert "is being written by `workbook-tools merge`" in " ".join(done.output.split())
    assert {file: file.read_bytes() for file in tmp_path.iterdir()} == before


@pytest.mark.parametrize(
    "words",
    [("merge", "LOG", "COPY", "--out", "OUT"), ("check", "LOG"), ("lend", "LOG", "--out", "OUT", "--mark", "T"),
     ("share", "LOG", "--site", "S01", "--out", "OUT"), ("summary", "LOG")],
    ids=lambda words: words[0],
)  # fmt: skip
def test_a_command_that_only_reads_the_log_does_not_wait(words: tuple[str, ...], tmp_path: Path) -> None:
    log, one = small(tmp_path, clean(), changed(clean(), "visits", 0, findings="all well"))
    held_by(log)
    done = run(*({"LOG": log, "COPY": one, "OUT": tmp_path / "out.xlsx"}.get(word, word) for word in words))
    assert done.exit_code == 0, done.output


# ------------------------------------------------------------------------------ lock files of spreadsheet programs


def owner_file(name: str, wide: bool = True) -> bytes:
    """165 bytes: length and name in the system's code page, length and name in UTF-16; as seen, from memory."""
    narrow = name.encode("cp1252", "replace")[:54]
    both = name.encode("utf-16-le")[:108] if wide else b""
    return (
        bytes([len(narrow)])
        + narrow.ljust(54, b" ")
        + (len(both) // 2).to_bytes(2, "little")
        + both.ljust(108, b" \0"[:1])
    )


LINE = "Ada Fern,ada,boat-1,26.11.2026 09:30,file:///home/ada/.config/profile;"


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        (".~lock.River farm.xlsx#", LINE.encode(), "Ada Fern on boat-1 has had it open for 5 minutes"),
        (".~lock.River farm.xlsx#", b",ada,boat-1,x,y;", "ada on boat-1 has had it open for 5 minutes"),
        (".~lock.River farm.xlsx#", rb"Fern\, Ada,ada,boat-1,x,y;", "Fern, Ada on boat-1 has had it open"),
        (".~lock.River farm.xlsx#", b"", "somebody has had it open"),
        (".~lock.River farm.xlsx#", b"\xff\x00\x1b[2J,\x07,\x1b]0;x\x07", "[2J on ]0;x has had it open"),
        ("~$River farm.xlsx", owner_file("Ada Fern"), "Ada Fern has had it open for 5 minutes"),
        ("~$ver farm.xlsx", owner_file("Łucja Żak"), "Łucja Żak has had it open"),
        ("~$River farm.xlsx", owner_file("Ada Fern", wide=False), "Ada Fern has had it open"),
        ("~$River farm.xlsx", owner_file("a\u202eb\x1b[31mc"), "ab[31mc has had it open"),
        ("~$River farm.xlsx", b"\xff" * 165, "has had it open"),
        ("~$River farm.xlsx", b"\x08Ada", "Ada has had it open"),
        ("~$River farm.xlsx", b"", "somebody has had it open"),
    ],
)
def test_who_has_it_open_is_said(name: str, content: bytes, words: str, log: Path) -> None:
    lock = log.with_name(name)
    lock.write_bytes(content)
    os.utime(lock, (NOW.timestamp() - 300, NOW.timestamp() - 300))
    with pytest.raises(BusyFileError) as caught:
        check_not_open(log)
    assert words in said(caught.value)
    assert "Close it there and try again" in said(caught.value)
    assert str(caught.value).isprintable()
    assert "profile" not in str(caught.value)


def test_a_lock_file_of_yesterday_is_explained(log: Path) -> None:
    lock = log.with_name(".~lock.River farm.xlsx#")
    lock.write_text(LINE)
    os.utime(lock, (NOW.timestamp() - 3 * 86_400, NOW.timestamp() - 3 * 86_400))
    with pytest.raises(BusyFileError) as caught:
        save(log, b"new", replace=True)
    assert str(caught.value) == (
        f"{log}: is open in a spreadsheet program: Ada Fern on boat-1 has had it open for 3 days, by its lock file "
        ".~lock.River farm.xlsx#. After more than 24 hours it may be left over from a program that crashed: if nobody "
        "has the workbook open, delete that lock file and try again."
    )
    assert log.read_bytes() == b"a log"


def test_nothing_but_a_plain_file_is_read_as_a_lock(log: Path) -> None:
    """A link could lead to any file, a pipe would wait for ever."""
    secret = log.with_name("secret.txt")
    secret.write_text("password,password,password")
    lock = log.with_name(".~lock.River farm.xlsx#")
    lock.symlink_to(secret)
    assert open_elsewhere(lock).who == ""
    lock.unlink()
    os.mkfifo(lock)
    assert open_elsewhere(lock).who == ""
    lock.unlink()
    lock.mkdir()
    assert open_elsewhere(lock).who == ""
    lock.rmdir()
    os.mkfifo(lock_file(log))
    with pytest.raises(BusyFileError, match="which its lock file does not name"), in_place(log, "merge"):
        pass


def test_a_long_name_is_cut() -> None:
    assert plain("x" * 500) == "x" * (program_locks.LONGEST_NAME - 1) + "…"
    assert plain(" a \n\t b\u200b\ue000\ud800 ") == "a b"


# --------------------------------------------------------------------------------- changed while it was being read


def test_a_file_that_changed_since_it_was_read_is_not_written_over(log: Path) -> None:
    seen = Seen(log)
    seen.check()
    log.write_bytes(b"a newer log")
    with pytest.raises(ChangedFileError) as caught:
        save(log, b"ours", replace=True, seen=seen, in_place=True)
    assert str(caught.value) == f"{log}: was changed by another program meanwhile; nothing was written. Try again."
    assert {file.name: file.read_bytes() for file in log.parent.iterdir()} == {log.name: b"a newer log"}


def test_a_file_that_was_replaced_by_one_of_the_same_content_is_the_same(log: Path) -> None:
    """As a program does that keeps folders alike on several computers."""
    seen = Seen(log)
    log.unlink()
    log.write_bytes(b"a log")
    assert save(log, b"ours", replace=True, seen=seen, in_place=True) is not None


def test_a_pipe_is_never_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.xlsx")
    Seen(tmp_path / "pipe.xlsx").check()


def test_a_file_that_vanished_is_a_change(log: Path) -> None:
    seen = Seen(log)
    log.unlink()
    with pytest.raises(ChangedFileError):
        seen.check()


def test_a_save_during_ours_is_seen(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Even where nobody says what was read: the file that the backup was made of is the one that is replaced."""
    real = os.replace

    def rename(self: Path, target: Path) -> Path:
        if ".backup-" in target.name:
            log.with_name("other").write_bytes(b"a newer log")
            real(log.with_name("other"), log)
        real(self, target)
        return target

    monkeypatch.setattr(Path, "rename", rename)
    with pytest.raises(ChangedFileError):
        save(log, b"ours", replace=True)
    assert {file.name: file.read_bytes() for file in log.parent.iterdir()} == {log.name: b"a newer log"}


READERS = (
    ("check", "LOG", "--annotate", "OUT"),
    ("lend", "LOG", "--out", "OUT", "--mark", "T"),
    ("share", "LOG", "--site", "S01", "--out", "OUT"),
    ("plan", "LOG", "--visit", "V001", "--out", "OUT"),
    ("names", "LOG"),
    ("responses", "LOG", "--into-log", "--replace"),
    ("merge", "LOG", "COPY", "--out", "OUT"),
    ("merge", "LOG", "COPY", "--replace"),
)
CASES = [(words, which) for words in READERS for which in ("LOG", "COPY") if which in words]


@pytest.mark.parametrize(("words", "which"), CASES, ids=[f"{' '.join(words)}, {which}" for words, which in CASES])
def test_no_command_mixes_two_states(
    words: tuple[str, ...], which: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another program saves the log, or the copy, right after its first look."""
    log, one = small(tmp_path, clean(), changed(clean(), "visits", 0, findings="all well"))
    victim = {"LOG": log, "COPY": one}[which]
    newer = made(tmp_path / "newer.xlsx", changed(clean(), "visits", 0, findings="not so well")).read_bytes()
    (tmp_path / "newer.xlsx").unlink()
    looks = Seen.__init__

    def then_saved(self: Seen, *paths: Path) -> None:
        looks(self, *paths)
        victim.write_bytes(newer)

    monkeypatch.setattr(Seen, "__init__", then_saved)
    done = run(*({"LOG": log, "COPY": one, "OUT": tmp_path / "out.xlsx"}.get(word, word) for word in words))
    assert done.exit_code == 2, done.output
    assert "was changed by another program meanwhile; nothing was written." in " ".join(done.output.split())
    assert sorted(file.name for file in tmp_path.iterdir()) == ["log.xlsx", "one.xlsx"]
    assert victim.read_bytes() == newer
