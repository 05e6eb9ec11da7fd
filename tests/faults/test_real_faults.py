"""Two of the faults made by the system itself: a limit of file sizes, and a folder without the right to write."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import pytest

from tests.faults.jobs import COPY, LOG, first_files
from tests.support.every_command import ROOT

SCRIPT = """
import json, os, resource, sys
from pathlib import Path
from click.testing import CliRunner
from workbook_tools.cli.main import cli

folder, fault = Path(sys.argv[1]), sys.argv[2]
words = ["merge", str(folder / "River farm.xlsx"), str(folder / "tablet.xlsx"), "--replace"]

def merged():
    done = CliRunner().invoke(cli, words)
    return [done.exit_code, done.output, repr(done.exception)]

kept = {file.name: file.read_bytes() for file in folder.iterdir()}
first = merged()  # so that all is loaded before rights are given up
for file in folder.iterdir():
    file.unlink()
for name, content in kept.items():
    (folder / name).write_bytes(content)

_, most = resource.getrlimit(resource.RLIMIT_FSIZE)
if fault == "small files only":
    resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, most))
elif fault == "no right to write":
    folder.chmod(0o555)
    if os.geteuid() == 0:  # an administrator may write anywhere: become nobody
        os.setegid(65534)
        os.seteuid(65534)
second = merged()
if os.getuid() == 0:
    os.seteuid(0)
    os.setegid(0)
folder.chmod(0o755)
resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
after = {file.name: file.read_bytes() == kept.get(file.name) for file in folder.iterdir()}
third = merged()
print(json.dumps({"first": first, "second": second, "after": after, "third": third}))
"""


def tried(folder: Path, fault: str) -> Any:
    """The command undisturbed, under a fault, and again."""
    for name, content in first_files().items():
        if name in (LOG, COPY):
            (folder / name).write_bytes(content)
    command = [sys.executable, "-c", SCRIPT, str(folder), fault]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120, cwd=ROOT)
    assert done.returncode == 0, done.stderr[-2000:]
    return json.loads(done.stdout)


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("small files only", "cannot be written (File too large); nothing was changed."),
        ("no right to write", "no lock file can be made beside it (Permission denied); nothing was changed."),
    ],
)
def test_the_system_itself_refuses(fault: str, words: str) -> None:
    """In a folder of its own: pytest's lie below one that only its owner may enter, and this gives up the rights."""
    with tempfile.TemporaryDirectory(prefix="faults-") as name:
        folder = Path(name)
        folder.chmod(0o755)
        said = tried(folder, fault)
    assert said["first"][0] == 0, said["first"]
    assert said["second"][0] == 2, said["second"]
    assert words in " ".join(said["second"][1].split())
    assert said["after"] == {LOG: True, COPY: True}
    assert said["third"][0] == 0, said["third"]
