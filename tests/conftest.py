"""What every test may use: LibreOffice and other engines, or the plain word that tests with them were left out."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from tests.prepare import EnginePrograms, PreparationError, engines
from tests.support.office import Office

# what may be left out: the marker of its tests, the fixture that such a test uses, the variable and the name for people
OTHERS = (
    ("libreoffice", "office", "WORKBOOK_TOOLS_LIBREOFFICE", "LibreOffice"),
    ("engines", "engines", "WORKBOOK_TOOLS_ENGINES", "Gnumeric and Node"),
)
CODES_OF_TESTS = ("harvest-before-count",)  # of tests/support/next-layout.toml
left_out = pytest.StashKey[dict[str, int]]()


def wanted(variable: str) -> bool:
    """Whether tests take part; `python3 tests/run.py --without-libreoffice` or `--without-engines` leaves them out."""
    choice = os.environ.get(variable, "yes")
    if choice not in ("yes", "no"):
        raise pytest.UsageError(f"{variable} is {choice!r}; it must be yes or no")
    return choice == "yes"


@pytest.fixture(scope="session")
def office() -> Iterator[Office]:
    """One LibreOffice for the whole run; fails, never skips, when it is not installed."""
    try:
        with Office() as running:
            yield running
    except PreparationError as error:
        pytest.fail(str(error), pytrace=False)


@pytest.fixture(scope="session", name="engines")
def engine_programs() -> EnginePrograms:
    """Gnumeric and Node with its packages; fails, never skips, when they are not installed."""
    try:
        return engines(install=False)
    except PreparationError as error:
        pytest.fail(str(error), pytrace=False)


@pytest.fixture(scope="session", autouse=True)
def every_finding_is_explained() -> Iterator[None]:
    """Fails what gives a finding whose code has no row in templates/findings.csv, however the code was put together."""
    from workbook_tools.layout.advice import advices
    from workbook_tools.log.checking.log_check import Finding
    from workbook_tools.log.checking.reading import Remark

    codes = {*advices(), *CODES_OF_TESTS}  # asked at once: a test may put other layouts in the place of ours

    def explained(kind: type[Finding | Remark]) -> Callable[..., None]:
        begin = kind.__init__

        def checked(self: Finding | Remark, *args: Any, **words: Any) -> None:
            begin(self, *args, **words)
            assert self.code in codes, f"{self.code}: add a row to templates/findings.csv"

        return checked

    with pytest.MonkeyPatch.context() as patch:
        for kind in (Finding, Remark):
            patch.setattr(kind, "__init__", explained(kind))
        yield


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> Iterator[None]:
    """Mark what uses a fixture of another program, let -m and -k choose, then leave out what was asked to be."""
    for item in items:
        for marker, fixture, _, _ in OTHERS:
            if fixture in getattr(item, "fixturenames", ()):
                item.add_marker(marker)
    yield
    config.stash[left_out] = {}
    for marker, _, variable, name in OTHERS:
        if not wanted(variable):
            needing = [item for item in items if item.get_closest_marker(marker)]
            items[:] = [item for item in items if not item.get_closest_marker(marker)]
            config.hook.pytest_deselected(items=needing)
            config.stash[left_out][name] = len(needing)


def pytest_report_header() -> list[str]:
    """Say at the start of a run what takes part."""
    return [f"{name}: {'takes part' if wanted(variable) else 'left out on request'}" for _, _, variable, name in OTHERS]


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Say before the summary line how many tests were left out."""
    for name, count in config.stash.get(left_out, {}).items():
        tests = "test that needs" if count == 1 else "tests that need"
        terminalreporter.write_line(f"{count} {tests} {name} {'was' if count == 1 else 'were'} left out on request")
