"""Prepare what the tests and the demo need: pinned packages in an environment of their own, LibreOffice, other engines.

Standard library only, because it runs on a bare ``python3`` before anything is installed.

    environment(folder, requirements)   the python of a virtual environment with the project installed in it
    office(install=True)                where LibreOffice is, after installing it where that is possible
    engines(install=True)               where Gnumeric and Node with its packages are, likewise

All print short lines while they work and raise `PreparationError`, whose text says what failed and what to do.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import platform
import shlex
import shutil
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parent.parent
OLDEST_PYTHON = (3, 11)
STAMP = "prepared.txt"
SYSTEM_PATH = os.pathsep.join(["/usr/bin", "/bin"])
FONTS = {"Liberation Sans": "fonts-liberation", "DejaVu Sans": "fonts-dejavu-core"}
APT_PACKAGES = ["libreoffice-calc", "python3-uno", "poppler-utils", "fontconfig", *FONTS.values()]
ENGINE_PROGRAMS = {"ssconvert": "gnumeric", "node": "nodejs", "npm": "npm"}
ENGINES = ROOT / ".environments" / "engines"
NODE_FILES = [ROOT / "tests" / "engines" / "package.json", ROOT / "tests" / "engines" / "package-lock.json"]
OLDEST_NODE = 18
OUTPUT_LINES_SHOWN = 25


class PreparationError(RuntimeError):
    """Something that is needed is missing or could not be installed; the text says what to do."""


class OfficePrograms(NamedTuple):
    """The programs that tests with LibreOffice start."""

    soffice: Path
    python: Path  # a Python that can `import uno`; hardly ever the one of a virtual environment
    pdftoppm: Path


class EnginePrograms(NamedTuple):
    """The programs that tests with other spreadsheet engines start."""

    ssconvert: Path
    node: Path
    packages: Path  # the folder where Node finds exceljs, xlsx and HyperFormula


def say(text: str) -> None:
    """Print one progress line at once, in order with the output of the programs that follow."""
    print(text, flush=True)


def clean_environment() -> dict[str, str]:
    """Environment variables without those that make one Python load the packages of another; PIP_* stay as they are."""
    foreign = {"PYTHONHOME", "PYTHONPATH", "VIRTUAL_ENV", "__PYVENV_LAUNCHER__"}
    return {name: value for name, value in os.environ.items() if name not in foreign}


def check_python() -> None:
    """Raise `PreparationError` when this Python is too old or cannot make virtual environments."""
    here = "{}.{}".format(*sys.version_info[:2])
    if sys.version_info[:2] < OLDEST_PYTHON:
        needed = "{}.{}".format(*OLDEST_PYTHON)
        raise PreparationError(
            f"Python {needed} or newer is needed; {sys.executable} is Python {here}.\n"
            f"Install a newer one (Debian, Ubuntu: apt-get install python3 python3-venv) and start this with it, "
            f"for example: python{needed} {' '.join(sys.argv)}"
        )
    missing = [name for name in ("venv", "ensurepip") if importlib.util.find_spec(name) is None]
    if missing:
        raise PreparationError(
            f"{sys.executable} cannot make virtual environments: its module {' and '.join(missing)} is not installed.\n"
            f"Debian, Ubuntu: apt-get install python3-venv (or python{here}-venv).\n"
            "Elsewhere: install a complete Python."
        )


def environment(folder: Path, requirements: Path, *more_requirements: Path) -> Path:
    """Make a virtual environment with pinned packages and this project (editable), or reuse one that still fits.

    Parameters
    ----------
    folder : where the environment is or shall be; made anew when anything it was made from has changed.
    requirements, more_requirements : files of pinned packages. A file with hashes is installed with every hash checked.

    Returns
    -------
    The environment's python.

    Raises
    ------
    PreparationError : Python is too old, venv is missing, a command failed, or the folder holds something else.
    """
    check_python()
    folder = folder.absolute()
    files = [requirements, *more_requirements]
    stamp = _stamp(files)
    python = folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    if _fits(folder, python, stamp):
        say(f"environment: {folder} is up to date")
        return python
    if folder.exists() and any(folder.iterdir()) and not (folder / "pyvenv.cfg").exists():
        raise PreparationError(
            f"{folder} holds something that is not a virtual environment; nothing in it was changed.\n"
            "Move it away or remove it, then start again."
        )
    say(f"environment: making {folder} with Python {platform.python_version()}")
    (folder / STAMP).unlink(missing_ok=True)
    _run([sys.executable, "-m", "venv", "--clear", str(folder)], advice="Check that the disk is writable and not full.")
    pip = [str(python), "-m", "pip", "--disable-pip-version-check", "--no-input", "install"]
    advice = (
        "Check that pip reaches a package index (its PIP_* variables and pip.conf are used as they are); start again."
    )
    for file in files:
        say(f"environment: installing the packages of {file.name} (minutes, the first time)")
        hashes = ["--require-hashes"] if "--hash=" in file.read_text(encoding="utf-8") else []
        _run([*pip, *hashes, "-r", str(file)], advice=advice)
    say("environment: installing the project itself")
    # The build tools are among the pinned packages, so that nothing unpinned is fetched for the build.
    _run(
        [*pip, "--no-deps", "--no-build-isolation", "-e", str(ROOT)], advice="Mend what the output names; start again."
    )
    (folder / STAMP).write_text(stamp, encoding="utf-8")
    return python


def _stamp(requirements: list[Path]) -> str:
    """One hash over all that an environment is made from."""
    digest = hashlib.sha256()
    for part in [platform.python_version(), platform.machine(), sys.base_prefix, str(ROOT)]:
        digest.update(part.encode() + b"\0")
    for file in [*requirements, ROOT / "pyproject.toml"]:
        if not file.is_file():
            raise PreparationError(
                f"{file} is missing; it belongs to the project. Get a complete copy and start again."
            )
        digest.update(hashlib.sha256(file.read_bytes()).digest())
    return digest.hexdigest() + "\n"


def _fits(folder: Path, python: Path, stamp: str) -> bool:
    """Whether the folder's environment was made from the same things and its python still starts."""
    stamp_file = folder / STAMP
    if not stamp_file.is_file() or stamp_file.read_text(encoding="utf-8") != stamp:
        return False
    return _succeeds([str(python), "-c", "pass"], clean_environment())


def office(install: bool) -> OfficePrograms:
    """Find LibreOffice, a Python with its `uno` module, and pdftoppm.

    Parameters
    ----------
    install : install what is missing with apt-get, where there is apt-get and the right to use it.

    Raises
    ------
    PreparationError : something is missing and was not, or could not be, installed.
    """
    programs, missing = _find_office()
    if programs is not None:
        return programs
    say(f"LibreOffice: missing: {', '.join(missing)}")
    _install("LibreOffice", APT_PACKAGES, _office_advice(missing), install)
    programs, missing = _find_office()
    if programs is None:
        raise PreparationError("apt-get reported success, and yet: " + _office_advice(missing))
    return programs


def engines(install: bool) -> EnginePrograms:
    """Find Gnumeric's converter and Node, and make the folder of Node packages, or reuse it where it still fits.

    Parameters
    ----------
    install : install what is missing with apt-get, where there is apt-get and the right to use it, and the pinned
        packages with npm.

    Raises
    ------
    PreparationError : something is missing and was not, or could not be, installed.
    """
    found, missing = _find_engines()
    if missing:
        say(f"engines: missing: {', '.join(missing)}")
        _install("engines", [ENGINE_PROGRAMS[name] for name in missing], _engines_advice(missing), install)
        found, missing = _find_engines()
    if missing:
        raise PreparationError("apt-get reported success, and yet: " + _engines_advice(missing))
    _check_node(found["node"])
    if not _packages_fit(found["node"]):
        if not install:
            raise PreparationError(f"The Node packages of {NODE_FILES[0].name} are missing in {ENGINES}.\n{START_RUN}")
        _install_packages(found["node"], found["npm"])
    return EnginePrograms(found["ssconvert"], found["node"], ENGINES / "node_modules")


def _find_engines() -> tuple[dict[str, Path], list[str]]:
    """The programs by their names, and the names of those that are missing."""
    path = os.pathsep.join([os.environ.get("PATH", ""), SYSTEM_PATH, "/usr/local/bin", "/opt/homebrew/bin"])
    found = {name: shutil.which(name, path=path) for name in ENGINE_PROGRAMS}
    return {name: Path(place) for name, place in found.items() if place}, [n for n, place in found.items() if not place]


def _check_node(node: Path) -> None:
    """Raise `PreparationError` when Node is too old for the packages."""
    done = subprocess.run(
        [str(node), "--version"], env=clean_environment(), capture_output=True, text=True, check=False
    )
    number = done.stdout.strip().removeprefix("v").partition(".")[0]
    if not number.isdigit() or int(number) < OLDEST_NODE:
        raise PreparationError(
            f"Node {OLDEST_NODE} or newer is needed; {node} is {done.stdout.strip() or 'of no known version'}.\n"
            "Install a newer one and put it first on the PATH.\n" + WITHOUT_ENGINES
        )


def _packages_fit(node: Path) -> bool:
    """Whether the Node packages were installed from the same list and can be loaded."""
    stamp = ENGINES / STAMP
    if not stamp.is_file() or stamp.read_text(encoding="utf-8") != _stamp(NODE_FILES):
        return False
    script = "['exceljs', 'xlsx', 'hyperformula'].forEach((name) => require.resolve(name))"
    return _succeeds([str(node), "-e", script], clean_environment() | {"NODE_PATH": str(ENGINES / "node_modules")})


def _install_packages(node: Path, npm: Path) -> None:
    """Put the pinned Node packages, each with its checksum, into their folder; none of them runs a script there."""
    say(f"engines: installing the Node packages of {NODE_FILES[0].relative_to(ROOT)} in {ENGINES}")
    ENGINES.mkdir(parents=True, exist_ok=True)
    (ENGINES / STAMP).unlink(missing_ok=True)
    for file in NODE_FILES:
        shutil.copyfile(file, ENGINES / file.name)
    quiet = ["--ignore-scripts", "--no-audit", "--no-fund"]
    advice = f"Check that npm reaches a package registry (its settings are used as they are).\n{START_RUN}"
    _run([str(npm), "ci", "--prefix", str(ENGINES), *quiet], advice=advice)
    (ENGINES / STAMP).write_text(_stamp(NODE_FILES), encoding="utf-8")
    if not _packages_fit(node):
        raise PreparationError(
            f"npm reported success, and yet {node} cannot load the packages in {ENGINES}.\n{START_RUN}"
        )


def _install(what: str, packages: list[str], advice: str, install: bool) -> None:
    """Install Debian packages where that is wanted and possible, else raise with the advice."""
    prefix = _administrator() if install and shutil.which("apt-get") else None
    if prefix is None:
        raise PreparationError(advice)
    say(f"{what}: installing {' '.join(packages)} (minutes)")
    apt = [*prefix, "env", "DEBIAN_FRONTEND=noninteractive", "apt-get", "-o", "DPkg::Lock::Timeout=300"]
    _run([*apt, "update"], advice=advice)
    _run([*apt, "install", "-y", "--no-install-recommends", *packages], advice=advice)


def _find_office() -> tuple[OfficePrograms | None, list[str]]:
    """The programs, or None and the names of those that are missing."""
    path = os.pathsep.join([SYSTEM_PATH, "/usr/local/bin", "/opt/homebrew/bin", os.environ.get("PATH", "")])
    mac = "/Applications/LibreOffice.app/Contents/MacOS/soffice"
    soffice = shutil.which("soffice", path=path) or shutil.which("libreoffice", path=path) or shutil.which(mac)
    pdftoppm = shutil.which("pdftoppm", path=path)
    python = _python_with_uno(Path(soffice)) if soffice else None
    fonts = _missing_fonts()
    if soffice and python and pdftoppm and not fonts:
        return OfficePrograms(Path(soffice), python, Path(pdftoppm)), []
    found = {"soffice": soffice, "a python with the module uno": python, "pdftoppm": pdftoppm}
    return None, [*(name for name, program in found.items() if not program), *fonts]


def _missing_fonts() -> list[str]:
    """Fonts that pages are measured and drawn with and that the system does not have."""
    if sys.platform != "linux":
        return []  # there is no list of fonts to ask; the pages are drawn with what is there
    lister = shutil.which("fc-list", path=SYSTEM_PATH)
    if lister is None:
        return [f"the font {name}" for name in FONTS]
    listed = subprocess.run([lister, ":", "family"], capture_output=True, text=True, check=False).stdout
    there = {family.strip() for line in listed.splitlines() for family in line.split(",")}
    return [f"the font {name}" for name in FONTS if name not in there]


def _python_with_uno(soffice: Path) -> Path | None:
    """The system's Python where it can talk to LibreOffice, else the one that LibreOffice brings along."""
    program = soffice.resolve().parent
    bundled = [program / "python", program / "python.exe", program.parent / "Resources" / "python"]
    for python in [Path("/usr/bin/python3"), *bundled]:
        if python.is_file() and _succeeds([str(python), "-c", "import uno"], {"PATH": SYSTEM_PATH}):
            return python
    return None


def _administrator() -> list[str] | None:
    """What to put before a command so that it runs as administrator without a question; None when there is no way."""
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        return []
    if shutil.which("sudo") and _succeeds(["sudo", "-n", "true"], clean_environment()):
        return ["sudo", "-n"]
    return None


def _office_advice(missing: list[str]) -> str:
    return (
        f"Tests with LibreOffice need {', '.join(missing)}.\n"
        f"Debian, Ubuntu:  apt-get install --no-install-recommends {' '.join(APT_PACKAGES)}\n"
        "Elsewhere: install LibreOffice (Calc, Python scripting), poppler and the fonts by the package manager.\n"
        "Or leave these tests out, knowingly: python3 tests/run.py --without-libreoffice"
    )


START_RUN = "Start python3 tests/run.py, which installs them."
WITHOUT_ENGINES = "Or leave these tests out, knowingly: python3 tests/run.py --without-engines"


def _engines_advice(missing: list[str]) -> str:
    return (
        f"Tests with other spreadsheet engines need {', '.join(missing)}.\n"
        f"Debian, Ubuntu:  apt-get install --no-install-recommends {' '.join(ENGINE_PROGRAMS[n] for n in missing)}\n"
        f"Elsewhere: install Gnumeric and Node {OLDEST_NODE} or newer with the system's package manager.\n"
        + WITHOUT_ENGINES
    )


def _succeeds(command: list[str], variables: dict[str, str]) -> bool:
    """Whether a short command can be started and ends well."""
    try:
        done = subprocess.run(
            command, env=variables, stdin=subprocess.DEVNULL, capture_output=True, check=False, timeout=60
        )
    except (OSError, subprocess.TimeoutExpired):
        return False
    return done.returncode == 0


def _run(command: list[str], advice: str) -> None:
    """Run a command quietly; raise with the command, the end of its output and the advice when it fails."""
    shown = f"  {shlex.join(command)}"
    try:
        done = subprocess.run(
            command,
            env=clean_environment(),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            check=False,
        )
    except OSError as error:
        raise PreparationError(f"This command could not be started ({error}):\n{shown}\n{advice}") from error
    if done.returncode != 0:
        lines = done.stdout.decode("utf-8", errors="replace").splitlines()[-OUTPUT_LINES_SHOWN:]
        output = "\n".join(f"  | {line}" for line in lines)
        raise PreparationError(
            f"This command failed (exit code {done.returncode}):\n{shown}\nThe end of its output:\n{output}\n{advice}"
        )
