"""The menu in Calc: the time in a cell, the summary of the Check columns, the guide."""

from __future__ import annotations

import datetime
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import openpyxl
import pytest

from tests.hosts.profile import Profile
from tests.support import office_process
from tests.support.office_process import OfficeProcess
from workbook_tools.hosts import extension
from workbook_tools.hosts.extension_parts import MENU, MENU_PROTOCOL

NODE = "{http://openoffice.org/2001/registry}name"


@pytest.fixture(scope="module")
def desk(calc_profile: Profile, extension_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """Asks the worker that uses the menu: `desk("check", path)`."""
    folder = tmp_path_factory.mktemp("menu")
    with zipfile.ZipFile(extension_file) as package:
        package.extractall(folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(office_process, "WORKER", Path(__file__).with_name("menu_worker.py"))
        running = OfficeProcess(calc_profile.folder, calc_profile.environment, "en-US", 120)
        try:
            yield lambda action, path, **more: running.ask(
                {"action": action, "path": str(path), "extension": str(folder / "pythonpath"), **more}
            )
        finally:
            running.close()


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """A workbook with two sheets of Check columns, one heading in the first row and one lower down."""
    book = openpyxl.Workbook()
    baths = book.active
    baths.title = "Baths"
    baths.append(["Bath", "Dose", "Check", "Note"])
    baths.append(["B1", 80, '=IF(B2>0,"ok","dose missing")', "Check"])
    baths.append(["B2", 0, '=IF(B3>0,"ok","dose missing")'])
    baths.append(["B3", None, '=""'])
    baths.append(["B4", 1, "=1/0"])
    fish = book.create_sheet("Fish")
    fish["B3"], fish["B4"], fish["B5"], fish["C9"] = "Check", "weight is text", "ok", "not below a heading"
    book.create_sheet("Empty")
    book.save(tmp_path / "log.xlsx")
    return tmp_path / "log.xlsx"


@pytest.mark.libreoffice
def test_check_collects_what_is_not_ok(desk: Any, log: Path) -> None:
    answer = desk("check", log)
    assert answer["findings"] == [
        ["Baths", "C3", "dose missing"],
        ["Baths", "C5", "the check itself shows an error"],
        ["Fish", "B4", "weight is text"],
    ]
    text = (
        "3 rows to look at:\n\nBaths!C3: dose missing\nBaths!C5: the check itself shows an error\n"
        "Fish!B4: weight is text"
    )
    assert answer["box"] == [["Workbook tools", text]]


@pytest.mark.libreoffice
def test_check_of_a_clean_log_says_so(desk: Any, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["Check"])
    book.active.append(["ok"])
    book.save(tmp_path / "clean.xlsx")
    answer = desk("check", tmp_path / "clean.xlsx")
    assert answer["findings"] == []
    assert answer["box"] == [["Workbook tools", "Nothing to put right: every Check column says ok or is blank."]]


@pytest.mark.libreoffice
def test_check_shows_the_first_and_counts_the_rest(desk: Any, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["Check"])
    for number in range(40):
        book.active.append([f"row {number}"])
    book.save(tmp_path / "many.xlsx")
    ((_, text),) = desk("check", tmp_path / "many.xlsx")["box"]
    assert text.startswith("40 rows to look at:")
    assert text.endswith("... and 15 more.")
    assert text.count("!A") == 25


@pytest.mark.libreoffice
def test_time_goes_into_one_cell_as_a_value(desk: Any, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet["A2"] = datetime.datetime(2025, 1, 1, 8, 30)
    sheet["A3"] = datetime.time(8, 30)
    sheet["A3"].number_format = "h:mm"
    sheet["A4"] = "=1+1"
    sheet["A5"] = 7
    sheet["A5"].number_format = "0.00"
    book.save(tmp_path / "times.xlsx")
    answers = desk("put_times", tmp_path / "times.xlsx", cells=["A1", "A2", "A3", "A4", "A5", "B1:B2"])
    assert answers["A1"][:3] == ["Sheet!A1", 0.5, "12:00:00"]
    assert answers["A2"][0:2] == ["Sheet!A2", 46083.5]  # 2 March 2026 is day 46083 of a spreadsheet
    assert answers["A3"][:3] == ["Sheet!A3", 0.5, "12:00"]
    assert answers["A4"] == ["Sheet!A4 is computed; the time was not put there.", 2.0, "2", "=1+1"]
    assert answers["A5"][:3] == ["Sheet!A5", 0.5, "12:00:00"]
    assert answers["B1:B2"][:2] == ["Select one cell for the time, then choose this again.", 0.0]


@pytest.mark.libreoffice
def test_time_does_not_go_into_a_protected_cell(desk: Any, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.protection.sheet = True
    sheet["B1"].protection = openpyxl.styles.Protection(locked=False)
    book.save(tmp_path / "protected.xlsx")
    answers = desk("put_times", tmp_path / "protected.xlsx", cells=["A1", "B1"])
    assert answers["A1"] == ["Sheet!A1 is protected; the time was not put there.", 0.0, "", ""]
    assert answers["B1"][:2] == ["Sheet!B1", 0.5]


@pytest.mark.libreoffice
def test_command_through_the_dispatcher(desk: Any, log: Path) -> None:
    """As the menu sends it: LibreOffice finds the component by the command and the component does it."""
    before = datetime.datetime.now()
    answer = desk("send", log, command=f"{MENU_PROTOCOL}put-time")
    started = (before - before.replace(hour=0, minute=0, second=0, microsecond=0)).total_seconds()
    late = answer["value"] * 86_400 - started  # whole seconds are put in, so up to one early
    assert (late + 1.5) % 86_400 < 61.5
    assert re.fullmatch(r"\d\d:\d\d:\d\d", answer["shown"])
    assert desk("send", log, command=f"{MENU_PROTOCOL}something-else") is None


@pytest.mark.libreoffice
def test_guide_opens_in_the_browser_or_in_libreoffice(desk: Any, log: Path) -> None:
    answer = desk("open_guide", log)
    file = Path(answer["file"])
    assert file.read_bytes() == extension.extension_files()["guide.html"]
    assert answer["asked"] == [
        ["browser", file.as_uri(), 1],
        ["LibreOffice", file.as_uri(), "_blank"],
        ["LibreOffice", file.as_uri(), "_blank"],
        ["refused", f"The guide could not be opened. It is the file {file}."],
    ]


def test_menu_lists_the_commands_that_there_are() -> None:
    tree = ElementTree.fromstring(extension.extension_files()["Addons.xcu"])
    urls = [node[0].text for node in tree.iter("prop") if node.get(NODE) == "URL"]
    assert urls == [f"{MENU_PROTOCOL}{command}" for command, _ in MENU]
    source = extension.extension_files()["pythonpath/workbook_tools/hosts/calc/menu.py"].decode()
    for command, _ in MENU:
        assert f'"{command}": Menu.' in source
    assert f'PROTOCOL = "{MENU_PROTOCOL}"' in source
