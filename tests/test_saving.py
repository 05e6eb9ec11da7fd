"""Safe saving: the old file or the new one is always whole, nothing is lost, and nothing is left lying about."""

from __future__ import annotations

import errno
import os
import random
import re
import shutil
import signal
import stat
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import IO, Any

import pytest

from workbook_tools.errors import BusyFileError, SaveError, WorkbookToolsError
from workbook_tools.xlsx.saving.whole_file import save

ROOT = Path(__file__).resolve().parents[1]
OLD, NEW = b"the old log", b"the new log, which is longer"
BACKUP = re.compile(r"River farm\.backup-\d{8}-\d{6}(-\d+)?\.xlsx")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A log that is there already, alone in its folder."""
    log = tmp_path / "River farm.xlsx"
    log.write_bytes(OLD)
    return log


def there(path: Path) -> dict[str, bytes]:
    """Every file of the folder."""
    return {file.name: file.read_bytes() for file in path.parent.iterdir()}


def failing(code: int) -> Callable[..., Any]:
    """A call to the system that fails as the system would."""

    def fail(*_: object, **__: object) -> None:
        raise OSError(code, os.strerror(code))

    return fail


# -------------------------------------------------------------------------------------------------- it works


def test_a_new_file(tmp_path: Path) -> None:
    path = tmp_path / "River farm.xlsx"
    assert save(path, NEW) is None
    assert there(path) == {"River farm.xlsx": NEW}


def test_a_new_file_has_the_rights_of_any_new_file(tmp_path: Path) -> None:
    """Not those of a temporary one, which nobody else may read."""
    (tmp_path / "plain").write_bytes(b"")
    path = tmp_path / "River farm.xlsx"
    save(path, NEW)
    assert stat.S_IMODE(path.stat().st_mode) == stat.S_IMODE((tmp_path / "plain").stat().st_mode)


def test_a_file_that_is_there_is_not_replaced_unasked(path: Path) -> None:
    with pytest.raises(SaveError) as caught:
        save(path, NEW)
    assert str(caught.value) == (
        f"{path}: is there already. Choose another name, or say --replace (a dated backup is kept)."
    )
    assert there(path) == {path.name: OLD}


def test_a_replaced_file_is_kept_as_a_dated_backup(path: Path) -> None:
    path.chmod(0o640)
    os.utime(path, (1_700_000_000, 1_700_000_000))
    backup = save(path, NEW, replace=True)
    assert backup is not None
    assert backup.parent == path.parent
    assert BACKUP.fullmatch(backup.name)
    assert there(path) == {path.name: NEW, backup.name: OLD}
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert backup.stat().st_mtime == 1_700_000_000


def test_backups_of_one_second_are_all_kept(path: Path) -> None:
    contents = [OLD, *(b"log %d" % number for number in range(4))]
    backups = [save(path, content, replace=True) for content in contents[1:]]
    assert len(set(backups)) == 4
    assert [backup.read_bytes() for backup in backups if backup is not None] == contents[:-1]
    assert path.read_bytes() == contents[-1]


def test_replacing_what_is_not_there_makes_no_backup(tmp_path: Path) -> None:
    path = tmp_path / "River farm.xlsx"
    assert save(path, NEW, replace=True) is None
    assert there(path) == {path.name: NEW}


# ------------------------------------------------------------------------------------------- it is in the way


@pytest.mark.parametrize("name", ["~$River farm.xlsx", ".~lock.River farm.xlsx#", "~$ver farm.xlsx"])
def test_a_file_that_is_open_is_not_touched(name: str, path: Path) -> None:
    """Lock files of both families of spreadsheet programs; one of them cuts two letters off a long name."""
    lock = path.with_name(name)
    lock.write_bytes(b"")
    os.utime(lock, (time.time() - 330, time.time() - 330))
    with pytest.raises(BusyFileError) as caught:
        save(path, NEW, replace=True)
    assert str(caught.value) == (
        f"{path}: is open in a spreadsheet program: somebody has had it open for 5 minutes. Close it there and try "
        f"again; if no program has it open, delete the lock file {name}."
    )
    assert there(path) == {path.name: OLD, name: b""}


def test_a_lock_file_of_another_log_is_none_of_ours(path: Path) -> None:
    path.with_name("~$Other farm.xlsx").write_bytes(b"")
    path.with_name(".~lock.Other farm.xlsx#").write_bytes(b"")
    assert save(path, NEW, replace=True) is not None
    assert path.read_bytes() == NEW


def test_a_lock_file_stops_a_new_file_too(tmp_path: Path) -> None:
    (tmp_path / "~$River farm.xlsx").write_bytes(b"")
    with pytest.raises(BusyFileError):
        save(tmp_path / "River farm.xlsx", NEW)
    assert not (tmp_path / "River farm.xlsx").exists()


def test_a_folder_in_place_of_the_file(tmp_path: Path) -> None:
    (tmp_path / "River farm.xlsx").mkdir()
    with pytest.raises(SaveError, match="is a folder, not a file"):
        save(tmp_path / "River farm.xlsx", NEW, replace=True)
    assert list((tmp_path / "River farm.xlsx").iterdir()) == []


def test_a_pipe_in_place_of_the_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "River farm.xlsx")
    with pytest.raises(SaveError, match="is no file but a device, a pipe or a socket; nothing was written"):
        save(tmp_path / "River farm.xlsx", NEW, replace=True)


def test_a_link_that_leads_back_to_itself(tmp_path: Path) -> None:
    path = tmp_path / "River farm.xlsx"
    path.symlink_to(path)
    with pytest.raises(SaveError):
        save(path, NEW, replace=True)
    assert path.is_symlink()


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(SaveError, match=re.escape(f"the folder {tmp_path / 'gone'} is not there")):
        save(tmp_path / "gone" / "River farm.xlsx", NEW)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_written_to(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rights do not bind an administrator, so the system's refusal is played."""
    monkeypatch.setattr(tempfile, "mkstemp", failing(errno.EACCES))
    with pytest.raises(SaveError) as caught:
        save(path, NEW, replace=True)
    assert str(caught.value) == f"{path}: the folder cannot be written to (Permission denied)."
    assert there(path) == {path.name: OLD}


# ------------------------------------------------------------------------------------------ it fails half way


class FullDisk:
    """An open file on a disk that takes half of what is written, and no more."""

    def __init__(self, file: Any) -> None:
        self.file = file

    def __enter__(self) -> FullDisk:
        return self

    def __exit__(self, *_: object) -> None:
        self.file.close()

    def write(self, content: bytes) -> int:
        self.file.write(content[: len(content) // 2])
        self.file.flush()
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def __getattr__(self, name: str) -> Any:
        return getattr(self.file, name)


def on_a_full_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = os.fdopen
    monkeypatch.setattr(os, "fdopen", lambda *args, **kwargs: FullDisk(whole(*args, **kwargs)))


def without_sync(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "fsync", failing(errno.EIO))


@pytest.mark.parametrize(
    ("spoil", "words"),
    [(on_a_full_disk, "No space left on device"), (without_sync, "Input/output error")],
    ids=["write", "fsync"],
)
@pytest.mark.parametrize("old", [True, False], ids=["replacing", "new"])
def test_a_disk_that_fails_while_writing(
    spoil: Callable[[pytest.MonkeyPatch], None], words: str, old: bool, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if not old:
        path.unlink()
    before = there(path)
    spoil(monkeypatch)
    with pytest.raises(SaveError) as caught:
        save(path, NEW, replace=True)
    assert str(caught.value) == f"{path}: cannot be written ({words}); nothing was changed."
    assert caught.value.kept is None
    assert there(path) == before


def test_a_disk_that_is_full_at_the_backup(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def half(source: IO[bytes], target: IO[bytes]) -> None:
        target.write(source.read(3))
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(shutil, "copyfileobj", half)
    with pytest.raises(SaveError) as caught:
        save(path, NEW, replace=True)
    assert str(caught.value) == f"{path}: no backup could be made (No space left on device); nothing was changed."
    assert there(path) == {path.name: OLD}


@pytest.mark.parametrize(
    ("code", "kind", "words"),
    [
        (errno.EACCES, BusyFileError, "cannot be replaced (Permission denied); is it open elsewhere?"),
        (errno.ENOSPC, SaveError, "cannot be replaced (No space left on device)."),
    ],
    ids=["open elsewhere", "full"],
)
def test_a_file_that_cannot_be_replaced(
    code: int, kind: type[SaveError], words: str, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As when another program holds the old one open: the new one is kept, and the message says where."""
    monkeypatch.setattr(Path, "replace", failing(code))
    with pytest.raises(kind) as caught:
        save(path, NEW, replace=True)
    kept = Path(caught.value.kept or "")
    assert kept.read_bytes() == NEW
    assert str(caught.value) == f"{path}: {words} The new file is whole and lies at {kept}."
    assert there(path) == {path.name: OLD, kept.name: NEW}  # no copy of the old one: it is there itself


def test_an_interrupted_save_leaves_nothing(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C while the disk is busy."""

    def interrupted(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        save(path, NEW, replace=True)
    assert there(path) == {path.name: OLD}


DIES = """
import os, shutil, signal, sys
from pathlib import Path
from workbook_tools.xlsx.saving.whole_file import save

def piece_by_piece(source, target):
    for number, byte in enumerate(source.read()):
        if number == int(sys.argv[2]):
            os.kill(os.getpid(), signal.SIGKILL)
        target.write(bytes([byte]))
        target.flush()

shutil.copyfileobj = piece_by_piece
save(Path(sys.argv[1]), b"the new log, which is longer", replace=True)
"""


@pytest.mark.parametrize("copied", [0, 1, len(OLD) - 1])
def test_killed_during_the_backup_no_backup_is_cut_short(copied: int, path: Path) -> None:
    """What is left of the copy has another name than a backup, and is in nobody's way."""
    done = subprocess.run([sys.executable, "-c", DIES, str(path), str(copied)], check=False, timeout=60, cwd=ROOT)
    assert done.returncode == -signal.SIGKILL
    assert path.read_bytes() == OLD
    assert [name for name in there(path) if BACKUP.fullmatch(name)] == []
    assert OLD[:copied] in [content for name, content in there(path).items() if name.startswith(".River farm.backup-")]
    backup = save(path, NEW, replace=True)
    assert backup is not None
    assert (path.read_bytes(), backup.read_bytes()) == (NEW, OLD)


def test_an_interruption_during_the_backup_leaves_nothing(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(source: IO[bytes], target: IO[bytes]) -> None:
        target.write(source.read(3))
        raise KeyboardInterrupt

    monkeypatch.setattr(shutil, "copyfileobj", interrupted)
    with pytest.raises(KeyboardInterrupt):
        save(path, NEW, replace=True)
    assert there(path) == {path.name: OLD}


def test_a_link_still_points_to_the_log(tmp_path: Path) -> None:
    """What is saved through a link lands in the file that it points to."""
    real = tmp_path / "records" / "River farm.xlsx"
    real.parent.mkdir()
    real.write_bytes(OLD)
    link = tmp_path / "River farm.xlsx"
    link.symlink_to(real)
    save(link, NEW, replace=True)
    assert link.is_symlink()
    assert real.read_bytes() == NEW


def test_refusals_are_of_the_one_tree() -> None:
    assert issubclass(BusyFileError, SaveError)
    assert issubclass(SaveError, WorkbookToolsError)
    assert issubclass(SaveError, OSError)


SAVES_FOR_EVER = """
import sys
from pathlib import Path
from workbook_tools.xlsx.saving.whole_file import save

path, sizes = Path(sys.argv[1]), (400_000, 900_000)
print("ready", flush=True)
while True:
    for number, size in enumerate(sizes):
        save(path, bytes([65 + number]) * size, replace=True)
        for backup in path.parent.glob("*.backup-*.xlsx"):
            backup.unlink()
"""
WHOLE = {b"A" * 400_000, b"B" * 900_000}


def test_killed_at_any_moment_the_file_is_whole(tmp_path: Path) -> None:
    """100 kills of a process that saves over and over: one content or the other stands there, never a part of it."""
    path = tmp_path / "River farm.xlsx"
    path.write_bytes(b"A" * 400_000)
    chance = random.Random(11)
    kinds = set()
    for _ in range(100):
        command = [sys.executable, "-c", SAVES_FOR_EVER, str(path)]
        with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE) as process:
            assert process.stdout is not None
            assert process.stdout.readline() == b"ready\n"
            time.sleep(chance.uniform(0, 0.03))
            process.kill()
        content = path.read_bytes()
        assert content in WHOLE
        kinds.add(content[:1])
        for backup in tmp_path.glob("River farm.backup-*.xlsx"):
            assert backup.read_bytes() in WHOLE
            backup.unlink()
    assert kinds == {b"A", b"B"}
