"""Make the pictures of the README and of templates/guide from the workbooks of the demo, with a real LibreOffice.

    python3 demo/pictures.py

Runs on a bare python3: it makes (or reuses) the environment of the tests. The workbooks are those of demo/run.py; from
a temporary copy of them LibreOffice prints one block of cells for each picture. Columns and rows left out of a picture
are hidden in that copy, as a person may hide them. Results are LibreOffice's own: the copy holds none.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from tests.prepare import PreparationError, clean_environment, environment, office  # noqa: E402 - needs the line above

if TYPE_CHECKING:
    from PIL import Image

    from tests.support.office import Office

FOLDER = ROOT / "demo" / "pictures"
INSIDE = "--prepared"
DPI = 220
WIDTH = 1400  # the README shows them about 1000 px wide; screens of fine pitch take the rest
COLOURS = 48
MARGIN = 14
LARGEST = 150_000  # bytes
PAPER_A3 = 8


@dataclass(frozen=True)
class Picture:
    """A block of one sheet.

    `columns` by key where `table` names a table of the log, else by letter; `rows` are the first and last row shown
    below the headings (0 for the last one of the sheet). `left_out` are fields of the bench form.
    """

    name: str
    sheet: str
    columns: tuple[str, ...]
    rows: tuple[tuple[int, int], ...] = ((1, 0),)
    table: str = ""
    left_out: tuple[str, ...] = ()
    bench: bool = False
    width: int = WIDTH  # pixels


# fmt: off
PICTURES = (
    Picture("start", "Start", ("A", "B", "C", "D")),
    Picture("vessels", "Vessels", ("vessel", "site", "name", "shape", "unit", "length", "breadth", "depth",
            "cone_depth", "area", "volume"), ((6, 23),), "vessels"),
    Picture("baths", "Baths", ("bath", "visit", "vessel", "use", "species", "agent", "start_dose", "drug", "buffer"),
            ((6, 20),), "baths"),
    Picture("check", "Baths", ("bath", "drug_weighed", "topups", "first_topup", "ended", "second_dose", "final_dose",
            "seconds", "check"), ((6, 13), (28, 33)), "baths"),
    Picture("fish", "Fish", ("fish", "species", "weight", "into", "balance", "working", "settled", "out", "recovered",
            "seconds_to_working", "seconds_to_recovery"), ((52, 68),), "fish"),
    Picture("watch", "Watch", ("look", "bath", "time", "equilibrium", "response", "ventilation", "count", "over",
            "since", "stage", "rate", "check"), ((88, 100),), "watch"),
    Picture("treatments", "Treatments", ("treatment", "stock", "route", "agent", "dose", "dose_unit", "days", "last",
            "grams", "rule", "wait", "rule_source", "hold_days", "release", "basis"), ((6, 11),), "treatments"),
    Picture("plan-sheet", "Plan", tuple("ABCDEFGHIJKL")),
    Picture("calendar", "Calendar", tuple("ABCDEFG"), ((1, 18),), width=1200),
    Picture("summary", "Summary", ("key", "fish", "timed", "median", "ninety", "quick_share", "soon_share", "unsettled",
            "died"), ((6, 12),), "by_species"),
    Picture("bench", "Bench", ("A", "B", "C", "D", "E", "F"), bench=True, width=1100,
            left_out=("cone_depth", "area", "known", "salt", "before", "after", "flow", "minutes", "metres", "length_m",
                      "breadth_m", "depth_m", "cone_m", "low", "high", "agent_ratio")),
    Picture("card", "Card", ("A", "B", "C", "D", "E"), bench=True, width=1100),
)
# fmt: on


def main(arguments: list[str]) -> int:
    """Prepare and start again inside the environment, or make the pictures; the exit code."""
    if arguments in (["-h"], ["--help"]):
        print((__doc__ or "").strip())
        return 0
    if arguments not in ([], [INSIDE]):
        print(f"demo/pictures.py takes no arguments, and was given: {' '.join(arguments)}")
        return 2
    if arguments:
        return make_all()
    try:
        python = environment(ROOT / ".environments" / "tests", ROOT / "tests" / "requirements.txt")
        office(install=True)
    except PreparationError as error:
        print(error)
        print("No pictures were made: what they need is not there (see above).")
        return 1
    command = [str(python), str(Path(__file__).resolve()), INSIDE]
    return subprocess.run(command, cwd=ROOT, env=clean_environment(), check=False).returncode


def make_all() -> int:
    """Build the demo's workbooks anew and picture them."""
    from demo.run import show
    from tests.support.office import Office
    from tests.support.office_process import OfficeFailedError

    code = show()
    if code != 0:
        return code
    FOLDER.mkdir(exist_ok=True)
    print()
    try:
        with tempfile.TemporaryDirectory(prefix="workbook-tools-pictures-") as folder, Office() as running:
            for picture in PICTURES:
                size = make(picture, running, Path(folder))
                print(f"demo/pictures/{picture.name}.png  {size / 1000:.0f} kB", flush=True)
                if size > LARGEST:
                    print(f"This picture is larger than {LARGEST / 1000:.0f} kB; show fewer rows or colours.")
                    return 1
            for name, file, sheet in pages():
                print(f"demo/pictures/{name}.png  {make_page(name, file, sheet, running, Path(folder)) / 1000:.0f} kB")
    except OfficeFailedError as error:
        print(f"The pictures are not complete: {error}")
        return 1
    return 0


def pages() -> tuple[tuple[str, Path, str], ...]:
    """Whole pages that are pictured: name, file, beginning of the sheet's name."""
    from demo.run import COPY, PLAN

    return (
        ("labels", PLAN, "Labels"),
        ("release", COPY, "When fish may"),
        ("daily", COPY, "Daily sheet"),
    )


def make_page(name: str, file: Path, sheet: str, running: Office, folder: Path) -> int:
    """A picture of a page that is to be printed; each sheet before it is one page."""
    from openpyxl import load_workbook
    from PIL import Image

    names = load_workbook(file, read_only=True).sheetnames
    number = next(number for number, title in enumerate(names) if title.startswith(sheet))
    with Image.open(running.render(file, folder / name, dpi=DPI)[number]) as page:
        return save_picture(cropped(page.convert("RGB")), FOLDER / f"{name}.png", WIDTH)


def make(picture: Picture, running: Office, folder: Path) -> int:
    """One picture; its size in bytes."""
    from PIL import Image

    copy = folder / f"{picture.name}.xlsx"
    write_copy(picture, copy)
    printed = running.render(copy, folder / picture.name, dpi=DPI)
    with Image.open(printed[0]) as page:
        return save_picture(cropped(page.convert("RGB")), FOLDER / f"{picture.name}.png", picture.width)


def save_picture(image: Image.Image, target: Path, width: int) -> int:
    """A picture made small; its size in bytes."""
    from PIL import Image

    height = round(image.height * width / image.width)
    image = image.resize((width, height), Image.Resampling.LANCZOS)
    image = image.quantize(COLOURS, Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)  # keeps the rare amber
    image.putpalette([255 if part > 252 else part for part in image.getpalette() or []])  # white as white
    image.save(target, optimize=True)
    return target.stat().st_size


def cropped(page: Image.Image) -> Image.Image:
    """The page without its white margins."""
    from PIL import Image, ImageChops

    from tests.support.office_process import OfficeFailedError

    box = ImageChops.difference(page, Image.new("RGB", page.size, "white")).getbbox()
    if box is None:
        raise OfficeFailedError("LibreOffice printed an empty page")
    left, top, right, bottom = box
    wanted = (left - MARGIN, top - MARGIN, right + MARGIN, bottom + MARGIN)
    return page.crop((max(wanted[0], 0), max(wanted[1], 0), min(wanted[2], page.width), min(wanted[3], page.height)))


def write_copy(picture: Picture, target: Path) -> None:
    """A copy of the workbook that prints the block of the picture on one page and nothing else."""
    from openpyxl import load_workbook
    from openpyxl.utils import column_index_from_string, get_column_letter

    from demo.run import BENCH, LOG

    workbook = load_workbook(BENCH if picture.bench else LOG)
    for sheet in workbook.worksheets:
        sheet.sheet_state = "visible" if sheet.title == picture.sheet else "hidden"
    sheet = workbook[picture.sheet]
    workbook.active = sheet
    shown = letters(picture)
    last = max(shown, key=column_index_from_string)
    for number in range(1, column_index_from_string(last) + 1):
        letter = get_column_letter(number)
        sheet.column_dimensions[letter].hidden = letter not in shown
    last_row = picture.rows[-1][1] or sheet.max_row
    for row in hidden_rows(picture, last_row):
        sheet.row_dimensions[row].hidden = True
    sheet.print_title_rows = sheet.print_title_cols = None
    sheet.print_area = f"A1:{last}{last_row}"
    sheet.page_setup.paperSize = PAPER_A3
    sheet.page_setup.fitToWidth = sheet.page_setup.fitToHeight = 1
    sheet.oddFooter.left.text = sheet.oddFooter.right.text = None
    workbook.save(target)


def letters(picture: Picture) -> set[str]:
    """Column letters of a picture."""
    if not picture.table:
        return set(picture.columns)
    from workbook_tools.layout import case_log

    table = case_log().tables[picture.table]
    return {table.letters[key] for key in picture.columns}


def hidden_rows(picture: Picture, last_row: int) -> set[int]:
    """Rows of the block that the picture leaves out; headings always stay."""
    from workbook_tools.layout import case_log, load

    _, form = load("bench").forms["bench"]
    left_out = {form.rows[key] for key in picture.left_out}
    if picture.table:
        kept = {row for first, last in picture.rows for row in range(first, (last or last_row) + 1)}
        left_out |= set(range(case_log().tables[picture.table].first_row, last_row + 1)) - kept
    return left_out


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
