"""Each built file once in a folder, and what readers found in it."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.engines.files import content_of
from tests.engines.readers import Cells, in_file, read_by_xlsx
from tests.prepare import EnginePrograms


@pytest.fixture(scope="session")
def file_of(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    folder = tmp_path_factory.mktemp("engines")

    def written(name: str) -> Path:
        path = folder / f"{re.sub(r'[^a-zA-Z]+', '-', name)}.xlsx"
        if not path.exists():
            path.write_bytes(content_of(name))
        return path

    return written


@pytest.fixture(scope="session")
def cells_of() -> Callable[[str], Cells]:
    """The cells of a file by its parts."""
    found: dict[str, Cells] = {}

    def cells(name: str) -> Cells:
        if name not in found:
            found[name] = in_file(content_of(name))
        return found[name]

    return cells


@pytest.fixture(scope="session")
def read_of(file_of: Callable[[str], Path], engines: EnginePrograms) -> Callable[[str], Cells]:
    """The cells of a file as xlsx reads them, which takes a second."""
    found: dict[str, Cells] = {}

    def cells(name: str) -> Cells:
        if name not in found:
            found[name] = read_by_xlsx(file_of(name), engines)
        return found[name]

    return cells
