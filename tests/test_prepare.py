"""Preparing says what is missing and what to do, and never takes a wrong environment for the right one."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests import prepare
from tests.prepare import ROOT, PreparationError
from tests.support.published import every_case, published

REQUIREMENT_FILES = [ROOT / "tests" / "requirements.txt", ROOT / "demo" / "requirements.txt"]


@pytest.fixture
def commands(monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """The commands that would have been run to make an environment; instead of the first, a folder appears."""
    run: list[list[str]] = []

    def pretend(command: list[str], advice: str) -> None:
        assert advice
        run.append(command)
        if "venv" in command:
            python = Path(command[-1]) / "bin" / "python"
            python.parent.mkdir(parents=True, exist_ok=True)
            (python.parent.parent / "pyvenv.cfg").touch()
            python.unlink(missing_ok=True)
            python.symlink_to(sys.executable)

    monkeypatch.setattr(prepare, "_run", pretend)
    return run


def pinned(folder: Path, text: str) -> Path:
    """A file of requirements."""
    file = folder / "requirements.txt"
    file.write_text(text, encoding="utf-8")
    return file


def test_an_environment_is_made_once_and_again_when_what_it_is_made_from_changes(
    tmp_path: Path, commands: list[list[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    folder, requirements = tmp_path / "environment", pinned(tmp_path, "click==8.1\n")
    python = prepare.environment(folder, requirements)
    assert python == folder / "bin" / "python"
    assert [command[-1] for command in commands] == [str(folder), str(requirements), str(ROOT)]
    assert not any("--require-hashes" in command for command in commands)
    assert {"--no-deps", "--no-build-isolation"} <= set(commands[-1])

    commands.clear()
    assert prepare.environment(folder, requirements) == python
    assert commands == []
    assert "up to date" in capsys.readouterr().out

    prepare.environment(folder, pinned(tmp_path, "click==8.1 --hash=sha256:00\n"))
    assert "--require-hashes" in commands[1]

    commands.clear()
    python.unlink()
    python.symlink_to("/nowhere/python")
    prepare.environment(folder, requirements)
    assert len(commands) == 3, "an environment whose python is gone is made again"


def test_an_interrupted_installation_is_not_taken_for_a_finished_one(
    tmp_path: Path, commands: list[list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, requirements = tmp_path / "environment", pinned(tmp_path, "click==8.1\n")
    prepare.environment(folder, requirements)
    pretend = prepare._run

    def interrupted(command: list[str], advice: str) -> None:
        pretend(command, advice)
        if "-e" in command:
            raise KeyboardInterrupt

    monkeypatch.setattr(prepare, "_run", interrupted)
    with pytest.raises(KeyboardInterrupt):
        prepare.environment(folder, pinned(tmp_path, "click==8.2\n"))
    commands.clear()
    monkeypatch.setattr(prepare, "_run", pretend)
    prepare.environment(folder, pinned(tmp_path, "click==8.1\n"))
    assert len(commands) == 3


def test_a_folder_with_something_else_in_it_is_left_alone(tmp_path: Path, commands: list[list[str]]) -> None:
    (tmp_path / "logs").mkdir()
    (tmp_path / "logs" / "farm.xlsx").write_text("a case log", encoding="utf-8")
    with pytest.raises(PreparationError, match="not a virtual environment"):
        prepare.environment(tmp_path / "logs", pinned(tmp_path, "click==8.1\n"))
    assert commands == []
    assert (tmp_path / "logs" / "farm.xlsx").read_text(encoding="utf-8") == "a case log"


def test_missing_things_are_named_with_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(PreparationError, match=r"missing\.txt is missing"):
        prepare.environment(tmp_path / "environment", tmp_path / "missing.txt")
    monkeypatch.setattr(prepare, "OLDEST_PYTHON", (9, 9))
    with pytest.raises(PreparationError, match=r"Python 9\.9 or newer is needed"):
        prepare.check_python()
    monkeypatch.undo()
    monkeypatch.setattr(prepare.importlib.util, "find_spec", lambda name: None if name == "ensurepip" else name)
    with pytest.raises(PreparationError, match="apt-get install python3-venv"):
        prepare.check_python()


def test_a_failing_command_is_shown_with_the_end_of_its_output_and_what_to_do() -> None:
    script = "import sys; [print('line', number) for number in range(100)]; sys.exit(3)"
    with pytest.raises(PreparationError) as caught:
        prepare._run([sys.executable, "-c", script], advice="Start again.")
    shown = str(caught.value)
    assert "exit code 3" in shown
    assert sys.executable in shown
    assert "line 99" in shown
    assert "line 50" not in shown
    assert shown.endswith("Start again.")
    with pytest.raises(PreparationError, match="could not be started"):
        prepare._run(["/nowhere/program"], advice="Start again.")


def test_libreoffice_is_installed_only_where_that_is_wanted_and_possible(monkeypatch: pytest.MonkeyPatch) -> None:
    commands: list[list[str]] = []
    monkeypatch.setattr(prepare, "_find_office", lambda: (None, ["soffice"]))
    monkeypatch.setattr(prepare, "_run", lambda command, advice: commands.append(command))
    monkeypatch.setattr(prepare.shutil, "which", lambda name: f"/usr/bin/{name}")
    monkeypatch.setattr(prepare, "_administrator", lambda: None)
    for install in (False, True):
        with pytest.raises(PreparationError, match="apt-get install --no-install-recommends libreoffice-calc"):
            prepare.office(install)
    assert commands == []
    monkeypatch.setattr(prepare, "_administrator", lambda: ["sudo", "-n"])
    with pytest.raises(PreparationError, match="need soffice"):
        prepare.office(install=False)
    assert commands == []
    with pytest.raises(PreparationError, match="reported success, and yet"):
        prepare.office(install=True)
    assert [command[:5] for command in commands] == [
        ["sudo", "-n", "env", "DEBIAN_FRONTEND=noninteractive", "apt-get"]
    ] * 2
    assert [("update" in command, "install" in command) for command in commands] == [(True, False), (False, True)]


def test_a_missing_font_is_installed_like_a_missing_program(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(prepare.sys, "platform", "linux")
    monkeypatch.setattr(prepare.shutil, "which", lambda name, path=None: f"/usr/bin/{name}")
    monkeypatch.setattr(prepare, "_python_with_uno", lambda soffice: Path("/usr/bin/python3"))
    listed = "DejaVu Sans,DejaVu Sans Condensed\nLiberation Sans Narrow\n"

    def lists(command: list[str], **words: object) -> subprocess.CompletedProcess[str]:
        return subprocess.CompletedProcess(command, 0, listed, "")

    monkeypatch.setattr(prepare.subprocess, "run", lists)
    assert prepare._find_office() == (None, ["the font Liberation Sans"])
    listed += "Liberation Sans\n"
    assert prepare._find_office()[1] == []
    monkeypatch.setattr(prepare.shutil, "which", lambda name, path=None: None if name == "fc-list" else f"/bin/{name}")
    assert prepare._find_office()[1] == ["the font Liberation Sans", "the font DejaVu Sans"]
    assert {"fontconfig", "fonts-liberation", "fonts-dejavu-core"} <= set(prepare.APT_PACKAGES)


@pytest.fixture
def no_npm(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[list[str]]:
    """The commands that would have been run where everything but npm and its packages is there."""
    run: list[list[str]] = []
    there = {"ssconvert": Path("/usr/bin/ssconvert"), "node": Path("/usr/bin/node")}

    def find() -> tuple[dict[str, Path], list[str]]:
        return (there, []) if "npm" in there else (there, ["npm"])

    def pretend(command: list[str], advice: str) -> None:
        assert advice
        run.append(command)
        if "install" in command:
            there["npm"] = Path("/usr/bin/npm")

    monkeypatch.setattr(prepare, "_find_engines", find)
    monkeypatch.setattr(prepare, "_check_node", lambda node: None)
    monkeypatch.setattr(prepare, "_run", pretend)
    monkeypatch.setattr(prepare, "_succeeds", lambda command, variables: True)
    monkeypatch.setattr(prepare, "_administrator", lambda: ["sudo", "-n"])
    monkeypatch.setattr(prepare.shutil, "which", lambda name: f"/usr/bin/{name}")
    monkeypatch.setattr(prepare, "ENGINES", tmp_path / "engines")
    return run


def test_engines_are_installed_once_and_only_where_that_is_wanted(no_npm: list[list[str]]) -> None:
    with pytest.raises(PreparationError, match=r"need npm\.\n.*recommends npm\n(.*\n)*.*--without-engines"):
        prepare.engines(install=False)
    assert no_npm == []
    programs = prepare.engines(install=True)
    assert programs.packages == prepare.ENGINES / "node_modules"
    assert [command[-1] for command in no_npm[:2]] == ["update", "npm"]
    assert no_npm[2][:2] == ["/usr/bin/npm", "ci"]
    assert "--ignore-scripts" in no_npm[2]
    assert (prepare.ENGINES / "package-lock.json").read_bytes() == prepare.NODE_FILES[1].read_bytes()
    no_npm.clear()
    assert prepare.engines(install=False) == programs
    assert no_npm == []
    (prepare.ENGINES / prepare.STAMP).write_text("of another list", encoding="utf-8")
    with pytest.raises(PreparationError, match=r"packages of package\.json are missing"):
        prepare.engines(install=False)


def test_an_engine_that_cannot_be_installed_is_named(no_npm: list[list[str]], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(prepare, "_administrator", lambda: None)
    with pytest.raises(PreparationError, match="need npm"):
        prepare.engines(install=True)
    monkeypatch.undo()
    done = subprocess.CompletedProcess(["node"], 0, "v16.20.2\n", "")
    monkeypatch.setattr(prepare.subprocess, "run", lambda *arguments, **words: done)
    with pytest.raises(PreparationError, match=r"Node 18 or newer is needed; /usr/bin/node is v16\.20\.2"):
        prepare._check_node(Path("/usr/bin/node"))
    done.stdout = "v18.0.0\n"
    prepare._check_node(Path("/usr/bin/node"))


def test_node_packages_are_pinned_with_checksums_and_name_no_registry() -> None:
    lock = json.loads(prepare.NODE_FILES[1].read_text(encoding="utf-8"))
    named = json.loads(prepare.NODE_FILES[0].read_text(encoding="utf-8"))["dependencies"]
    assert set(named) == {"exceljs", "hyperformula", "xlsx"}
    for name, version in named.items():
        assert lock["packages"][f"node_modules/{name}"]["version"] == version
    for place, package in lock["packages"].items():
        assert not place or (package["integrity"].startswith("sha512-") and "resolved" not in package), place


def test_leaving_out_engines_is_said() -> None:
    test = "tests/engines/test_defects.py::test_hyperformula_cuts_towards_zero"
    variables = os.environ | {"WORKBOOK_TOOLS_ENGINES": "no"}
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", test]
    done = subprocess.run(command, cwd=ROOT, env=variables, capture_output=True, text=True, check=False, timeout=300)
    assert "Gnumeric and Node: left out on request" in done.stdout
    assert "1 test that needs Gnumeric and Node was left out on request" in done.stdout
    assert "1 deselected" in done.stdout


def test_variables_that_mix_installations_are_dropped_and_those_of_pip_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("PYTHONPATH", "VIRTUAL_ENV", "PIP_DEFAULT_TIMEOUT"):
        monkeypatch.setenv(name, "7")
    variables = prepare.clean_environment()
    assert variables["PIP_DEFAULT_TIMEOUT"] == "7"
    assert not {"PYTHONPATH", "VIRTUAL_ENV"} & set(variables)


@pytest.mark.parametrize("file", REQUIREMENT_FILES, ids=lambda file: file.parent.name)
def test_every_requirement_is_pinned_with_hashes_and_names_no_index(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    entries = "".join(line for line in text.splitlines(True) if not line.startswith("#")).replace("\\\n", " ")
    for entry in entries.splitlines():
        assert "==" in entry.split()[0], entry
        assert "--hash=sha256:" in entry, entry
    assert "://" not in text
    assert "-index" not in text


def test_the_demo_uses_the_versions_that_are_tested() -> None:
    tested, demo = (
        {line.split()[0] for line in file.read_text(encoding="utf-8").splitlines() if "==" in line}
        for file in REQUIREMENT_FILES
    )
    assert {name.partition("==")[0] for name in demo - tested} == {"colorama"}, "colorama is for Windows alone"


def test_help_is_printed_by_a_bare_python() -> None:
    command = [sys.executable, "-E", "-s", "-S", str(ROOT / "tests" / "run.py"), "--help"]
    variables = {"PATH": os.environ["PATH"]}
    done = subprocess.run(command, env=variables, capture_output=True, text=True, check=False, timeout=60)
    assert {"--without-libreoffice", "--without-engines"} <= set(done.stdout.split())


def test_published_cases_are_complete_and_found_by_topic_and_function() -> None:
    cases = every_case()
    assert len({case.case for case in cases}) == len(cases)
    for case in cases:
        assert case.source, case
        assert case.how_known, case
        assert case.tolerance >= 0, case
    assert {case.function for case in published("bath")} >= {"BATH.MASS", "BATH.STOCK"}
    assert {case.function for case in published("WATER.OXYGEN")} == {"WATER.OXYGEN"}
    with pytest.raises(LookupError, match="no published case for 'WATERS'"):
        published("WATERS")


def test_a_published_tolerance_is_kept() -> None:
    case = next(case for case in every_case() if case.case == "stock_exact")
    assert case.agrees(4.2)
    assert case.agrees(4.2009)
    assert not case.agrees(4.2011)
