"""No command writes over a file that it reads, nor puts anything in the place of a case log; by whatever name."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.support import every_command
from tests.support.every_command import COMMANDS, COPY, LOG, LOGS, OLD_LOG
from tests.test_commands import commands, options
from workbook_tools.cli.main import cli
from workbook_tools.errors import SaveError
from workbook_tools.xlsx.saving.inputs import Seen
from workbook_tools.xlsx.saving.whole_file import save

OTHER = "other farm.xlsx"
# a command that writes, TARGET in the place of what it writes; and whether what it writes is a case log
WRITING: dict[str, tuple[tuple[str, ...], bool]] = {
    "new log": (("new", "log", "TARGET.xlsx", "--rows", "5", "--replace"), True),
    "new bench": (("new", "bench", "TARGET.xlsx", "--replace"), False),
    "check --annotate": (("check", LOG, "--annotate", "TARGET.xlsx", "--replace"), True),
    "extension": (("extension", "TARGET.oxt", "--replace"), False),
    "excel": (("excel", "TARGET.py", "--replace"), False),
    "guide": (("guide", "TARGET.html", "--replace"), False),
    "merge --out": (("merge", LOG, COPY, "--out", "TARGET.xlsx", "--replace"), True),
    "responses --picture": (("responses", LOG, "--picture", "TARGET.svg", "--replace"), False),
    "responses --out": (("responses", LOG, "--into-log", "--out", "TARGET.xlsx", "--replace"), True),
    "lend": (("lend", LOG, "--out", "TARGET.xlsx", "--mark", "T", "--replace"), True),
    "plan": (("plan", LOG, "--out", "TARGET.xlsx", "--replace"), False),
    "share": (("share", LOG, "--site", "S01", "--out", "TARGET.xlsx", "--replace"), False),
    "share, locked": (
        ("share", LOG, "--site", "S01", "--out", "TARGET.xlsx", "--password-file", "secret.txt", "--replace"),
        False,
    ),
    "upgrade --out": (("upgrade", OLD_LOG, "--out", "TARGET.xlsx"), True),
    "gather": (
        ("gather", LOGS, "--out", "all.parquet", "--summary", "TARGET.xlsx", "--workers", "1", "--replace"),
        False,
    ),
}
IN_PLACE = {"names", "mend"}  # with merge, upgrade and responses, whose --out stands above
LINKS: dict[str, Callable[[Path, Path], object]] = {
    "hard link": os.link,
    "symbolic link": lambda source, link: link.symlink_to(source),
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "work"
    place.mkdir()
    every_command.prepared(place)
    shutil.copy(place / LOG, place / OTHER)
    return place


def reads(words: tuple[str, ...]) -> list[str]:
    """The files among a command's words that it may not write over; merging into the log itself is merge's work."""
    return [word for word in words if word in (LOG, COPY, OLD_LOG, "secret.txt") and (words[0], word) != ("merge", LOG)]


def test_every_command_that_writes_is_tried() -> None:
    writes = {name for name, one in commands().items() if options(one) & {"--replace", "--out", "--annotate"}}
    tried = {name.partition(" --")[0].partition(",")[0] for name in WRITING}
    assert writes <= tried | IN_PLACE
    assert {words[0] for words, _ in WRITING.values()} | IN_PLACE <= set(cli.commands)
    assert {words[0] for words in COMMANDS} <= set(cli.commands)


def test_no_command_writes_over_what_it_reads_or_over_a_log(folder: Path) -> None:
    """Each input by its name, by a hard link and by a symbolic one, and another farm's log."""
    jobs: list[tuple[str, ...]] = []
    tried = []
    for name, (words, makes_log) in WRITING.items():
        ending = next(word for word in words if word.startswith("TARGET")).removeprefix("TARGET")
        sources = [*reads(words), *([] if makes_log else [OTHER])]
        if name == "gather":
            sources = [f"{LOGS}/{LOG}", OTHER]
        for source in sources:
            for kind, link in LINKS.items():
                target = f"{len(jobs)} {kind}{ending}"
                link(folder / source, folder / target)
                jobs.append(tuple(target if word.startswith("TARGET") else word for word in words))
                tried.append((name, source))
            if source.endswith(ending):
                jobs.append(tuple(source if word.startswith("TARGET") else word for word in words))
                tried.append((name, source))
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    inside = [tuple(str(folder / word) if "/" in word else word for word in words) for words in jobs]
    wrong = []
    for (name, source), words, done in zip(tried, jobs, every_command.ran(folder, *inside), strict=True):
        if done["code"] != 2 or "choose another name" not in done["said"]:
            wrong.append((name, source, words, done["code"], done["said"][-200:]))
    assert len(jobs) >= 45
    assert not wrong, wrong
    assert {path: path.read_bytes() for path in folder.rglob("*") if path in before} == before


def test_a_summary_replaces_an_older_summary_and_no_other_file(folder: Path) -> None:
    words = ("gather", LOGS, "--out", "all.parquet", "--summary", "overview.xlsx", "--workers", "1")
    bench = ("new", "bench", "overview.xlsx")
    codes = [done["code"] for done in every_command.ran(folder, bench, words, (*words, "--replace"), words)]
    assert codes == [0, 2, 0, 0]


def test_the_guard_stands_where_every_command_saves(folder: Path) -> None:
    log = folder / LOG
    content = log.read_bytes()
    with pytest.raises(SaveError, match="that this command reads"):
        save(log, content, True, Seen(log))
    with pytest.raises(SaveError, match="is a case log"):
        save(log, b"no log", True)
    assert save(log, content, True, Seen(log), in_place=True) is not None
