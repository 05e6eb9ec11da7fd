"""The pages of a copy as a PDF, by LibreOffice: one sheet of paper for each page."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

from workbook_tools.errors import HostError

SECONDS = 120.0
UNIX_PLACES = (
    *("/usr/bin", "/usr/local/bin", "/opt/libreoffice/program", "/snap/bin"),
    "/Applications/LibreOffice.app/Contents/MacOS",
)
SYSTEM_PATH = "/usr/bin:/bin"  # a virtual environment's folder first on PATH makes LibreOffice write nothing
FOREIGN = ("PYTHONHOME", "PYTHONPATH", "VIRTUAL_ENV", "PYTHONSTARTUP")
ABSENT = (
    "LibreOffice was not found: no PDF was made. Install it (Debian or Ubuntu: apt-get install libreoffice-calc), or "
    "open the copy in any spreadsheet and print it to PDF there."
)


def office_program() -> Path | None:
    """LibreOffice's program, in its usual places or on PATH; None where it is not there."""
    name = "soffice.com" if sys.platform == "win32" else "soffice"
    places = list(UNIX_PLACES)
    if sys.platform == "win32":
        roots = (os.environ.get("PROGRAMFILES"), os.environ.get("PROGRAMFILES(X86)"))
        places = [str(Path(root, "LibreOffice", "program")) for root in roots if root]
    places += os.environ.get("PATH", os.defpath).split(os.pathsep)
    found = shutil.which(name, path=os.pathsep.join(places))
    return Path(found) if found else None


def pdf_of(content: bytes, seconds: float = SECONDS) -> bytes:
    """The PDF of a workbook.

    Parameters
    ----------
    content : bytes of the .xlsx file, not locked.
    seconds : time limit. [s]

    Raises
    ------
    HostError : LibreOffice is absent, does not finish in time, or writes nothing; the text says so.
    """
    program = office_program()
    if program is None:
        raise HostError(ABSENT)
    with tempfile.TemporaryDirectory(prefix="workbook-tools-") as name:
        folder = Path(name)
        source, target = folder / "copy.xlsx", folder / "pdf" / "copy.pdf"
        source.write_bytes(content)
        source.chmod(0o600)
        profile = (folder / "profile").as_uri()
        words = [str(program), f"-env:UserInstallation={profile}", "--headless", "--norestore", "--convert-to", "pdf"]
        words += ["--outdir", str(target.parent), str(source)]
        said = _run(words, folder, seconds)
        if not target.is_file() or not target.stat().st_size:
            raise HostError(f"LibreOffice wrote no PDF. It said: {said.strip() or 'nothing'}")
        return target.read_bytes()


def _run(words: list[str], folder: Path, seconds: float) -> str:
    environment = {name: value for name, value in os.environ.items() if name not in FOREIGN}
    if sys.platform.startswith("linux"):
        environment["PATH"] = SYSTEM_PATH
    try:
        process = subprocess.Popen(
            words,
            cwd=folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            start_new_session=sys.platform != "win32",
        )
    except OSError as error:
        raise HostError(f"LibreOffice cannot be started ({error.strerror}): no PDF was made.") from error
    try:
        said, _ = process.communicate(timeout=seconds)
    except BaseException as error:
        _end(process)
        if isinstance(error, subprocess.TimeoutExpired):
            raise HostError(f"LibreOffice did not finish within {seconds:g} s: no PDF was made.") from error
        raise
    return said.decode(errors="replace")


def _end(process: subprocess.Popen[bytes]) -> None:
    """End what was started here: soffice is a script, and the program behind it belongs to its group."""
    if sys.platform == "win32":
        process.kill()
    else:
        os.killpg(process.pid, signal.SIGKILL)
    process.communicate()
