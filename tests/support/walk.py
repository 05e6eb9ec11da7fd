"""What the walk of a new user needs: a line for each step, commands from an empty environment, pictures."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from openpyxl import load_workbook
from openpyxl.utils import column_index_from_string, get_column_letter
from openpyxl.worksheet.worksheet import Worksheet
from PIL import Image

from demo.pictures import cropped, save_picture
from tests.prepare import SYSTEM_PATH
from tests.support.office import CellValue, Office, OfficeError
from tests.support.office_process import OfficeFailedError

SECONDS = 900
DPI = 110
WIDTH = 800
A3 = 8
Values = dict[str, dict[str, CellValue]]


class SurpriseError(AssertionError):
    """Something that a new user would not expect; the text says what was seen and what to mend."""


@dataclass
class Walk:
    """The steps of one person. A surprise ends the person's walk; the next person starts all the same."""

    surprises: list[str] = field(default_factory=list)
    steps: int = 0

    @contextmanager
    def person(self, who: str) -> Iterator[None]:
        """Everything that one person does."""
        print(f"\n{who}", flush=True)
        try:
            yield
        except (SurpriseError, OfficeFailedError, subprocess.TimeoutExpired, OSError) as error:
            self.surprises.append(f"{who}: {error}")
            print(f"  FAILED  {error}", flush=True)

    def saw(self, done: str, seen: str) -> None:
        """One step that went as expected."""
        self.steps += 1
        print(f"  ok      {done}: {seen}", flush=True)


def expect(condition: object, seen: str, mend: str) -> None:
    """Raise a surprise where the condition does not hold."""
    if not condition:
        raise SurpriseError(f"{seen}\n          mend: {mend}")


def near(found: object, wanted: float, what: str, mend: str) -> None:
    """A number must be that which was worked out by hand, to nine digits."""
    right = isinstance(found, float) and abs(found - wanted) <= 1e-9 * max(1.0, abs(wanted))
    expect(right, f"{what} is {found!r}, by hand {wanted!r}", mend)


class Machine:
    """An empty home and folder; what runs here knows nothing of the project's working tree."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.home = folder / "home"
        self.home.mkdir(parents=True)
        self.variables = {name: os.environ[name] for name in os.environ if name.startswith("PIP_")}
        self.variables |= {"HOME": str(self.home), "PATH": SYSTEM_PATH, "LANG": "C.UTF-8", "NO_COLOR": "1"}

    def run(self, *words: str | Path, code: int = 0, mend: str = "", more: Mapping[str, str] | None = None) -> str:
        """What a program prints on both its outputs; a surprise where its exit code is another."""
        command = [str(word) for word in words]
        done = subprocess.run(
            command,
            cwd=self.folder,
            env=self.variables | dict(more or {}),
            stdin=subprocess.DEVNULL,
            capture_output=True,
            check=False,
            timeout=SECONDS,
            encoding="utf-8",
            errors="replace",
        )
        output = (done.stdout + done.stderr).strip()
        name = Path(command[0]).name
        expect(
            done.returncode == code,
            f"{name} {' '.join(command[1:])} ended with {done.returncode}, not {code}: {output[-1500:]}",
            mend or "the command, or what was typed before it",
        )
        expect("Traceback" not in output, f"{name} shows a traceback: {output[-1500:]}", "say it in a sentence")
        return output


def errors_in(values: Values) -> list[str]:
    """Cells that show an error."""
    return [
        f"{sheet}!{cell} {value}"
        for sheet, cells in values.items()
        for cell, value in cells.items()
        if isinstance(value, OfficeError)
    ]


@dataclass(frozen=True)
class View:
    """A block of a sheet to look at: columns by letter, rows from the top; all of a page where nothing is given."""

    name: str
    sheet: str
    columns: Sequence[str] = ()
    last_row: int = 0
    width: int = WIDTH


def picture(office: Office, file: Path, view: View, folder: Path, scratch: Path) -> Path:
    """A picture of what a sheet shows on paper: one page wide, only the block that is in use."""
    workbook = load_workbook(file)
    for sheet in workbook.worksheets:
        sheet.sheet_state = "visible" if sheet.title == view.sheet else "hidden"
    chosen = workbook[view.sheet]
    workbook.active = chosen
    if view.columns:
        _block(chosen, view)
    copy = scratch / f"{view.name}.xlsx"
    workbook.save(copy)
    pages = office.render(copy, scratch / f"pages of {view.name}", dpi=DPI)
    target = folder / f"{view.name}.png"
    with Image.open(pages[0]) as page:
        save_picture(cropped(page.convert("RGB")), target, view.width)
    return target


def _block(sheet: Worksheet, view: View) -> None:
    last = max(view.columns, key=column_index_from_string)
    for number in range(1, column_index_from_string(last) + 1):
        letter = get_column_letter(number)
        sheet.column_dimensions[letter].hidden = letter not in view.columns
    sheet.print_title_rows = sheet.print_title_cols = None
    sheet.print_area = f"A1:{last}{view.last_row}"
    sheet.page_setup.paperSize = A3
    sheet.page_setup.fitToWidth = sheet.page_setup.fitToHeight = 1
    sheet.oddFooter.left.text = sheet.oddFooter.right.text = None
