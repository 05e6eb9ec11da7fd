"""Hands the extension to LibreOffice, through its own program `unopkg`."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

from workbook_tools.errors import HostError
from workbook_tools.hosts.extension_parts import IDENTIFIER

SECONDS = 300
OLDEST_PYTHON = (3, 11)  # as everywhere in this package
# what one Python's environment would make another's load
FOREIGN = ("PYTHONHOME", "PYTHONPATH", "VIRTUAL_ENV", "PYTHONSTARTUP")
UNIX_FOLDERS = (
    "/usr/bin",
    "/usr/local/bin",
    "/opt/libreoffice/program",
    "/snap/bin",
    "/Applications/LibreOffice.app/Contents/MacOS",
)


def install(path: str | Path, user_installation: str | Path | None = None, shared: bool = False) -> None:
    """Install the extension, or replace an installed one, whatever its version.

    Parameters
    ----------
    path : the .oxt file.
    user_installation : profile folder of LibreOffice; the user's own by default.
    shared : install for all users of this computer; the administrator (root) can only do that.

    Raises
    ------
    HostError : LibreOffice is absent, is running with that profile, or refuses; the text says what to do.
    """
    file = Path(path).resolve()
    if not file.is_file():
        raise HostError(f"{path}: there is no such file; write the extension first.")
    own = own_python(extension_program())
    if own is not None and own < OLDEST_PYTHON:
        raise HostError(
            f"This LibreOffice brings Python {own[0]}.{own[1]} with it; the functions need {OLDEST_PYTHON[0]}."
            f"{OLDEST_PYTHON[1]} or newer. Install a newer LibreOffice; the workbooks' own formulas work in any."
        )
    _run("add", user_installation, shared, "--force", "--suppress-license", str(file))


def remove(user_installation: str | Path | None = None, shared: bool = False) -> None:
    """Remove the extension. Raises HostError as `install`, and where it is not installed."""
    if extension_installed(user_installation, shared) is None:
        raise HostError("The extension is not installed there; nothing was removed.")
    _run("remove", user_installation, shared, IDENTIFIER)


def extension_installed(user_installation: str | Path | None = None, shared: bool = False) -> str | None:
    """Version of the installed extension, or None. Raises HostError as `install`."""
    listed = _run("list", user_installation, shared)
    match = re.search(rf"^Identifier: {re.escape(IDENTIFIER)}\s+Version: (\S+)", listed, re.MULTILINE)
    return match[1] if match else None


def extension_program() -> Path:
    """LibreOffice's program for extensions. Raises HostError where LibreOffice is not found."""
    name = "unopkg.com" if sys.platform == "win32" else "unopkg"
    found = shutil.which(name, path=os.pathsep.join(_folders()))
    if found is None:
        raise HostError(
            "LibreOffice was not found. Install it (on Debian or Ubuntu: apt-get install libreoffice-calc "
            "python3-uno), or put the folder that holds its program unopkg on PATH."
        )
    return Path(found)


def own_python(program: Path) -> tuple[int, int] | None:
    """Version of the Python that lies in LibreOffice's own folder, or None where it uses the system's."""
    beside = [folder.name for folder in program.resolve().parent.glob("python-core-*")]
    framework = program.resolve().parents[1] / "Frameworks" / "LibreOfficePython.framework" / "Versions"
    names = beside + [folder.name for folder in framework.glob("*.*")]
    found = [(int(match[1]), int(match[2])) for name in names if (match := re.search(r"(\d+)\.(\d+)", name))]
    return max(found, default=None)


def _folders() -> list[str]:
    # the usual places first: a virtual environment's folder at the front of PATH disturbs LibreOffice
    usual = list(UNIX_FOLDERS)
    if sys.platform == "win32":
        roots = (os.environ.get("PROGRAMFILES"), os.environ.get("PROGRAMFILES(X86)"))
        usual = [str(Path(root, "LibreOffice", "program")) for root in roots if root]
    return [*usual, *os.environ.get("PATH", os.defpath).split(os.pathsep)]


def profile_folder() -> Path:
    """The user's own LibreOffice profile."""
    if sys.platform == "win32":
        return Path(os.environ.get("APPDATA", Path.home() / "AppData" / "Roaming"), "LibreOffice", "4")
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "LibreOffice" / "4"
    return Path(os.environ.get("XDG_CONFIG_HOME", Path.home() / ".config"), "libreoffice", "4")


def _run(command: str, user_installation: str | Path | None, shared: bool, *arguments: str) -> str:
    program = extension_program()
    profile = profile_folder() if user_installation is None else Path(user_installation).resolve()
    if command != "list" and (profile / ".lock").exists():
        raise HostError(
            f"LibreOffice is running with the profile {profile}. Close all its windows and try again. If it is not "
            f"running, it ended badly before: start it once and close it, or delete the file {profile / '.lock'}."
        )
    if not shared and _is_administrator():
        raise HostError(
            "LibreOffice refuses to install for the administrator (root) alone. Say --shared to install for all users "
            "of this computer, or run this as the user who will use it."
        )
    words = [str(program), command, *(["--shared"] if shared else [])]
    if user_installation is not None:
        words.append(f"-env:UserInstallation={profile.as_uri()}")
    environment = {name: value for name, value in os.environ.items() if name not in FOREIGN}
    environment["PATH"] = os.pathsep.join(_folders())
    try:
        done = subprocess.run(
            [*words, *arguments],
            env=environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=SECONDS,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise HostError(f"LibreOffice's {program} did not answer within {SECONDS} s; try again.") from error
    except OSError as error:
        raise HostError(f"LibreOffice's {program} cannot be started: {error}") from error
    said = done.stdout.decode(errors="replace"), done.stderr.decode(errors="replace")
    if done.returncode != 0 or "ERROR" in said[1]:
        raise HostError(f"LibreOffice refused to {command} the extension: {(said[1] + said[0]).strip()}")
    return said[0]


def _is_administrator() -> bool:
    return hasattr(os, "geteuid") and os.geteuid() == 0
