"""The command line as a person uses it: what is printed, where, and the exit code."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import click
import pytest

from demo.practice import practice
from workbook_tools.cli.group import ORDER
from workbook_tools.cli.main import cli
from workbook_tools.layout import case_log
from workbook_tools.log.building.log_workbook import build_log


def run(*words: str, folder: Path | None = None) -> subprocess.CompletedProcess[str]:
    code = "from workbook_tools.cli import main; main()"
    environment = {**os.environ, "NO_COLOR": "1", "PYTHONPATH": str(Path(__file__).parents[1])}
    return subprocess.run(
        [sys.executable, "-c", code, *words],
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
        env=environment,
        timeout=60,
    )


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("log") / "practice.xlsx"
    path.write_bytes(build_log(case_log(), practice()))
    return path


def test_calc_prints_the_answer_with_its_unit() -> None:
    """80 mg/L in 40 L is 3.2 g: common practice, no source."""
    assert run("calc", "BATH.MASS", "40", "80").stdout == "3.2 g\n"


def test_the_module_is_the_command_where_that_is_not_found() -> None:
    command = [sys.executable, "-m", "workbook_tools", "calc", "BATH.MASS", "40", "80"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.stdout, done.stderr, done.returncode) == ("3.2 g\n", "", 0)


def test_calc_as_json() -> None:
    done = json.loads(run("calc", "bath.mass", "40", "80 mg/L", "--json").stdout)
    assert done == {"function": "BATH.MASS", "args": [40.0, 80.0], "result": 3.2, "unit": "g"}
    table = json.loads(run("calc", "BATH.STEPS", "40", "80", "20", "120", "", "3", "--json").stdout)
    assert [row[1] for row in table["result"]] == [80.0, 100.0, 120.0]
    assert table["result"][0][3] == pytest.approx(9.6)


def test_every_bad_argument_is_named_at_once() -> None:
    done = run("calc", "BATH.MASS", "4,5", "80 ppm", "80")
    assert done.returncode == 2
    assert done.stdout == ""
    for words in ("volume = '4,5': has a comma", "dose = '80 ppm': ppm can mean weight or volume", "write 0.8"):
        assert words in done.stderr


def test_an_unknown_function_names_its_neighbours() -> None:
    done = run("calc", "BATH.MAS", "1")
    assert (done.returncode, done.stdout) == (2, "")
    assert "BATH.MASS" in done.stderr


def test_new_refuses_to_overwrite_and_keeps_a_backup_when_told_to(tmp_path: Path) -> None:
    assert run("new", "log", "farm", "--rows", "5", folder=tmp_path).stdout == "Made farm.xlsx\n"
    first = (tmp_path / "farm.xlsx").read_bytes()
    again = run("new", "log", "farm.xlsx", folder=tmp_path)
    assert again.returncode == 2
    assert "--replace" in again.stderr
    replaced = run("new", "log", "farm.xlsx", "--replace", "--rows", "6", folder=tmp_path)
    assert "the old file is kept as farm.backup-" in replaced.stdout
    assert [p.read_bytes() for p in tmp_path.glob("farm.backup-*.xlsx")] == [first]
    assert run("check", "farm.xlsx", folder=tmp_path).returncode == 0


def test_check_finds_the_slips_of_the_demo_and_changes_nothing(log: Path) -> None:
    before = log.read_bytes()
    done = run("check", str(log), "--json")
    assert done.returncode == 1
    faults = {f["cell"]: f["code"] for f in json.loads(done.stdout)["findings"] if f["severity"] == "fault"}
    assert set(faults.values()) == {"not-a-number", "id-used-twice", "time-order"}
    assert len(faults) == 3
    assert log.read_bytes() == before
    assert "3 to mend" in run("check", str(log)).stdout


def test_card_prints_the_next_bath(log: Path) -> None:
    card = json.loads(run("card", str(log), "--json").stdout)
    assert card["check"] == "ok"
    doses = [packet["dose mg/L"] for packet in card["packets"]]
    assert doses == sorted(doses)
    assert len(doses) > 1
    text = run("card", str(log)).stdout
    assert "Top-up 1" in text
    assert "never leave an anaesthetised fish" in text


def test_summary_has_every_species(log: Path) -> None:
    blocks = json.loads(run("summary", str(log), "--json").stdout)["blocks"]
    species = {row["For species"]: row for row in blocks[0]["rows"]}
    assert {"rainbow trout", "tilapia", "sturgeon"} <= set(species)
    fish = sum(row["Fish examined"] for row in species.values())
    assert fish == len(practice()["fish"])


@pytest.mark.parametrize("words", [("check", "none.xlsx"), ("card", "none.xlsx"), ("summary", "none.xlsx")])
def test_a_file_that_is_not_there_is_said_in_one_line(words: tuple[str, str], tmp_path: Path) -> None:
    done = run(*words, folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "Error: none.xlsx: there is no such file.\n"


def test_host_commands_write_their_files(tmp_path: Path) -> None:
    for words in (("extension", "f.oxt"), ("excel", "fish.py"), ("guide", "guide.md"), ("guide", "guide.html")):
        assert f"Made {words[1]}" in run(*words, folder=tmp_path).stdout
        assert (tmp_path / words[1]).stat().st_size > 1000
    run("new", "bench", "b.xlsx", folder=tmp_path)
    named = run("names", "b.xlsx", folder=tmp_path)
    assert "names are in it." in named.stdout
    assert len(list(tmp_path.glob("b.backup-*.xlsx"))) == 1


def commands() -> dict[str, click.Command]:
    """Every command by its words, those of `new` too."""
    found: dict[str, click.Command] = {}
    for name, command in cli.commands.items():
        under = command.commands.items() if isinstance(command, click.Group) else [("", command)]
        found |= {f"{name} {word}".strip(): part for word, part in under}
    return found


def options(command: click.Command) -> set[str]:
    return {word for parameter in command.params for word in parameter.opts}


@pytest.mark.parametrize("name", commands())
def test_every_command_can_be_read_by_a_program_and_has_help_with_an_example(name: str) -> None:
    command = commands()[name]
    if name == "completion":  # prints lines for a shell, which is the program
        assert not options(command) & {"--json", "--quiet"}
    else:
        assert "--json" in options(command)
    assert f"workbook-tools {name}" in (command.help or "")
    for parameter in command.params:
        if isinstance(parameter, click.Option) and parameter.name not in ("paper", "units"):
            assert (parameter.help or "").endswith("."), parameter.name


def test_commands_that_write_can_be_quiet() -> None:
    writing = {name for name, command in commands().items() if options(command) & {"--replace", "--out"}}
    assert {name for name in writing if "--quiet" not in options(commands()[name])} <= {"responses"}  # it prints


def test_help_has_every_command_in_a_whole_sentence() -> None:
    shown = run("--help").stdout
    listed = shown.partition("Commands:\n")[2].partition("\n\n")[0].splitlines()
    assert [line.split()[0] for line in listed] == list(ORDER)
    assert set(ORDER) == set(cli.commands)
    assert all(line.endswith(".") and not line.endswith("..") for line in listed)


def test_a_command_that_is_mistyped_is_told_its_neighbour() -> None:
    done = run("chek", "x.xlsx")
    assert done.returncode == 2
    assert done.stderr.endswith("Error: There is no command 'chek'. Did you mean check?\n")
    assert "workbook-tools --help lists them." in run("zzz").stderr


def test_a_refusal_is_json_too_where_json_was_asked_for(tmp_path: Path) -> None:
    done = run("check", "none.xlsx", "--json", folder=tmp_path)
    assert json.loads(done.stdout) == {"error": "none.xlsx: there is no such file."}
    assert (done.returncode, done.stderr) == (2, "Error: none.xlsx: there is no such file.\n")


def test_what_was_made_as_json_and_in_silence(tmp_path: Path) -> None:
    made = json.loads(run("new", "log", "farm", "--rows", "5", "--json", folder=tmp_path).stdout)
    assert made == {"file": "farm.xlsx", "backup": None}
    again = json.loads(run("new", "log", "farm", "--rows", "5", "--json", "--replace", folder=tmp_path).stdout)
    assert (tmp_path / again["backup"]).is_file()
    lent = json.loads(run("lend", "farm.xlsx", "--out", "t", "--mark", "T", "--json", folder=tmp_path).stdout)
    assert lent["file"] == "t.xlsx"
    assert lent["next"]["Baths"] == "B001T"
    for words in (("guide", "g.md"), ("excel", "f.py"), ("extension", "f.oxt"), ("names", "t.xlsx")):
        assert json.loads(run(*words, "--json", folder=tmp_path).stdout)["file"] == words[1]
        more = () if words[0] == "names" else ("--replace",)
        assert run(*words, *more, "--quiet", folder=tmp_path).stdout == ""


def test_no_colours_where_none_are_wanted(log: Path) -> None:
    environment = {k: v for k, v in os.environ.items() if k != "NO_COLOR"} | {"FORCE_COLOR": "1", "TERM": "xterm"}
    code = "from workbook_tools.cli import main; main()"
    words = [sys.executable, "-c", code, "--no-colour", "summary", str(log)]
    done = subprocess.run(words, capture_output=True, text=True, check=True, env=environment, timeout=60)
    assert "rainbow trout" in done.stdout
    assert not re.search(r"\x1b\[[0-9;]*[34][0-9]", done.stdout)


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion(shell: str) -> None:
    lines = run("completion", shell).stdout
    assert f"_WORKBOOK_TOOLS_COMPLETE={shell}_complete" in lines
    if shell == "bash":
        told = subprocess.run(
            ["bash", "-c", 'eval "$0"; complete -p workbook-tools', lines], capture_output=True, text=True, check=True
        )
        assert told.stdout.rstrip().endswith("workbook-tools")


@pytest.mark.parametrize(
    ("words", "wanted"), [("calc bath.to", "BATH.TOPUP"), ("mer", "merge"), ("functions PH.AF", "PH.AFTER")]
)
def test_what_is_completed(words: str, wanted: str, monkeypatch: pytest.MonkeyPatch) -> None:
    typed = f"workbook-tools {words}"
    monkeypatch.setenv("_WORKBOOK_TOOLS_COMPLETE", "bash_complete")
    monkeypatch.setenv("COMP_WORDS", typed)
    monkeypatch.setenv("COMP_CWORD", str(len(typed.split()) - 1))
    assert run().stdout.split() == [f"plain,{wanted}"]
