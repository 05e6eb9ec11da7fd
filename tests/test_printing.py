"""What stands in a file cannot steer the terminal that it is printed to: its control signs are spelt out."""

from __future__ import annotations

import ast
import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.support.hostile import parts_of, zipped
from tests.test_check import clean
from workbook_tools.cli.main import cli
from workbook_tools.cli.printing import STEERING, print_json, say, visible
from workbook_tools.layout import case_log
from workbook_tools.log.building.log_workbook import build_log

PRINTS = re.compile(r"^(click\.)?s?echo$|^print$|console\(\)\.print$|stdout\.write$")
COMMAND_LINE = Path(__file__).parents[1] / "workbook_tools" / "cli"
# as a workbook spells them: a window's title, clearing the screen, both in the second set, direction, a line of its own
ATTACK = "_x001B_]0;x_x0007__x001B_[2J_x009B_31m_x202E_tac_x000D_Error: none_x000A_0 to mend_x0008_\u2066y"


def steering(output: str) -> list[str]:
    """Signs of an output that a terminal would obey."""
    return [sign for sign in STEERING.findall(output) if sign != "\n"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two logs whose texts all end in signs that steer, ids and lists too, and a log with nothing in it."""
    content = build_log(case_log(), clean(), rows=8)
    parts = parts_of(content)
    typed = {
        str(value)
        for table in clean().values()
        for row in table
        for value in row.values()
        if isinstance(value, str) and value not in ("yes", "no", "ok")
    }
    strings = parts["xl/sharedStrings.xml"].decode()
    for text in sorted(typed, key=len, reverse=True):
        strings = strings.replace(f">{text}</t>", f">{text}{ATTACK}</t>")
    assert strings.count("_x001B_") > 20
    (tmp_path / "bad.xlsx").write_bytes(zipped(parts | {"xl/sharedStrings.xml": strings.encode()}))
    (tmp_path / "other.xlsx").write_bytes(
        zipped(parts | {"xl/sharedStrings.xml": strings.replace("tac", "cat").encode()})
    )
    (tmp_path / "good.xlsx").write_bytes(content)
    (tmp_path / "logs").mkdir()
    (tmp_path / "logs" / "bad.xlsx").write_bytes((tmp_path / "bad.xlsx").read_bytes())
    return tmp_path


COMMANDS = (
    ("check", "bad.xlsx"),
    ("check", "bad.xlsx", "--json"),
    ("card", "bad.xlsx"),
    ("card", "bad.xlsx", "--bath", "none\x1b]0;x\x07"),
    ("summary", "bad.xlsx"),
    ("plan", "bad.xlsx"),
    ("responses", "bad.xlsx"),
    ("responses", "bad.xlsx", "--species", "none"),
    ("merge", "good.xlsx", "bad.xlsx", "--out", "merged.xlsx"),
    ("merge", "bad.xlsx", "other.xlsx", "--out", "merged2.xlsx"),
    ("lend", "bad.xlsx", "--out", "lent.xlsx", "--mark", "T"),
    ("share", "bad.xlsx", "--site", "S01", "--out", "copy.xlsx"),
    ("share", "bad.xlsx", "--site", f"S01{ATTACK}", "--out", "copy.xlsx"),
    ("audit", "bad.xlsx", "--against", "good.xlsx", "--site", "S01"),
    ("audit", "good.xlsx", "--against", "bad.xlsx", "--site", "none\x1b[2J"),
    ("upgrade", "bad.xlsx"),
    ("names", "bad.xlsx"),
    ("gather", "logs", "--out", "all.parquet", "--workers", "1"),
    ("insight", "all.parquet"),
    ("check", "none\x1b[2J\x9b31m.xlsx"),
    ("none\x1b[2J",),
)


def test_no_command_prints_a_sign_that_steers_a_terminal(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    said = {}
    for words in COMMANDS:
        done = CliRunner().invoke(cli, list(words))
        assert done.exception is None or isinstance(done.exception, SystemExit), (words, done.exception)
        said[words] = done.output
    assert {words: steering(output) for words, output in said.items() if steering(output)} == {}
    shown = [words for words, output in said.items() if "\\x1b]0;x\\x07" in output or "\\u001b]0;x\\u0007" in output]
    assert {"check", "card", "merge", "summary"} <= {words[0] for words in shown}, shown
    everything = "\n".join(said.values()).splitlines()
    assert "0 to mend" not in everything  # a line that a cell would forge
    assert "Error: none" not in everything


def test_signs_are_spelt_out_and_others_stay() -> None:
    assert visible("a\x1b[0m\x9b\u202e\n\t\x7f\udc80") == r"a\x1b[0m\x9b\u202e\n\t\x7f\udc80"
    assert visible("Ünder Ω 池 🐟 5 °C, naïve") == "Ünder Ω 池 🐟 5 °C, naïve"
    assert visible("a\nb\r", "\n") == "a\nb\\r"


def test_json_spells_them_so_that_they_come_back(capsys: pytest.CaptureFixture[str]) -> None:
    value = {"a": "x\x1b\x9b\u202e\x7f\U000e0041\n池"}
    print_json(value)
    printed = capsys.readouterr().out
    assert steering(printed) == []
    assert "池" in printed
    assert json.loads(printed) == value


def test_lines_are_one_line_each(capsys: pytest.CaptureFixture[str]) -> None:
    say("a\nb", "c")
    say()
    assert capsys.readouterr().out == "a\\nb\nc\n\n"


def called(node: ast.Call) -> str:
    return ast.unparse(node.func)


def test_everything_that_is_printed_goes_through_there() -> None:
    """No module of the command line prints but by `cli.printing`, and none below it prints at all."""
    package = COMMAND_LINE.parent
    found = []
    for path in package.rglob("*.py"):
        if path == COMMAND_LINE / "printing.py" or "calc" in path.parent.parts:
            continue
        calls = [node for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) if isinstance(node, ast.Call)]
        found += [f"{path.relative_to(package)}, line {one.lineno}" for one in calls if PRINTS.search(called(one))]
    assert found == []
