"""What every test may use: a running LibreOffice, or the plain word that tests with it were left out on request."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from tests.prepare import PreparationError
from tests.support.office import Office

CHOICE = "WORKBOOK_TOOLS_LIBREOFFICE"
MARKER = "libreoffice"
CODES_OF_TESTS = ("harvest-before-count",)  # of tests/support/next-layout.toml
left_out = pytest.StashKey[int]()


def without_libreoffice() -> bool:
    """Whether tests with LibreOffice are to be left out; `python3 tests/run.py --without-libreoffice` asks for it."""
    choice = os.environ.get(CHOICE, "yes")
    if choice not in ("yes", "no"):
        raise pytest.UsageError(f"{CHOICE} is {choice!r}; it must be yes or no")
    return choice == "no"


@pytest.fixture(scope="session")
def office() -> Iterator[Office]:
    """One LibreOffice for the whole run; fails, never skips, when it is not installed."""
    try:
        with Office() as running:
            yield running
    except PreparationError as error:
        pytest.fail(str(error), pytrace=False)


@pytest.fixture(scope="session", autouse=True)
def every_finding_is_explained() -> Iterator[None]:
    """Fails what gives a finding whose code has no row in templates/findings.csv, however the code was put together."""
    from workbook_tools.caselog.checking import Finding
    from workbook_tools.caselog.reading import Remark
    from workbook_tools.layouts.finding_guide import advices

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
    """Mark what uses the office fixture, let -m and -k choose, then leave out what needs LibreOffice, if so asked."""
    for item in items:
        if "office" in getattr(item, "fixturenames", ()):
            item.add_marker(MARKER)
    yield
    if without_libreoffice():
        needing = [item for item in items if item.get_closest_marker(MARKER)]
        items[:] = [item for item in items if not item.get_closest_marker(MARKER)]
        config.hook.pytest_deselected(items=needing)
        config.stash[left_out] = len(needing)


def pytest_report_header() -> str:
    """Say at the start of a run whether LibreOffice takes part."""
    return "LibreOffice: left out on request" if without_libreoffice() else "LibreOffice: takes part"


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """Say before the summary line how many tests were left out."""
    if left_out in config.stash:
        count = config.stash[left_out]
        tests = "test that needs" if count == 1 else "tests that need"
        terminalreporter.write_line(
            f"{count} {tests} LibreOffice {'was' if count == 1 else 'were'} left out on request"
        )
