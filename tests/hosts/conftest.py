"""LibreOffice with the extension installed in a profile that the tests keep to themselves."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.hosts.profile import Profile, new_profile
from tests.support.office import Office
from workbook_tools.hosts import extension


@pytest.fixture(scope="session")
def extension_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return extension.build(tmp_path_factory.mktemp("extension") / "workbook-tools.oxt")


@pytest.fixture
def profile(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Profile:
    """A profile that nothing is installed in."""
    made = new_profile(tmp_path)
    for name, value in made.environment.items():
        monkeypatch.setenv(name, value)
    return made


@pytest.fixture(scope="session")
def calc_profile(extension_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Profile:
    """A profile with the extension."""
    made = new_profile(tmp_path_factory.mktemp("calc"))
    with pytest.MonkeyPatch.context() as patch:
        for name, value in made.environment.items():
            patch.setenv(name, value)
        extension.install(extension_file, made.folder, shared=made.shared)
    assert "UNO_SHARED_PACKAGES_CACHE" not in os.environ
    return made


@pytest.fixture(scope="session")
def calc(calc_profile: Profile) -> Iterator[Office]:
    """LibreOffice with the extension, for the whole run."""
    with Office(profile=calc_profile.folder, environment=calc_profile.environment) as running:
        yield running


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what uses LibreOffice through the fixtures above."""
    for item in items:
        if {"calc", "profile", "calc_profile"} & set(getattr(item, "fixturenames", ())):
            item.add_marker("libreoffice")
