"""The wheel and the source package: built, looked through, installed in new environments, and tried there."""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import subprocess
import tarfile
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from tests.prepare import ROOT, clean_environment

VERSION = re.search(r'__version__ = "(.+)"', (ROOT / "workbook_tools/__init__.py").read_text(encoding="utf-8"))[1]  # type: ignore[index]
SECONDS = 600
SHOWN = 2000  # characters of an output in an error

MUST_BE_IN_WHEEL = (
    *("__init__.py", "py.typed", "errors.py", "cli/main.py", "functions/formulas/vessel.py", "hosts/calc/menu.py"),
    *(f"templates/{name}" for name in ("case-log.toml", "bench.toml", "words.csv")),
    *(f"templates/ready/{name}" for name in ("README.md", "case-log.xlsx", "bench.xlsx", "functions.oxt")),
    *(f"templates/reference/{name}.csv" for name in ("agents", "limits", "stages", "treatment_agents")),
    "templates/older/case-log-1.toml",
    "templates/older/reference-1/agents.csv",
)
MAY_BE_BESIDE = ("METADATA", "WHEEL", "RECORD", "entry_points.txt", "licenses/LICENSE")
MUST_BE_IN_SOURCE = (
    *("README.md", "CHANGELOG.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "PKG-INFO"),
    *("tests/run.py", "tests/requirements.txt", "tests/published/cases.csv", "demo/run.py", ".ci/run"),
)
NEVER = re.compile(
    r"__pycache__|\.py[co]$|\.(mypy|pytest|ruff)_cache|\.hypothesis|\.environments|(^|/)\.git(/|$)|demo/output|~\$|"
    r"\.lock\.|\.egg-info|(^|/)(build|dist)/|\.swp$|\.orig$|backup"
)


class PackageFaultError(AssertionError):
    """A package that is not as it must be, or does not do what it must."""


def build(python: Path, folder: Path) -> tuple[Path, Path]:
    """The source package of the working tree, and the wheel made from it, so that the one proves the other."""
    source_folder, unpacked, wheel_folder = folder / "source", folder / "unpacked", folder / "wheel"
    run([python, "-m", "hatchling", "build", "-t", "sdist", "-d", source_folder], ROOT)
    (source,) = source_folder.glob("*.tar.gz")
    with tarfile.open(source) as archive:
        safe: dict[str, Any] = {"filter": "data"} if hasattr(tarfile, "data_filter") else {}  # not before 3.11.4
        archive.extractall(unpacked, **safe)
    (inside,) = unpacked.iterdir()
    run([python, "-m", "hatchling", "build", "-t", "wheel", "-d", wheel_folder], inside)
    (wheel,) = wheel_folder.glob("*.whl")
    return source, wheel


def wheel_faults(wheel: Path) -> list[str]:
    """What is missing in a wheel or has no place there."""
    with zipfile.ZipFile(wheel) as archive:
        names = [name for name in archive.namelist() if not name.endswith("/")]
    beside = f"workbook_tools-{VERSION}.dist-info/"
    faults = _faults(names, [f"workbook_tools/{name}" for name in [*MUST_BE_IN_WHEEL, *_tracked("workbook_tools")]])
    faults += _faults(names, [f"workbook_tools/templates/{name}" for name in _tracked("templates")])
    foreign = {name.split("/")[0] + "/" for name in names} - {"workbook_tools/", beside}
    faults += [f"{name} has no place in it" for name in sorted(foreign)]
    extra = {name.removeprefix(beside) for name in names if name.startswith(beside)} ^ set(MAY_BE_BESIDE)
    return faults + [f"{beside}{name} is missing or has no place in it" for name in sorted(extra)]


def source_faults(source: Path) -> list[str]:
    """What is missing in a source package or has no place there."""
    with tarfile.open(source) as archive:
        names = [member.name.split("/", 1)[1] for member in archive.getmembers() if member.isfile()]
    wanted = [f"{folder}/{name}" for folder in ("workbook_tools", "templates", "tests") for name in _tracked(folder)]
    return _faults(names, [*MUST_BE_IN_SOURCE, *wanted])


def _tracked(folder: str) -> list[str]:
    """Every file of a folder of the working tree that is no cache."""
    files = (file for file in (ROOT / folder).rglob("*") if file.is_file())
    names = (file.relative_to(ROOT / folder).as_posix() for file in files)
    return [name for name in names if not NEVER.search(name)]


def _faults(names: Sequence[str], wanted: Iterable[str]) -> list[str]:
    missing = [f"{name} is missing" for name in dict.fromkeys(wanted) if name not in set(names)]
    doubled = [f"{name} is in it twice" for name in sorted(set(names)) if names.count(name) > 1]
    return missing + doubled + [f"{name} has no place in it" for name in names if NEVER.search(name)]


def new_environment(python: Path, folder: Path) -> Path:
    """An empty virtual environment; its python."""
    run([python, "-m", "venv", folder], folder.parent)
    return folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def run(command: Sequence[str | Path], folder: Path, code: int = 0, variables: Mapping[str, str] | None = None) -> str:
    """Output of a command started in a folder; raises where it ends with another exit code."""
    environment = clean_environment() | {"NO_COLOR": "1", "PYTHONWARNINGS": "error"} | dict(variables or {})
    words = [str(word) for word in command]
    done = subprocess.run(
        words,
        cwd=folder,
        env=environment,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        check=False,
        timeout=SECONDS,
        encoding="utf-8",
        errors="replace",
    )
    output = done.stdout + done.stderr
    if done.returncode != code:
        said = output[-SHOWN:].strip()
        raise PackageFaultError(f"{' '.join(words[1:])}: exit code {done.returncode}, not {code}. It said:\n{said}")
    return output


# A log with one site, made through the package itself
WITH_SITE = """
import sys
from workbook_tools.layout import case_log
from workbook_tools.log.building.log_workbook import build_log
sites = [{"site": "S01", "name": "Alder springs", "kind": "farm", "food_fish": "yes"}]
open(sys.argv[1], "wb").write(build_log(case_log(), {"sites": sites}, rows=5))
"""


class Trial:
    """One installed package, tried from a folder of its own with a home of its own."""

    def __init__(self, python: Path, folder: Path) -> None:
        self.python, self.folder = python, folder
        home = folder / "home"
        home.mkdir()
        self.variables = {"HOME": str(home), "USERPROFILE": str(home)}
        self.program = python.parent / ("workbook-tools.exe" if os.name == "nt" else "workbook-tools")

    def command(self, *words: str, code: int = 0) -> str:
        """What a command printed."""
        return run([self.program, *words], self.folder, code, self.variables)

    def said(self, wanted: str, *words: str, code: int = 0) -> None:
        """A command must print this."""
        output = " ".join(self.command(*words, code=code).split())
        if wanted not in output:
            raise PackageFaultError(f"{' '.join(words)} does not say {wanted!r}; it says:\n{output[-SHOWN:]}")

    def smoke(self, with_share: bool) -> None:
        """Does every part of an installed package start and answer? `with_share`: the extra is installed."""
        place = run(
            [self.python, "-c", "import workbook_tools; print(workbook_tools.__file__)"], self.folder, 0, self.variables
        )
        if str(self.python.parent.parent.resolve()) not in str(Path(place.strip()).resolve()):
            raise PackageFaultError(f"another package than the installed one was tried: {place.strip()}")
        self.said(f"version {VERSION}", "--version")
        self.said("Start here", "--help")
        self.said("3.2 g", "calc", "BATH.MASS", "40", "80")  # 40 L x 80 mg/L / 1000
        # a US gallon is 3.785411784 L by definition; 12 of them at 80 mg/L are 3.63399... g
        self.said("3.63399", "calc", "BATH.MASS", "12 gal", "80 mg/L")
        self.said("Made log.xlsx", "new", "log", "log.xlsx", "--rows", "20")
        self.said("0 to mend, 0 to look at.", "check", "log.xlsx")
        self.said("no bath", "card", "log.xlsx", code=2)
        self.said("Made bench.xlsx", "new", "bench", "bench.xlsx")
        self.said("Made functions.oxt", "extension", "functions.oxt")
        self.said("Made guide.md", "guide", "guide.md")
        self.said("Made user_functions.py", "excel", "user_functions.py")
        self.said("names are in it", "names", "bench.xlsx")
        run([self.python, "-c", WITH_SITE, "site.xlsx"], self.folder, 0, self.variables)
        self.said("Made plain.xlsx", "share", "site.xlsx", "--site", "S01", "--out", "plain.xlsx")
        (self.folder / "secret.txt").write_text("perch and pike\n", encoding="utf-8")
        locked = ["share", "site.xlsx", "--site", "S01", "--out", "locked.xlsx", "--password-file", "secret.txt"]
        if with_share:
            self.said("Made locked.xlsx", *locked)
        else:
            self.said("pip install 'workbook-tools[share]'", *locked, code=2)
            if (self.folder / "locked.xlsx").exists():
                raise PackageFaultError("a copy was written though its password could not be set")

    def as_ready(self) -> None:
        """The ready-made files are in the package, and a new one has the parts of the ready-made one."""
        code = "import json; from workbook_tools.layout.load import folder; print(json.dumps(str(folder())))"
        ready = Path(json.loads(run([self.python, "-c", code], self.folder, 0, self.variables))) / "ready"
        self.command("new", "log", "as-ready.xlsx")
        if parts(ready / "case-log.xlsx") != parts(self.folder / "as-ready.xlsx"):
            raise PackageFaultError("a new log differs from the ready-made one: run python3 tests/ready_files.py")


def parts(path: Path) -> dict[str, bytes]:
    """Unpacked parts by name: how they are packed may differ from one Python to the next."""
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def interpreters(given: Sequence[str]) -> list[Path]:
    """Pythons to try: those given, else those of 3.11 to 3.13 that the path leads to and that start."""
    if given:
        return [Path(name) for name in given]
    found = []
    for minor in (11, 12, 13):
        program = shutil.which(f"python3.{minor}")
        if program and subprocess.run([program, "-c", ""], capture_output=True, check=False).returncode == 0:
            found.append(Path(program))
    return found


def replaced_in_sheets(content: bytes, old: bytes, new: bytes) -> bytes:
    """A workbook with other words in the formulas of its sheets."""
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as source, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as out:
        for name in source.namelist():
            part = source.read(name)
            out.writestr(name, part.replace(old, new) if name.startswith("xl/worksheets/sheet") else part)
    return target.getvalue()


def without_column_formulas(content: bytes) -> bytes:
    """A workbook whose tables hold no formulas for new rows, as LibreOffice saves it."""
    target = io.BytesIO()
    formula = re.compile(rb"<calculatedColumnFormula.*?</calculatedColumnFormula>", re.DOTALL)
    with zipfile.ZipFile(io.BytesIO(content)) as source, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as out:
        for name in source.namelist():
            part = source.read(name)
            out.writestr(name, formula.sub(b"", part) if name.startswith("xl/tables/") else part)
    return target.getvalue()
