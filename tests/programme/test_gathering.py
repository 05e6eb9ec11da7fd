"""What is found and left out, who reads, what is read again, and what is kept after any interruption."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.programme import support
from tests.programme.conftest import LOGS
from tests.programme.support import gathered_in_turn, in_turn, row_for_each_line, some_files, tables
from tests.support.practices import practice
from workbook_tools.across.many_logs import gathering
from workbook_tools.across.many_logs.chunk import Batch, Chunk, read_chunk
from workbook_tools.across.many_logs.dataset import Dataset
from workbook_tools.across.many_logs.fan_out import ENDED, cluster, local_work
from workbook_tools.across.many_logs.gathering import Gathered, gather
from workbook_tools.across.many_logs.log_files import find
from workbook_tools.across.many_logs.one_log import OTHER, READ, UNREADABLE, read_file
from workbook_tools.errors import BusyFileError, HostError, ReadError, SaveError
from workbook_tools.layout import case_log
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.xlsx.saving.whole_file import save

ROOT = Path(__file__).resolve().parents[2]


def nobody(chunk: Chunk) -> Batch:
    raise AssertionError(f"{chunk.files} were read again")


# ------------------------------------------------------------------------------------------------- what is found


def test_neighbours_are_left_out_or_named_with_the_reason(gathered: tuple[Path, Gathered]) -> None:
    done = gathered[1]
    assert [one.file for one in done.of(READ)] == LOGS
    assert {one.file: one.reason for one in done.of(OTHER)} == {
        "near/bench.xlsx": "is a workbook of another kind (bench).",
        "near/lent.xlsx": "is a copy lent to another device; its rows come with the log that it is merged into.",
        "near/marked.xlsx": "is a marked copy made by the check; its rows come with the log itself.",
        "near/producer.xlsx": "is a copy for a producer; its daily rows come with the log that they are merged into.",
    }
    reasons = {one.file: one.reason for one in done.of(UNREADABLE)}
    assert sorted(reasons) == [f"near/{name}.xlsx" for name in ("broken", "empty", "list", "locked", "zip")]
    assert "locked with a password" in reasons["near/locked.xlsx"]
    assert all(len(reason) > 20 and reason.endswith(".") for reason in reasons.values())
    assert not done.complete


def test_links_to_folders_and_the_tables_themselves_are_not_looked_into(tmp_path: Path) -> None:
    some_files(tmp_path / "logs", 2)
    out = some_files(tmp_path / "logs" / "out.parquet", 1)
    (tmp_path / "logs" / "again").symlink_to(tmp_path / "logs", target_is_directory=True)
    assert [one.file for one in find(tmp_path / "logs", out).found] == ["000.xlsx", "001.xlsx"]


def test_links_that_lead_nowhere_are_named_with_the_reason(tmp_path: Path) -> None:
    logs = some_files(tmp_path / "logs", 1)
    (logs / "loop.xlsx").symlink_to(logs / "loop.xlsx")
    (logs / "gone.xlsx").symlink_to(tmp_path / "nothing.xlsx")
    os.mkfifo(logs / "pipe.xlsx")
    (logs / "folder.xlsx").symlink_to(tmp_path, target_is_directory=True)
    done = gathered_in_turn(logs, tmp_path / "t.parquet")
    reasons = {one.file: one.reason for one in done.of(UNREADABLE)}
    assert list(reasons) == ["000.xlsx", "gone.xlsx", "loop.xlsx", "pipe.xlsx"]
    assert "no such file" in reasons["gone.xlsx"]
    assert "leads back to itself" in reasons["loop.xlsx"]
    assert "a pipe" in reasons["pipe.xlsx"]


def test_backups_of_our_own_saving_are_known(tmp_path: Path) -> None:
    for number in range(3):
        save(tmp_path / "a.b.xlsx", bytes([number]), replace=True)
    assert len(list(tmp_path.iterdir())) == 3
    assert [one.file for one in find(tmp_path).found] == ["a.b.xlsx"]


def test_rows_of_a_folder_that_is_closed_for_a_while_stay(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    logs, out = some_files(tmp_path / "logs" / "far", 3).parent, tmp_path / "t.parquet"
    gathered_in_turn(logs, out, row_for_each_line)
    scan = os.scandir

    def closed(path: Path) -> object:
        if Path(path).name == "far":
            raise PermissionError(13, "Permission denied")
        return scan(path)

    monkeypatch.setattr(os, "scandir", closed)
    done = gathered_in_turn(logs, out, nobody)
    assert (done.closed, done.gone, done.complete) == ((("far", "Permission denied"),), 0, False)
    assert len(tables(out)["sites"]) == 6


def test_a_log_whose_file_no_longer_says_so_is_not_passed_over(logs: Path, tmp_path: Path) -> None:
    """A program that drops the file's properties leaves a log of unknown layout: unreadable, not other."""
    import openpyxl

    book = openpyxl.load_workbook(logs / LOGS[1])
    for name in list(book.custom_doc_props.names):
        del book.custom_doc_props[name]
    book.save(tmp_path / "log.xlsx")
    one, rows = read_file(tmp_path, "log.xlsx")
    assert (one.state, rows) == (UNREADABLE, None)
    assert "does not say that it is a case log" in one.reason


def test_a_sheet_of_ones_own_called_findings_is_no_marked_copy(tmp_path: Path) -> None:
    import openpyxl

    (tmp_path / "a.xlsx").write_bytes(build_log(case_log(), practice(3).rows, rows=2))
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    book.create_sheet("Findings")["A1"] = "mine"
    book.save(tmp_path / "a.xlsx")
    assert read_file(tmp_path, "a.xlsx")[0].state == READ


# ------------------------------------------------------------------------------------------------- who reads


@pytest.mark.parametrize("workers", [1, 2])
def test_any_number_of_processes_gives_the_same_rows(
    workers: int, logs: Path, gathered: tuple[Path, Gathered], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(gathering, "FEWEST", 3)  # so that there are several chunks
    with local_work(workers) as work:
        done = gather(logs, tmp_path / "t.parquet", work)
    assert done == gathered[1]
    assert tables(tmp_path / "t.parquet") == tables(gathered[0])


def test_a_file_that_ends_its_process_is_given_up_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gathering, "FEWEST", 3)
    logs, out = some_files(tmp_path / "logs", 7, deadly=4), tmp_path / "t.parquet"
    with local_work(2, support.deadly) as work:
        done = gather(logs, out, work)
    assert [(one.file, one.reason) for one in done.of(UNREADABLE)] == [("004 deadly.xlsx", ENDED)]
    assert len(done.logs) == 6
    assert len(tables(out)["sites"]) == 12
    with local_work(2) as _:  # tried again the next time, and nothing else is
        again: list[str] = []
        gathered_in_turn(logs, out, lambda chunk: again.extend(chunk.files) or row_for_each_line(chunk))  # type: ignore[func-returns-value]
    assert again == [("004 deadly.xlsx", "")]
    assert len(tables(out)["sites"]) == 14


def test_a_process_that_is_ended_once_loses_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gathering, "FEWEST", 3)
    logs, clean = some_files(tmp_path / "logs", 7, deadly=4), tmp_path / "clean.parquet"
    gathered_in_turn(logs, clean, row_for_each_line)
    with local_work(2, support.deadly_once) as work:
        assert gather(logs, tmp_path / "t.parquet", work).complete
    assert tables(tmp_path / "t.parquet") == tables(clean)


def test_an_error_nobody_foresaw_stops_one_file(tmp_path: Path) -> None:
    logs = some_files(tmp_path / "logs", 3, deadly=1)
    with local_work(1, support.unforeseen) as work:
        done = gather(logs, tmp_path / "t.parquet", work)
    reason = "stopped the reader with an error that it does not know (ZeroDivisionError: a bug)."
    assert [(one.file, one.reason) for one in done.of(UNREADABLE)] == [("001 deadly.xlsx", reason)]
    assert len(done.logs) == 2


def test_a_worker_of_another_version_or_without_the_folder_reads_nothing(tmp_path: Path) -> None:
    assert "another" not in read_chunk(Chunk(str(tmp_path), ())).refusal
    assert "install the same on all" in read_chunk(Chunk(str(tmp_path), (), "0.0.0")).refusal
    assert "does not see the folder" in read_chunk(Chunk(str(tmp_path / "none"), ())).refusal
    some_files(tmp_path / "logs", 1)
    with pytest.raises(HostError, match="Nothing more was gathered: a worker has"):
        gathered_in_turn(
            tmp_path / "logs", tmp_path / "t.parquet", lambda chunk: read_chunk(Chunk("/none", (), "0.0.0"))
        )


CLUSTER = """
import sys
from distributed import LocalCluster
if __name__ == "__main__":
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50) as there:
        print(there.scheduler_address, flush=True)
        sys.stdin.readline()
"""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:  # type: ignore[misc]
    """A cluster of two workers that runs already."""
    script = tmp_path_factory.mktemp("cluster") / "cluster.py"
    script.write_text(CLUSTER)
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    running = subprocess.Popen(
        [sys.executable, script], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment
    )
    assert running.stdin is not None
    assert running.stdout is not None
    yield running.stdout.readline().strip()
    running.stdin.close()
    running.wait(60)
    running.stdout.close()


def on_cluster(address: str, folder: Path, out: Path, reader: str) -> None:
    """Gather in a process of its own: the library's threads and warnings stay out of the tests'."""
    code = (
        "import sys; from pathlib import Path; from tests.programme import support; "
        "from workbook_tools.across.many_logs import chunk, gathering; "
        "from workbook_tools.across.many_logs.fan_out import cluster\n"
        "gathering.FEWEST = 3\n"
        f"with cluster({address!r}, {reader}) as work:\n"
        f"    gathering.gather(Path({str(folder)!r}), Path({str(out)!r}), work)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr


def test_a_cluster_gives_the_same_rows(
    address: str, logs: Path, gathered: tuple[Path, Gathered], tmp_path: Path
) -> None:
    on_cluster(address, logs, tmp_path / "t.parquet", "chunk.read_chunk")
    assert tables(tmp_path / "t.parquet") == tables(gathered[0])


def test_a_cluster_that_loses_a_worker_loses_no_rows(address: str, tmp_path: Path) -> None:
    logs = some_files(tmp_path / "logs", 7, deadly=4)
    gathered_in_turn(logs, tmp_path / "clean.parquet", row_for_each_line)
    on_cluster(address, logs, tmp_path / "t.parquet", "support.deadly_once")
    assert (logs / "done").exists()
    assert tables(tmp_path / "t.parquet") == tables(tmp_path / "clean.parquet")


def test_no_cluster_no_change(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("workbook_tools.across.many_logs.fan_out.PATIENCE", "1s")
    with (
        pytest.raises(HostError, match=r"No Dask cluster answers at tcp://127\.0\.0\.1:1 "),
        cluster("tcp://127.0.0.1:1"),
    ):
        pass


# --------------------------------------------------------------------------------------------- what is read again


def test_what_did_not_change_is_not_read_again(tmp_path: Path) -> None:
    logs, out = some_files(tmp_path / "logs", 20), tmp_path / "t.parquet"
    first = gathered_in_turn(logs, out, row_for_each_line)
    before = {path: path.stat().st_mtime_ns for path in out.rglob("*.parquet")}
    again = gathered_in_turn(logs, out, nobody)
    assert (first.read, again.read, again.unchanged) == (20, 0, 20)
    assert before == {path: path.stat().st_mtime_ns for path in out.rglob("*.parquet")}


def test_a_file_saved_again_with_the_same_content_is_looked_at_once(logs: Path, tmp_path: Path) -> None:
    shutil.copytree(logs / "north", tmp_path / "logs")
    out = tmp_path / "t.parquet"
    gathered_in_turn(tmp_path / "logs", out)
    before = tables(out)
    os.utime(tmp_path / "logs" / "alder.xlsx", ns=(1, 1))
    assert gathered_in_turn(tmp_path / "logs", out).read == 0
    assert tables(out) == before
    assert gathered_in_turn(tmp_path / "logs", out, nobody).unchanged == 2


def test_only_the_log_that_changed_is_read_again(logs: Path, tmp_path: Path) -> None:
    shutil.copytree(logs / "north", tmp_path / "logs")
    out, clean = tmp_path / "t.parquet", tmp_path / "clean.parquet"
    gathered_in_turn(tmp_path / "logs", out)
    (tmp_path / "logs" / "alder.xlsx").write_bytes(build_log(case_log(), practice(5).rows, rows=2))
    (tmp_path / "logs" / "also.xlsx").write_bytes((logs / "south" / "cedar.xlsx").read_bytes())
    read: list[str] = []

    def noted(chunk: Chunk) -> Batch:
        read.extend(file for file, _ in chunk.files)
        return read_chunk(chunk)

    done = gathered_in_turn(tmp_path / "logs", out, noted)
    assert (read, done.read, done.unchanged) == (["alder.xlsx", "also.xlsx"], 2, 1)
    gathered_in_turn(tmp_path / "logs", clean)
    assert tables(out) == tables(clean)


def test_other_tools_read_everything_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    logs, out = some_files(tmp_path / "logs", 3), tmp_path / "t.parquet"
    gathered_in_turn(logs, out, row_for_each_line)
    monkeypatch.setattr("workbook_tools.across.many_logs.dataset.signature", lambda: "another")
    with pytest.raises(AssertionError, match="were read again"):
        gathered_in_turn(logs, out, nobody)


CHANGES = st.lists(
    st.tuples(st.sampled_from(["add", "add many", "remove", "change", "touch"]), st.integers(0, 999)), max_size=6
)


@settings(max_examples=10, deadline=None)
@given(rounds=st.lists(CHANGES, min_size=1, max_size=4), first=st.integers(0, 40))
def test_however_files_come_and_go_the_tables_are_those_of_a_clean_run(
    rounds: list[list[tuple[str, int]]], first: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("files")
    logs, out = some_files(folder / "logs", 0), folder / "t.parquet"
    for number in range(first):
        (logs / f"{number * 20:03d}.xlsx").write_text(f"S{number}")
    gathered_in_turn(logs, out, row_for_each_line)
    for step, changes in enumerate(rounds):
        touched = {name for kind, number in changes for name in changed(logs, kind, number, step)}
        read: list[str] = []

        def noted(chunk: Chunk, read: list[str] = read) -> Batch:
            read.extend(file for file, _ in chunk.files)
            return row_for_each_line(chunk)

        gathered_in_turn(logs, out, noted)
        assert set(read) <= touched
        clean = folder / f"clean {step}.parquet"
        gathered_in_turn(logs, clean, row_for_each_line)
        assert tables(out) == tables(clean)


def changed(logs: Path, kind: str, number: int, step: int) -> set[str]:
    """One change of the files; the names it concerns."""
    there = sorted(path.name for path in logs.iterdir())
    name = f"{number:03d}.xlsx" if kind == "add" or not there else there[number % len(there)]
    if kind == "add many":
        names = {f"{number:03d} {more:02d}.xlsx" for more in range(30)}
        for one in names:
            (logs / one).write_text(f"M{step}")
        return names
    if kind == "remove":
        (logs / name).unlink(missing_ok=True)
    elif kind == "touch" and there:
        os.utime(logs / name, ns=(number, number))
    else:
        (logs / name).write_text(f"C{step} {number}")
    return {name}


# ------------------------------------------------------------------------------------------------- interruptions


class Ended(BaseException):
    """What a killed process does, as far as the files are concerned: nothing more is written."""


def test_an_end_at_any_write_leaves_what_the_next_run_completes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A part that is new, one that changes, one that is divided and one that goes: stopped before each file's place."""
    logs = some_files(tmp_path / "logs", 20)
    before, clean = tmp_path / "before.parquet", tmp_path / "clean.parquet"
    gathered_in_turn(logs, before, row_for_each_line)
    (logs / "001.xlsx").write_text("S1 S2 S3")
    for number in range(16, 20):
        (logs / f"{number:03d}.xlsx").unlink()
    for number in range(12):
        (logs / f"009 {number:02d}.xlsx").write_text(f"N{number}")
    gathered_in_turn(logs, clean, row_for_each_line)
    replace, unlink, moves = Path.replace, Path.unlink, [0]

    def counted(real: object, last: int) -> object:
        def done(path: Path, *words: object, **more: object) -> object:
            if path.is_relative_to(tmp_path / "t.parquet"):
                moves[0] += 1
                if moves[0] == last:
                    raise Ended
            return real(path, *words, **more)  # type: ignore[operator]

        return done

    last, ended = 1, True
    while ended:
        shutil.copytree(before, tmp_path / "t.parquet")
        moves[0] = 0
        monkeypatch.setattr(Path, "replace", counted(replace, last))
        monkeypatch.setattr(Path, "unlink", counted(unlink, last))
        try:
            gathered_in_turn(logs, tmp_path / "t.parquet", row_for_each_line)
            ended = False
        except Ended:
            pass
        monkeypatch.undo()
        done = gathered_in_turn(logs, tmp_path / "t.parquet", row_for_each_line)
        assert done.complete
        assert tables(tmp_path / "t.parquet") == tables(clean), last
        assert not list((tmp_path / "t.parquet").rglob("*.partial"))
        shutil.rmtree(tmp_path / "t.parquet")
        last += 9
    assert last > 60


def test_a_run_killed_at_random_moments_is_completed_by_the_next(tmp_path: Path) -> None:
    logs = some_files(tmp_path / "logs", 40)
    gathered_in_turn(logs, tmp_path / "clean.parquet", row_for_each_line)
    out, random = tmp_path / "t.parquet", Random(7)
    code = (
        "import sys; from pathlib import Path; from tests.programme import support; print('go', flush=True); "
        f"support.gathered_in_turn(Path({str(logs)!r}), Path({str(out)!r}), support.row_for_each_line)"
    )
    for _ in range(4):
        with subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, stdout=subprocess.PIPE) as running:
            assert running.stdout is not None
            running.stdout.readline()
            time.sleep(random.uniform(0.05, 0.8))
            running.send_signal(signal.SIGKILL)
    assert gathered_in_turn(logs, out, row_for_each_line).complete
    assert tables(out) == tables(tmp_path / "clean.parquet")


def test_two_runs_do_not_write_at_once(tmp_path: Path) -> None:
    logs, out = some_files(tmp_path / "logs", 1), tmp_path / "t.parquet"
    with Dataset(out).alone(), pytest.raises(BusyFileError, match="is being written by another run of gather"):
        gathered_in_turn(logs, out, row_for_each_line)
    assert gathered_in_turn(logs, out, row_for_each_line).read == 1


# ------------------------------------------------------------------------------------------------- refusals


def test_other_folders_and_files_are_left_alone(tmp_path: Path) -> None:
    logs, out = some_files(tmp_path / "logs", 1), tmp_path / "t.parquet"
    out.mkdir()
    (out / "mine.txt").write_text("mine")
    with pytest.raises(ReadError, match="is a folder that gather did not make; nothing in it was changed"):
        gather(logs, out, in_turn())
    assert [path.name for path in out.iterdir()] == ["mine.txt"]
    (tmp_path / "f.parquet").write_text("")
    with pytest.raises(ReadError, match="is a file, not a folder that gather made"):
        gather(logs, tmp_path / "f.parquet", in_turn())
    with pytest.raises(ReadError, match="there is no such folder"):
        gather(tmp_path / "none", out, in_turn())
    with pytest.raises(ReadError, match="is a file; name the folder"):
        gather(logs / "000.xlsx", out, in_turn())
    with pytest.raises(SaveError, match="cannot be written to"):
        gather(logs, tmp_path / "none" / "t.parquet", in_turn())


def test_tables_of_another_folder_are_not_taken_over(tmp_path: Path) -> None:
    one, other, out = some_files(tmp_path / "a", 1), some_files(tmp_path / "b", 1), tmp_path / "t.parquet"
    gathered_in_turn(one, out, row_for_each_line)
    with pytest.raises(ReadError, match="was gathered from"):
        gathered_in_turn(other, out, row_for_each_line)
    assert len(tables(out)["sites"]) == 2
