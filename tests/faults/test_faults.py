"""Faults and power cuts while the commands write: a bounded number here, more by `python -m tests.faults.run`."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
import pytest

from tests.faults import disk, run
from tests.faults.jobs import JOBS, Job, Judge
from tests.faults.power import Platter, cuts
from workbook_tools.cli.main import cli
from workbook_tools.xlsx.saving import whole_file
from workbook_tools.xlsx.saving.inputs import Seen

BY_NAME = {job.name: job for job in JOBS}
FEWER = {"upgrade": 3}  # it takes seconds each time


@pytest.mark.parametrize("name", BY_NAME)
def test_nothing_is_lost_whatever_the_disk_does(name: str) -> None:
    """A power cut at every call, and eight other faults for each command that writes."""
    faults = FEWER.get(name, 8)
    figures = run.tried(faults, (BY_NAME[name],), random_cuts=2)
    assert figures.wrong == []
    assert figures.faults.total() == faults
    assert figures.power_cuts >= 6 * 10


def test_a_lock_that_can_be_neither_written_nor_removed_is_named(tmp_path: Path) -> None:
    """Faults that last, at each of the first calls: the lock is among what cannot be taken away again."""
    place, judged = tmp_path / "logs", tmp_path / "judged"
    place.mkdir()
    judged.mkdir()
    figures = run.Figures()
    trial = run.Trial(BY_NAME["names"], place, Judge(judged), figures)
    assert trial.journal[0].path.endswith(".in-use")
    for fault in run.FAULTS:
        for at in range(3) if fault.lasting != "once" else ():
            trial.strike(fault, at)
    assert figures.faults.total() >= 6
    assert figures.wrong == []


def test_every_command_that_writes_has_its_faults() -> None:
    """A command with an option that names a file to write, or that writes the file it is given."""
    tried = {job.words[0] for job in JOBS}
    names = {
        name
        for name, command in cli.commands.items()
        for option in command.params
        if option.name in ("out", "annotate", "replace", "picture", "into_log")
    }
    folder_of_tables = {"gather"}  # tests/programme breaks it off at every step: a folder, which the next run completes
    assert tried - {"new"} == (names | {"names", "upgrade"}) - folder_of_tables
    assert isinstance(cli.commands["new"], click.Group)
    assert {job.words[1] for job in JOBS if job.words[0] == "new"} == set(cli.commands["new"].commands)


# ----------------------------------------------------------------------------- the search finds what is to be found


def over_the_old_one(
    path: Path, content: bytes, replace: bool = False, seen: object = None, in_place: bool = False
) -> None:
    """The saver that everybody writes first."""
    path.write_bytes(content)


def unsynced(path: Path, content: bytes, replace: bool = False, seen: object = None, in_place: bool = False) -> None:
    """A new file and a rename, and no fsync: whole until the power goes."""
    beside = path.with_name(f".{path.name}.new")
    beside.write_bytes(content)
    beside.replace(path)


def leaving(path: Path, content: bytes, replace: bool = False, seen: Any = None, in_place: bool = False) -> Path | None:
    """Ours, but it tidies nothing up."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Path, "unlink", lambda *_, **__: None)
        return whole(path, content, replace, seen, in_place=in_place)


whole = whole_file.save


def with_saver(saver: Callable[..., Any], job: Job, patch: pytest.MonkeyPatch, faults: int) -> run.Figures:
    """For commands that look for the saver when they run, not when they are imported."""
    patch.setattr(whole_file, "save", saver)
    return run.tried(faults, (job,), random_cuts=2)


def test_a_saver_that_writes_over_the_old_file_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    figures = with_saver(over_the_old_one, BY_NAME["merge"], monkeypatch, 0)
    assert len(figures.corrupted) > 10
    assert any("cannot be opened" in line for line in figures.corrupted)


def test_a_saver_without_fsync_is_found_out_by_the_power_cuts(monkeypatch: pytest.MonkeyPatch) -> None:
    figures = with_saver(unsynced, BY_NAME["merge"], monkeypatch, 0)
    assert figures.corrupted
    assert all("power cut" in line for line in figures.corrupted)


def test_a_saver_without_a_backup_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    figures = with_saver(unsynced, BY_NAME["merge"], monkeypatch, 0)
    assert any("without a backup" in line for line in figures.lost)


def test_a_saver_that_leaves_things_lying_about_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    figures = with_saver(leaving, BY_NAME["excel"], monkeypatch, 40)
    assert figures.left


def test_a_saver_that_does_not_look_writes_over_a_newer_save(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another program saves while the lock is being made, before anything of ours is written."""
    newer = next(fault for fault in run.FAULTS if fault.name == run.NEWER)
    with run.one_trial(BY_NAME["merge"]) as trial:
        trial.strike(newer, 2)
        assert trial.figures.wrong == []
        monkeypatch.setattr(Seen, "check", lambda _: None)
        monkeypatch.setattr(Seen, "check_states", lambda _: None)
        monkeypatch.setattr(whole_file, "_check_same", lambda *_: None)
        trial.strike(newer, 2)
        assert any("what another program saved is gone" in line for line in trial.figures.lost)


# ------------------------------------------------------------------------------------------------------ the model


def call(
    what: str, path: str = "/log", other: str = "", node: int = -1, offset: int = 0, data: bytes = b""
) -> disk.Call:
    return disk.Call(what, path, other, node, offset, data)


def states(*calls: disk.Call, before: bytes = b"old") -> set[tuple[tuple[str, bytes], ...]]:
    return {tuple(sorted(state.items())) for _, state in cuts({"/log": before}, calls, seed=1, random_ones=60)}


def test_what_was_synced_is_there_after_the_cut() -> None:
    platter = Platter.of({"/log": b"old"})
    for one in (call("truncate"), call("write", data=b"new"), call("fsync")):
        platter.do(one)
    assert platter.cut(run.random.Random(1), "none", "none") == {"/log": b"new"}


def test_what_was_not_synced_may_be_lost_torn_or_zero() -> None:
    data = bytes([7]) * 1_500
    found = {dict(state)["/log"] for state in states(call("truncate"), call("write", data=data))}
    assert {b"old", b"", data, bytes(1_500), data[:512]} <= found


def test_a_name_may_change_before_the_bytes_arrive() -> None:
    """Written, not synced, renamed: the name may stand over nothing."""
    found = states(
        call("create", "/new", node=5), call("write", "/new", node=5, data=b"new"), call("rename", "/new", "/log", 5)
    )
    assert (("/log", b""),) in found
    assert (("/log", b"new"),) in found
    assert (("/log", b"old"),) in found


def test_a_folder_that_was_synced_keeps_its_names() -> None:
    synced = [
        *(call("create", "/new", node=5), call("write", "/new", node=5, data=b"new"), call("fsync", "/new", node=5)),
        *(call("rename", "/new", "/log", 5), call("fsync", "/", node=0)),
    ]
    platter = Platter.of({"/log": b"old"})
    for one in synced:
        platter.do(one)
    assert platter.cut(run.random.Random(1), "none", "none") == {"/log": b"new"}


def test_the_layer_counts_what_pathlib_and_the_libraries_write(tmp_path: Path) -> None:
    layer = disk.Disk((tmp_path,))
    before = os.open, open, os.replace
    with layer.between():
        (tmp_path / "one").write_bytes(b"x" * 20_000)
        (tmp_path / "one").replace(tmp_path / "two")
        with (tmp_path / "three").open("w+") as file:
            file.write("text")
            file.seek(0)
            assert file.read() == "text"
        (tmp_path / "three").unlink()
        (tmp_path / "folder").mkdir()
    assert [one.what for one in layer.calls] == [
        "create",
        "write",
        "write",
        "rename",
        "create",
        "write",
        "unlink",
        "mkdir",
    ]
    assert (os.open, open, os.replace) == before
    assert (tmp_path / "two").read_bytes() == b"x" * 20_000
