"""Printable pages: what is in the file, how they break, and that no text is cut in a real LibreOffice."""

from __future__ import annotations

import io
import itertools
import math
import re
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import openpyxl
import pypdf
import pytest
import python_calamine
from hypothesis import given, settings
from hypothesis import strategies as st
from openxml_audit import OpenXmlValidator
from PIL import Image

from tests.support.office import Office
from workbook_tools.errors import DataError
from workbook_tools.functions.quantities.amounts import amount, decimals, short
from workbook_tools.xlsx.printing.bands import Band, BandPiece, broken, room, stacked
from workbook_tools.xlsx.printing.blocks import (
    Block,
    Cards,
    Caution,
    CutCard,
    Drawing,
    Facts,
    Figure,
    Heading,
    Lines,
    Page,
    PageBreak,
    Paragraph,
    PrintedTable,
    TickRow,
    Ticks,
    TickTable,
    Together,
    counted,
    figure,
    text_of,
)
from workbook_tools.xlsx.printing.page_room import PAPERS, sized
from workbook_tools.xlsx.printing.pages import build_pages, columns, one_page_scale, paged, sheet_names
from workbook_tools.xlsx.writing.fish_drawing import fish_drawing
from workbook_tools.xlsx.writing.picture import Placed, Stroke
from workbook_tools.xlsx.writing.text_width import lines, text_width

PARTS = ("left", "right", "above", "left_gills", "right_gills")
WORDS = dict.fromkeys(PARTS, "part") | {"about": 'A "fish" <outline>'}
LONG = "Rinse powder off gloves before touching fish or gills, and have clean, aerated water of the same temperature. "
FORMULA_LIKE = ("=1+1", "+1", "-1", "@SUM(A1)", '=TEXT("x")', "\t=1", "'=1", "1e5", "0012", "TRUE", "#N/A", "###x")


def sample(times: int = 1) -> list[Block]:
    """Every kind of block."""
    return [
        Facts([("Site", "Alder springs"), ("Litres", 152.4), ("A longer label of a fact", LONG), ("Blank", None)]),
        Facts([("Examined by", None), ("Known", "yes")], 2, line=True),
        Heading("Packets of the bath"),
        Paragraph(LONG * times),
        Paragraph(LONG, "strong"),
        Paragraph(LONG, "small"),
        Caution(LONG * times),
        PrintedTable(
            ("Packet", "Drug g", "What it does, in more words than fit beside it"),
            [("Start", Figure(3.2), LONG), ("Top-up", figure(0.8123), None), *[("Row", 1.5, "more")] * 3 * times],
            (2, 1, 3),
            (1,),
            (("What", 1), ("How much, and what for", 2)),
        ),
        Heading("Days"),
        TickTable(("What", "How much"), ("1", "2", "3"), [TickRow(("Feed", "3 kg")), TickRow(("Bath", LONG), (0, 2))]),
        Ticks(["Gloves", "Lid", LONG], 2),
        Lines(2, "Sender"),
        Drawing(fish_drawing(WORDS), 0.6),
        Together((Heading("Kept"), Paragraph("together"))),
        Cards(
            [CutCard((("B001 Start", "title"), ("3.20 g", "mass"), (f"card {n}", "text"))) for n in range(4 * times)]
        ),
    ]


def texts(blocks: Sequence[Block]) -> Iterator[str]:
    """Everything that must stand on paper."""
    for band in stacked(blocks, 500):
        yield from (text_of(piece.value) for piece in band.pieces if text_of(piece.value))


def squeezed(text: str) -> str:
    """Text without spaces and line ends, which breaking moves about."""
    return re.sub(r"\s", "", text)


def printed(content: bytes, folder: Path, office: Office) -> pypdf.PdfReader:
    path = folder / "pages.xlsx"
    path.write_bytes(content)
    return pypdf.PdfReader(office.convert(path, folder / "pages.pdf", "pdf"))


# ----------------------------------------------------------------------------------------------------- amounts


@given(st.floats(1e-9, 1e9))
def test_an_amount_is_never_moved_by_one_percent(value: float) -> None:
    """The bound is half a unit of the third digit, 0.5 %, and a hair for the binary fraction."""
    for text in (amount(value), short(value)):
        assert "e" not in text
        assert "," not in text
        assert abs(float(text) - value) <= 0.00501 * value
    assert abs(Figure(value).value - float(Figure(value).text)) <= 0.00501 * value


@pytest.mark.parametrize(
    ("value", "shown", "round_one"),
    [
        (3.2, "3.20", "3.2"), (0.3, "0.300", "0.3"), (0.0375, "0.0375", "0.0375"), (120.0, "120.0", "120"),
        (12345.6, "12346", "12346"), (1000.0, "1000", "1000"), (0.0, "0", "0"), (10.0, "10.00", "10"),
    ],
)  # fmt: skip
def test_amounts_as_shown(value: float, shown: str, round_one: str) -> None:
    """By the rule in the docstring of `decimals`, worked out by hand."""
    assert (amount(value), short(value)) == (shown, round_one)
    assert amount(value, "g") == f"{shown}\N{NO-BREAK SPACE}g"
    assert (amount(None), short(None)) == ("-", "-")
    assert decimals(0) == 0


def test_a_figure_says_in_its_format_what_it_shows() -> None:
    assert (Figure(0.0375).format, Figure(12.0, 1).format, Figure(1234.5).format) == ("0.0000", "0.0", "0")
    assert Figure(3.2, None, "g").text == "3.20\N{NO-BREAK SPACE}g"
    assert [counted(value).text for value in (14.0, 2.5) if counted(value)] == ["14", "2.5"]
    assert figure(None) is None
    assert counted(None) is None


# --------------------------------------------------------------------------------------------------- text width


@given(st.text(max_size=120), st.floats(8, 400), st.booleans())
def test_lines_fit_and_lose_nothing(text: str, width: float, bold: bool) -> None:
    found = lines(text, 10, width, bold)
    assert found
    for line in found:
        assert text_width(line, 10, bold) <= width + 1e-9 or len(line) == 1
    kept = re.sub(r" ", "", "".join(text.splitlines()))
    assert re.sub(r" ", "", "".join(found)) == kept


def test_width_of_a_line() -> None:
    """Sums of the advance widths in the table of the face: W 0.944, i 0.222 and a space 0.278 of the size."""
    assert text_width("W i", 10) == pytest.approx(9.44 + 2.78 + 2.22)
    assert text_width("é", 10) == text_width("e", 10)
    assert text_width("漢", 10) == pytest.approx(11)


def test_rows_are_as_high_as_libreoffice_wants_them(tmp_path: Path, office: Office) -> None:
    """LibreOffice is let choose the heights of rows without merged cells; ours may be higher, never lower."""
    words = [LONG * n for n in (1, 2, 5)]
    words += ["Wide WWWW MMMM @@@@ " * 6, "i" * 300, "x", "0.0375 g, " * 12, "ÄÖÜ éàç " * 20]
    rows = [(text, other, "x") for text in words for other in words]
    page = Page("Heights", [PrintedTable(("First", "Second", "Third"), rows, (3, 2, 1))], one_page=False)
    content = build_pages("heights", [page])
    free = tmp_path / "free.xlsx"
    with zipfile.ZipFile(io.BytesIO(content)) as source, zipfile.ZipFile(free, "w") as out:
        for name in source.namelist():
            part = source.read(name)
            if name.startswith("xl/worksheets/sheet"):
                part = re.sub(rb' ht="[\d.]+" customHeight="1"', b"", part)
            out.writestr(name, part)
    own = openpyxl.load_workbook(io.BytesIO(content)).worksheets[0]
    wanted = openpyxl.load_workbook(office.convert(free, tmp_path / "wanted.xlsx", "xlsx")).worksheets[0]
    merged = {row for area in own.merged_cells.ranges for row in range(area.min_row, area.max_row + 1)}
    compared = 0
    for number, dimension in own.row_dimensions.items():
        if number in merged or not any(cell.value for cell in own[number]):
            continue
        compared += 1
        assert dimension.height >= wanted.row_dimensions[number].height, own.cell(number, 1).value
        assert dimension.height <= 409.5
    assert compared >= len(rows)


# ----------------------------------------------------------------------------------------------------- the file


@pytest.fixture(scope="module")
def content() -> bytes:
    return build_pages(
        "Sample", [Page(f"Page {paper}/{turn}", sample(), paper, turn, one_page=False)
                   for paper in PAPERS for turn in ("portrait", "landscape")]
    )  # fmt: skip


def test_every_part_passes_the_schema(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "pages.xlsx"
    path.write_bytes(content)
    found = OpenXmlValidator().validate(path)
    assert [str(error) for error in found.errors] == []
    with zipfile.ZipFile(path) as archive:
        for name in archive.namelist():
            ElementTree.fromstring(archive.read(name))


@pytest.mark.parametrize(
    "fault",
    [
        (b"xdr:clientData", b"xdr:clientDate"),
        (b'cap="rnd"', b'cap="rund"'),
        (b"</a:moveTo>", b"</a:moveTo><a:x/>"),
        (b'rIdDrawing" Type', b'rIdOther" Type'),
    ],
)
def test_a_fault_in_a_drawing_is_seen(fault: tuple[bytes, bytes], content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "spoilt.xlsx"
    with zipfile.ZipFile(io.BytesIO(content)) as source, zipfile.ZipFile(path, "w") as out:
        for name in source.namelist():
            out.writestr(name, source.read(name).replace(*fault))
    assert OpenXmlValidator().validate(path).errors


def test_the_file_holds_plain_cells_alone(content: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert not any(word in name for name in archive.namelist() for word in ("vba", "external", "comment", "media"))
        for name in archive.namelist():
            part = archive.read(name)
            assert b"<f>" not in part
            assert b"<definedName " not in part
        strings = archive.read("xl/sharedStrings.xml").decode()
    for text in texts(sample()):
        if not re.fullmatch(r"[\d.]+", text):
            assert squeezed(text) in squeezed(strings.replace("&lt;", "<"))


def test_the_same_pages_give_the_same_bytes(content: bytes) -> None:
    again = [Page(f"Page {paper}/{turn}", sample(), paper, turn, one_page=False)
             for paper in PAPERS for turn in ("portrait", "landscape")]  # fmt: skip
    assert build_pages("Sample", again) == content


def test_texts_that_look_like_formulas_stay_texts(tmp_path: Path, office: Office) -> None:
    blocks = [
        PrintedTable(("=A", "+B"), [(text, text) for text in FORMULA_LIKE]),
        Facts([(text, text) for text in FORMULA_LIKE]),
        Paragraph("=SUM(A1:A9)"),
        Cards([CutCard((("=1", "title"),))]),
    ]
    content = build_pages("x", [Page("=Title", blocks, one_page=False)])
    path = tmp_path / "texts.xlsx"
    path.write_bytes(content)
    rows = python_calamine.load_workbook(str(path)).get_sheet_by_index(0).to_python()
    seen = [value for row in rows for value in row]
    assert [seen.count(text) for text in FORMULA_LIKE] == [4] * len(FORMULA_LIKE)
    found = office.values(path)
    for text in FORMULA_LIKE:
        assert list(next(iter(found.values())).values()).count(text) == 4


def test_numbers_are_numbers_and_show_what_they_say(tmp_path: Path, office: Office) -> None:
    values = (0.0375, 3.2, 12.345, 123.45, 12345.6, 1e-5, 9876543210.0)
    page = Page("Numbers", [PrintedTable(("Name", "g"), [(f"n{v:g}", Figure(v)) for v in values], (5, 1), (1,))])
    built = build_pages("n", [page])
    text = squeezed(printed(built, tmp_path, office).pages[0].extract_text())
    assert "#" not in text
    for value in values:
        assert squeezed(Figure(value).text) in text
    rows = openpyxl.load_workbook(io.BytesIO(built)).worksheets[0].iter_rows(values_only=True)
    held = [cell for row in rows for cell in row]
    assert [value for value in held if isinstance(value, int | float)] == list(values)


def test_names_of_sheets() -> None:
    pages = [Page(title, []) for title in ("Plan", "plan", "A/B:[C]?*\\", "'", "x" * 40, "x" * 40, "")]
    names = sheet_names(pages)
    assert names == ["Plan", "plan 2", "A B  C", "Page", "x" * 31, "x" * 29 + " 2", "Page 2"]
    assert sheet_names([Page("Title", [], name="Own")]) == ["Own"]


# ----------------------------------------------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("block", "words"),
    [
        (PrintedTable(("A", "B"), [("x",)]), "row 1 of a table has 1 values under 2 headings"),
        (PrintedTable(("A", "B"), [], (1,)), "2 headings and other widths"),
        (PrintedTable(("A", "B"), [], (1, 0)), "widths that are none"),
        (PrintedTable((), []), "no headings"),
        (PrintedTable(("A",), [(math.nan,)]), "nan is no number for paper"),
        (PrintedTable(("A",), [(Figure(math.inf),)]), "inf is no number for paper"),
        (PrintedTable(("A",), [(10**400,)]), "is no number for paper"),
        (PrintedTable(("A",), [(True,)]), "True is no number for paper"),
        (Facts([("A", math.nan)]), "nan is no number for paper"),
        (PrintedTable(["A"] * 60, []), "too narrow"),
        (PrintedTable(("A", "B"), [], (100, 1)), "too narrow"),
        (PrintedTable(("A", "B"), [], groups=(("G", 1),)), "groups of a table cover other columns"),
        (TickTable(("A",), ["d"] * 60, []), "too narrow"),
        (TickTable(("A",), ["1", "2"], [TickRow(("x",), (2,))]), "days that its headings have not"),
        (Cards([], 0), "0 beside each other"),
        (Ticks(["a"], 7), "7 beside each other"),
    ],
)
def test_what_cannot_stand_on_paper_is_refused(block: Block, words: str) -> None:
    with pytest.raises(DataError, match=re.escape(words)):
        build_pages("x", [Page("P", [block])])
    with pytest.raises(DataError, match=re.escape(words)):
        build_pages("x", [Page("P", [Together([block])])])


def test_all_refusals_are_said_at_once() -> None:
    with pytest.raises(DataError) as caught:
        build_pages("x", [Page("P", [PrintedTable((), [])], "A3"), Page("Q", [], orientation="upright")])
    assert len(caught.value.faults) == 3
    with pytest.raises(DataError, match="no page"):
        build_pages("x", [])


def test_a_page_that_would_become_too_small_is_refused() -> None:
    page = Page("Long", [Paragraph(LONG)] * 80)
    with pytest.raises(DataError, match="let it take several"):
        build_pages("x", [page])
    assert one_page_scale(page) < 0.65
    assert one_page_scale(Page("Short", [Paragraph(LONG)])) == 1


# ------------------------------------------------------------------------------------------------------- breaks


@pytest.mark.parametrize("paper", list(PAPERS))
@pytest.mark.parametrize("turn", ["portrait", "landscape"])
def test_pages_print_as_laid_out(paper: str, turn: str, tmp_path: Path, office: Office) -> None:
    """As many pages as the breaks say, on the paper asked for, with every text on them."""
    page = Page("All kinds", sample(6), paper, turn, one_page=False)
    content = build_pages("x", [page])
    reader = printed(content, tmp_path, office)
    breaks = len(openpyxl.load_workbook(io.BytesIO(content)).active.row_breaks.brk)
    assert breaks >= 2
    assert len(reader.pages) == breaks + 1
    width, height, _ = PAPERS[paper]
    size = (width, height) if turn == "portrait" else (height, width)
    box = reader.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(size, abs=1)
    text = squeezed("".join(sheet.extract_text() for sheet in reader.pages))
    assert "###" not in text
    for wanted in texts(page.blocks):
        assert squeezed(wanted) in text


@pytest.mark.parametrize("paper", list(PAPERS))
def test_one_page_prints_on_one(paper: str, tmp_path: Path, office: Office) -> None:
    """Also where it has to be made smaller, and with a drawing as wide as the page."""
    blocks = [Paragraph(LONG) for _ in range(34)]
    assert one_page_scale(Page("Full", blocks, paper)) < 1
    drawn = [Drawing(fish_drawing(WORDS)), Heading("After")]
    pages = [Page("Full", blocks, paper), Page("Drawn", drawn, paper), Page("Flat", drawn, paper, "landscape", False)]
    assert len(printed(build_pages("x", pages), tmp_path, office).pages) == 3


def test_headings_of_a_table_stand_on_every_page_of_it(tmp_path: Path, office: Office) -> None:
    rows = [(f"row {number}", LONG) for number in range(60)]
    page = Page("Long table", [PrintedTable(("Name of row", "What it says"), rows)], one_page=False)
    reader = printed(build_pages("x", [page]), tmp_path, office)
    assert len(reader.pages) >= 3
    for sheet in reader.pages:
        assert "Name of row" in sheet.extract_text()
    last = [re.findall(r"row (\d+)", sheet.extract_text()) for sheet in reader.pages]
    assert [int(number) for numbers in last for number in numbers] == list(range(60))


def test_the_drawing_prints_in_black_on_white_with_room_to_mark(tmp_path: Path, office: Office) -> None:
    path = tmp_path / "drawing.xlsx"
    path.write_bytes(build_pages("x", [Page("Fish", [Drawing(fish_drawing(WORDS))], "A4", "landscape")]))
    (picture,) = office.render(path, tmp_path / "out", dpi=60)
    with Image.open(picture) as image:
        assert image.convert("HSV").split()[1].getextrema()[1] < 140  # ink is a dark grey, nothing is coloured
        grey = image.convert("L")
        width, height = grey.size
        body = grey.crop((int(0.05 * width), int(0.15 * height), int(0.5 * width), int(0.5 * height)))
    ink = sum(value < 128 for value in body.tobytes()) / (body.width * body.height)
    assert 0.005 < ink < 0.15  # drawn, and most of it is left white


def test_strokes_move_and_mirror() -> None:
    stroke = Stroke("M 0 0 L 10 0 C 1 2 3 4 5 6 Z")
    assert stroke.moved(100, 50).path == "M 100 50 L 110 50 C 101 52 103 54 105 56 Z"
    assert stroke.moved(0, 0, mirror=10).path == "M 10 0 L 0 0 C 9 2 7 4 5 6 Z"
    assert stroke.moved(0, 0, 2).path == "M 0 0 L 20 0 C 2 4 6 8 10 12 Z"
    assert Placed(fish_drawing(WORDS), 0, 0, 260).height == pytest.approx(106)  # 2600 x 1060 units


TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), max_size=300)
ROW = st.tuples(TEXT, st.one_of(TEXT, st.none(), st.builds(Figure, st.floats(-1e9, 1e9))))


@st.composite
def block(draw: st.DrawFn) -> Block:  # noqa: PLR0911 - one return for each kind
    kind: Any = draw(
        st.sampled_from((Heading, Paragraph, Caution, PrintedTable, TickTable, Ticks, Lines, Facts, Cards, PageBreak))
    )
    if kind is PageBreak:
        return PageBreak()
    if kind in (Heading, Paragraph, Caution):
        found: Block = kind(draw(TEXT))
        return found
    if kind is PrintedTable:
        return PrintedTable(("A", "B"), draw(st.lists(ROW, max_size=8)), (1, draw(st.floats(0.2, 5))))
    if kind is TickTable:
        return TickTable(("A",), ["1"] * draw(st.integers(0, 9)), [TickRow((draw(TEXT),))])
    if kind is Ticks:
        return Ticks(draw(st.lists(TEXT, max_size=5)), draw(st.integers(1, 3)))
    if kind is Lines:
        return Lines(draw(st.integers(1, 30)), draw(TEXT))
    if kind is Facts:
        return Facts(draw(st.lists(st.tuples(TEXT, TEXT), max_size=5)), draw(st.integers(1, 4)), draw(st.booleans()))
    line = st.tuples(TEXT, st.sampled_from(("title", "mass", "small")))
    cards = draw(st.lists(st.lists(line, max_size=4), max_size=7))
    return Cards([CutCard(tuple(card)) for card in cards], draw(st.integers(1, 3)))


@settings(max_examples=60, deadline=None)
@given(st.lists(block(), max_size=12), st.sampled_from(list(PAPERS)), st.sampled_from(("portrait", "landscape")))
def test_whatever_is_on_a_page_stays_within_it(blocks: list[Block], paper: str, turn: str) -> None:
    page = Page("Any", blocks, paper, turn, one_page=False)
    space = sized(page)
    whole = list(stacked(blocks, space.width))
    height, on_page = 0.0, []
    for band in [*paged(whole, space.height), Band(0, new_page=True)]:
        if band.new_page:
            assert height <= space.height + 1e-6
            height, on_page = 0.0, []
            continue
        height += band.height
        on_page.append(band)
        assert band.height <= 409.5
        for piece in band.pieces:
            assert -1e-6 <= piece.left < piece.right <= space.width + 1e-6
            held = [] if piece.is_number else broken(piece)
            assert len(held) * 8.5 <= max(band.height, 8.5)
    said = squeezed("".join(text_of(p.value) for b in paged(whole, space.height) for p in b.pieces))
    for text in (text_of(p.value) for b in whole for p in b.pieces):
        assert squeezed(text) in said
    grid = columns(whole, space.width)
    assert grid == sorted(set(grid))
    assert (grid[0], grid[-1]) == (0, space.width)
    build_pages("any", [page])


def test_a_heading_is_never_the_last_on_a_page() -> None:
    for count in range(1, 60):
        blocks: list[Block] = [*[Paragraph("x")] * count, Heading("Head"), Paragraph("Body")]
        page = Page("P", blocks, one_page=False)
        bands = list(paged(list(stacked(blocks, sized(page).width)), sized(page).height))
        for band, following in itertools.pairwise(bands):
            assert not (following.new_page and any(piece.value == "Head" for piece in band.pieces))


def test_what_is_kept_together_moves_to_the_next_page_as_one() -> None:
    kept = Together([Heading("Kept"), *[Paragraph(f"kept {number}") for number in range(5)]])
    page = Page("P", [*[Paragraph("x")] * 28, kept], one_page=False)
    space = sized(page)
    bands = list(paged(list(stacked(page.blocks, space.width)), space.height))
    (place,) = (number for number, band in enumerate(bands) if band.new_page)
    after = [text_of(piece.value) for band in bands[place:] for piece in band.pieces]
    assert after == ["Kept", *(f"kept {number}" for number in range(5))]


def test_text_has_less_room_than_its_cell() -> None:
    """Text is broken for the narrower of the two renderings: 5.25 of 5.55 points, less what a cell keeps free."""
    piece = BandPiece(0, 100, "x", "page_text")
    assert room(piece) == pytest.approx((100 - 4) * 5.25 / 5.55 - 6)
