"""What is installed: every file by its hash in continuous integration, and under which licences."""

from __future__ import annotations

import base64
import hashlib
import re
import zipfile
from pathlib import Path

import pytest

from tests import licences, prepare
from tests.test_prepare import REQUIREMENT_FILES

ROOT = licences.ROOT
GOES_WITH_OURS = re.compile(
    r"(MIT(-0|-CMU)?( License)?|0?BSD([ -](2|3)-[Cc]lause)?( License)?|Apache[- ]2\.0|Apache Software License"
    r"|PSF(-2\.0|L)?|Python Software Foundation License|Zlib|CC0-1\.0|ISC|HPND"
    r"|Mozilla Public License 2\.0 \(MPL 2\.0\)|MPL-2\.0)"
)


def parts(licence: str) -> list[str]:
    """Each licence of an expression by itself."""
    return [part.strip(" ()") for part in re.split(r" AND | OR |; ", licence)]


def test_the_page_of_licences_is_of_today() -> None:
    text = licences.PAGE.read_text(encoding="utf-8")
    assert licences.page(text) == text, "make it anew: python -m tests.licences --write"


def test_every_licence_goes_with_ours() -> None:
    found = {name: licences.licence(name) for name in licences.users()}
    assert len(found) > 20
    assert [(n, text) for n, text in found.items() if not all(GOES_WITH_OURS.fullmatch(p) for p in parts(text))] == []


@pytest.mark.parametrize("text", ["GPL-3.0-only", "AGPL", "not stated", "MIT AND GPL-2.0", "Proprietary"])
def test_a_licence_that_does_not_is_seen(text: str) -> None:
    assert not all(GOES_WITH_OURS.fullmatch(part) for part in parts(text))


def test_every_dependency_of_the_project_is_on_the_page() -> None:
    page = licences.PAGE.read_text(encoding="utf-8")
    direct = [name for extra in ("", *licences.extras()) for name in licences.needed(licences.OURS, extra)]
    assert len(direct) >= 11
    assert [name for name in direct if f"| {name} |" not in page] == []


@pytest.mark.parametrize("file", REQUIREMENT_FILES, ids=lambda file: file.parent.name)
def test_pip_is_told_to_ask_for_hashes(file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    commands: list[list[str]] = []

    def pretend(command: list[str], advice: str) -> None:
        commands.append(command)
        (tmp_path / "e").mkdir(exist_ok=True)

    monkeypatch.setattr(prepare, "_run", pretend)
    prepare.environment(tmp_path / "e", file)
    installs = [command for command in commands if "-r" in command]
    assert [command[-1] for command in installs] == [str(file)]
    assert all("--require-hashes" in command for command in installs)
    others = [command for command in commands if "install" in command and command not in installs]
    assert others
    assert all({"--no-deps", "--no-build-isolation"} <= set(command) for command in others)


def wheel(folder: Path) -> tuple[Path, str]:
    """A package of our own invention, and its hash."""
    name, info = "hash_probe-1.0", "hash_probe-1.0.dist-info"
    files = {
        "hash_probe.py": b"VALUE = 1\n",
        f"{info}/METADATA": b"Metadata-Version: 2.1\nName: hash-probe\nVersion: 1.0\n",
        f"{info}/WHEEL": b"Wheel-Version: 1.0\nGenerator: tests\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    record = "".join(
        f"{path},sha256={base64.urlsafe_b64encode(hashlib.sha256(held).digest()).rstrip(b'=').decode()},{len(held)}\n"
        for path, held in files.items()
    )
    target = folder / f"{name}-py3-none-any.whl"
    with zipfile.ZipFile(target, "w") as archive:
        for path, held in files.items():
            archive.writestr(path, held)
        archive.writestr(f"{info}/RECORD", f"{record}{info}/RECORD,,\n")
    return target, hashlib.sha256(target.read_bytes()).hexdigest()


def test_a_file_with_another_hash_is_not_installed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The real pip, by our own command, without any index: the right hash goes in, one digit else does not."""
    file, digest = wheel(tmp_path)
    monkeypatch.setenv("PIP_NO_INDEX", "1")
    monkeypatch.setenv("PIP_FIND_LINKS", str(tmp_path))
    monkeypatch.setattr(prepare, "ROOT", tmp_path)  # the project itself is not what this is about
    (tmp_path / "pyproject.toml").write_text('[project]\nname = "nothing"\nversion = "1"\n')
    wrong = ("0" if digest[0] != "0" else "1") + digest[1:]
    requirements = tmp_path / "requirements.txt"
    requirements.write_text(f"hash-probe==1.0 --hash=sha256:{wrong}\n")
    with pytest.raises(prepare.PreparationError, match="HASHES") as caught:
        prepare.environment(tmp_path / "environment", requirements)
    assert digest in str(caught.value)
    assert not list((tmp_path / "environment").rglob("hash_probe.py"))
    requirements.write_text(f"hash-probe==1.0 --hash=sha256:{digest}\n")
    with pytest.raises(prepare.PreparationError) as caught:  # it gets as far as the project, which is none here
        prepare.environment(tmp_path / "environment", requirements)
    assert "hash_probe" not in str(caught.value)
    assert list((tmp_path / "environment").rglob("hash_probe.py"))
    assert file.exists()
