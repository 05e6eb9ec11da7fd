"""A command reads each of its files once, and at most twice more to save: the backup, and the last look before it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support import every_command
from tests.support.every_command import COMMANDS, COPY, LOG, MINE, OLD_LOG
from workbook_tools.errors import ReadError
from workbook_tools.xlsx.opened import Opened

MOST = 3
COUNTING = """
import collections, json, os, sys
from click.testing import CliRunner
from workbook_tools.cli.main import cli

opened = collections.Counter()

def watch(event, arguments):
    if event == "open" and isinstance(arguments[0], (str, os.PathLike)) and "r" in (arguments[1] or ""):
        opened[os.path.basename(os.fspath(arguments[0]))] += 1

sys.addaudithook(watch)
for words in json.load(sys.stdin):
    opened.clear()
    done = CliRunner().invoke(cli, words)
    print(json.dumps([words, done.exit_code, opened]))
"""


@pytest.fixture(scope="module")
def counted(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[list[str], int, dict[str, int]]]:
    folder = tmp_path_factory.mktemp("opened")
    every_command.prepared(folder)
    done = subprocess.run(
        [sys.executable, "-c", COUNTING],
        input=json.dumps(COMMANDS),
        cwd=folder,
        capture_output=True,
        text=True,
        check=True,
        timeout=300,
    )
    return [tuple(json.loads(line)) for line in done.stdout.splitlines() if line.startswith("[")]


def test_no_command_opens_a_file_more_than_three_times(
    counted: list[tuple[list[str], int, dict[str, int]]],
) -> None:
    files = {LOG, COPY, MINE, OLD_LOG}
    assert [words for words, _, _ in counted] == [list(words) for words in COMMANDS]
    assert {code for _, code, _ in counted} <= {0, 1}
    assert {words[0] for words, _, opened in counted if opened.keys() & files} >= {"check", "merge", "share", "plan"}
    wrong = [(words, opened) for words, _, opened in counted if any(opened.get(name, 0) > MOST for name in files)]
    assert not wrong


def test_a_file_is_read_once_and_kept(tmp_path: Path) -> None:
    path = tmp_path / "a.xlsx"
    path.write_bytes(b"one")
    file = Opened(path)
    assert file.content == b"one"
    path.write_bytes(b"two")
    assert file.content == b"one"
    assert Opened.of(file) is file
    assert Opened.of(path).content == b"two"
    with pytest.raises(ReadError, match="there is no such file"):
        _ = Opened(tmp_path / "b.xlsx").content
