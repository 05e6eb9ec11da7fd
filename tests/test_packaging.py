"""The wheel and the source package: what is in them, and that the wheel works where nothing else of ours is."""

from __future__ import annotations

import sys
import sysconfig
import zipfile
from email.parser import Parser
from pathlib import Path

import pytest

from tests.support import packages


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    return packages.build(Path(sys.executable), tmp_path_factory.mktemp("packages"))


def test_the_source_package_holds_all_and_nothing_else(built: tuple[Path, Path]) -> None:
    assert packages.source_faults(built[0]) == []


def test_the_wheel_holds_all_and_nothing_else(built: tuple[Path, Path]) -> None:
    assert packages.wheel_faults(built[1]) == []


def test_faults_of_a_wheel_are_seen(built: tuple[Path, Path], tmp_path: Path) -> None:
    spoilt = tmp_path / built[1].name
    with zipfile.ZipFile(built[1]) as old, zipfile.ZipFile(spoilt, "w") as new:
        for name in old.namelist():
            if not name.endswith("words.csv"):
                new.writestr(name, old.read(name))
        new.writestr("tests/run.py", "")
        new.writestr("workbook_tools/__pycache__/errors.pyc", "")
    found = packages.wheel_faults(spoilt)
    assert "workbook_tools/templates/words.csv is missing" in found
    assert "tests/ has no place in it" in found
    assert "workbook_tools/__pycache__/errors.pyc has no place in it" in found


def test_metadata(built: tuple[Path, Path]) -> None:
    with zipfile.ZipFile(built[1]) as archive:
        (name,) = (name for name in archive.namelist() if name.endswith("METADATA"))
        found = Parser().parsestr(archive.read(name).decode("utf-8"))
    assert found["Version"] == packages.VERSION
    assert found["License-Expression"] == "MIT"
    assert found["Requires-Python"] == ">=3.11"
    assert {"excel", "insight", "programme", "share"} <= set(found.get_all("Provides-Extra", []))
    assert found["Keywords"]
    readme = (packages.ROOT / "README.md").read_text(encoding="utf-8")
    assert [extra for extra in found.get_all("Provides-Extra", []) if f"| `{extra}` |" not in readme] == []


def test_the_change_log_begins_with_this_version() -> None:
    lines = (packages.ROOT / "CHANGELOG.md").read_text(encoding="utf-8").splitlines()
    assert next(line for line in lines if line.startswith("## ")) == f"## {packages.VERSION}"


def test_the_wheel_works_in_an_environment_of_its_own(built: tuple[Path, Path], tmp_path: Path) -> None:
    """Its dependencies are lent by the environment of the tests: nothing is fetched."""
    python = packages.new_environment(Path(sys.executable), tmp_path / "environment")
    install = [python, "-m", "pip", "install", "-q", "--no-index", "--no-deps", built[1]]
    packages.run(install, tmp_path, 0, {"PYTHONWARNINGS": ""})
    place = packages.run([python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"], tmp_path).strip()
    Path(place, "lent.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    packages.Trial(python, tmp_path).smoke(with_share=True)
