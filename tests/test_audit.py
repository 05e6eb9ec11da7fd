"""The leak audit: copies of generated practices hold nothing of other sites, and leaks of every kind are found."""

from __future__ import annotations

import datetime
import io
import json
import os
import struct
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.comments import Comment
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation

from tests.support.commands import run
from tests.support.leaks import CopyFigures, in_bytes, look_at_copies, raw_parts
from tests.support.office import Office
from tests.support.practices import MADE, practice
from workbook_tools.errors import FaultError, LeakError, ReadError
from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.layout import case_log
from workbook_tools.layout.compute import Computed
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.gate import Despite
from workbook_tools.producer import audit as auditing
from workbook_tools.producer.audit import Hit, audit, audit_content
from workbook_tools.producer.copy import producer_copy
from workbook_tools.producer.package_texts import package_texts
from workbook_tools.producer.row_marks import marks_in

PRACTICES = int(os.environ.get("WORKBOOK_TOOLS_PRACTICES", "40"))
DAY = serial(datetime.date(2026, 7, 1))
SECRET = "Ovenmoor tilapia house"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"


def small_rows(**more: list[dict[str, Any]]) -> dict[str, list[dict[str, Any]]]:
    """Two sites: S01 gets the copy, S02 and whatever is private may not be in it."""
    rows: dict[str, list[dict[str, Any]]] = {
        "sites": [
            {"site": "S01", "name": "Brindlewater farm", "kind": "farm", "food_fish": "yes", "contact": "Ada Fern",
             "telephone": "0555 0142", "notes": "Pays late, always in coins."},
            {"site": "S02", "name": SECRET, "kind": "farm", "food_fish": "yes", "contact": "Bo Reed",
             "telephone": "0555 0117", "notes": "New owner. Hesitant to spend on the biofilter. Ask for Bo."},
        ],
        "vessels": [
            {"vessel": "T01", "site": "S01", "name": "Raceway 1", "shape": "known volume", "known": 900},
            {"vessel": "T77", "site": "S02", "name": "Grow-out hall", "shape": "known volume", "known": 700},
        ],
        "stocks": [
            {"stock": "K01", "site": "S01", "vessel": "T01", "species": "perch", "food_fish": "yes", "number": 100,
             "mean_weight": 20, "notes": "yes"},
            {"stock": "K02", "site": "S02", "vessel": "T77", "species": "carp", "food_fish": "yes", "number": 90,
             "mean_weight": 500, "notes": "yes"},
        ],
        "visits": [
            {"visit": "V001", "date": DAY, "site": "S01", "findings": "Gills pale.", "notes": "Owner was out."},
            {"visit": "V002", "date": DAY, "site": "S02", "findings": "Flukes on every gill\nand torn fins"},
        ],
        "treatments": [
            {"treatment": "R001", "visit": "V001", "stock": "K01", "route": "bath", "first": DAY, "days": 1,
             "agent": "chloramine-T, warm water finfish", "dose": 20, "lot": "00318", "notes": "Cheapest on the list"},
            {"treatment": "R002", "visit": "V002", "stock": "K02", "route": "bath", "first": DAY, "days": 1,
             "agent": "chloramine-T, warm water finfish", "dose": 20, "lot": "0552B"},
        ],
        "losses": [{"day": "D0001", "date": DAY, "stock": "K01", "dead": 3, "temperature": 12.5, "oxygen": 9}],
        "stores": [
            {"lot": "00318", "item": "chloramine-T", "unit": "g", "received": 500, "place": "green cupboard"},
            {"lot": "0552B", "item": "chloramine-T", "unit": "g", "received": 500, "notes": "smells odd"},
        ],
    }  # fmt: skip
    for table, added in more.items():
        rows[table] = rows.get(table, []) + added
    return rows


def log(**more: list[dict[str, Any]]) -> Computed:
    return Computed(case_log(), small_rows(**more))


@pytest.fixture(scope="module")
def clean() -> bytes:
    """A copy for S01 with nothing wrong in it."""
    return producer_copy(log(), "S01", MADE).content


# ------------------------------------------------------------------------------------------- generated practices


@pytest.mark.parametrize("seed", range(PRACTICES))
def test_a_copy_holds_nothing_of_any_other_site(seed: int) -> None:
    """Set WORKBOOK_TOOLS_PRACTICES for more practices than 40."""
    figures = CopyFigures()
    look_at_copies(practice(seed), seed, figures)
    assert figures.leaks == []
    assert figures.copies >= 2
    assert figures.marks > 20


def test_the_marks_of_a_practice_are_found_in_the_log_itself() -> None:
    """So that a search which finds none in a copy has looked for the right thing."""
    made = practice(3)
    raw = raw_parts(build_log(case_log(), made.rows, rows=12))
    site = made.sites[0]
    assert all(in_bytes(mark, raw) for mark in made.marks_not_for(site))


def test_the_audit_finds_every_mark_of_a_practice_in_the_log_itself() -> None:
    made = practice(5)
    site = made.sites[0]
    said = " ".join(hit.text for hit in audit(build_log(case_log(), made.rows, rows=12), made.computed(), site))
    assert [mark for mark in made.marks_not_for(site) if mark not in said] == []


# ------------------------------------------------------------------------------------------------- seeded leaks


def edited(content: bytes, change: Callable[[openpyxl.Workbook], None]) -> bytes:
    book = openpyxl.load_workbook(io.BytesIO(content))
    change(book)
    target = io.BytesIO()
    book.save(target)
    return target.getvalue()


def rewritten(content: bytes, parts: dict[str, bytes], comment: bytes = b"") -> bytes:
    """The package with parts added or replaced."""
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as source, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as out:
        for entry in source.infolist():
            if entry.filename not in parts:
                out.writestr(entry, source.read(entry))
        for name, part in parts.items():
            out.writestr(name, part)
        out.comment = comment
    return target.getvalue()


def part(content: bytes, name: str) -> bytes:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return archive.read(name)


def chart_name(content: bytes) -> str:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return next(name for name in archive.namelist() if name.startswith("xl/charts/chart"))


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(*chunks: bytes) -> bytes:
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)) + b"".join(chunks)


def with_extra(content: bytes) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as source, zipfile.ZipFile(target, "w") as out:
        for number, entry in enumerate(source.infolist()):
            held = source.read(entry)
            if not number:
                data = SECRET.encode()
                entry.extra = struct.pack("<HH", 0xCAFE, len(data)) + data
            out.writestr(entry, held)
    return target.getvalue()


def with_entry_comment(content: bytes) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as source, zipfile.ZipFile(target, "w") as out:
        for entry in source.infolist():
            held = source.read(entry)
            entry.comment = SECRET.encode()
            out.writestr(entry, held)
    return target.getvalue()


def with_sheet(content: bytes, state: str) -> bytes:
    def change(book: openpyxl.Workbook) -> None:
        sheet = book.create_sheet("More")
        sheet["B3"] = f"see {SECRET.upper()}!"
        sheet.sheet_state = state

    return edited(content, change)


def with_rule(content: bytes) -> bytes:
    def change(book: openpyxl.Workbook) -> None:
        rule = DataValidation(type="list", formula1=f'"a,{SECRET}"')
        rule.add("K3")
        book.worksheets[0].add_data_validation(rule)

    return edited(content, change)


def with_prompt(content: bytes) -> bytes:
    def change(book: openpyxl.Workbook) -> None:
        rule = DataValidation(type=None, prompt=f"as at {SECRET}")
        rule.add("K3")
        book.worksheets[0].add_data_validation(rule)

    return edited(content, change)


def with_name(content: bytes) -> bytes:
    def change(book: openpyxl.Workbook) -> None:
        book.defined_names["place"] = DefinedName("place", attr_text=f'"{SECRET}"')

    return edited(content, change)


def with_comment(content: bytes) -> bytes:
    def change(book: openpyxl.Workbook) -> None:
        book.worksheets[0]["A1"].comment = Comment(f"as at {SECRET}", "someone")

    return edited(content, change)


def with_author(content: bytes) -> bytes:
    def change(book: openpyxl.Workbook) -> None:
        book.worksheets[0]["A1"].comment = Comment("nothing", SECRET)

    return edited(content, change)


def with_footer(content: bytes) -> bytes:
    def change(book: openpyxl.Workbook) -> None:
        book.worksheets[0].oddHeader.left.text = SECRET

    return edited(content, change)


def with_property(content: bytes) -> bytes:
    def change(book: openpyxl.Workbook) -> None:
        book.properties.keywords = SECRET

    return edited(content, change)


def with_link(content: bytes) -> bytes:
    def change(book: openpyxl.Workbook) -> None:
        book.worksheets[0]["A1"].hyperlink = f"https://example.invalid/{SECRET.replace(' ', '%20')}"
        book.worksheets[0]["A1"].hyperlink.tooltip = SECRET

    return edited(content, change)


def in_chart(content: bytes) -> bytes:
    name = chart_name(content)
    return rewritten(content, {name: part(content, name).replace(b"2026-07-01", SECRET.encode(), 1)})


def in_runs(content: bytes) -> bytes:
    """A text in pieces, as rich text has it."""
    runs = b"<si><r><t>Oven</t></r><r><t>moor til</t></r><r><t>apia house</t></r></si></sst>"
    held = part(content, "xl/sharedStrings.xml").replace(b"</sst>", runs)
    return rewritten(content, {"xl/sharedStrings.xml": held})


PIVOT = (
    f'<pivotCacheDefinition xmlns="{MAIN}"><cacheFields><cacheField name="Site"><sharedItems>'
    f'<s v="{SECRET}"/></sharedItems></cacheField></cacheFields></pivotCacheDefinition>'
).encode()
LEAKS: dict[str, Callable[[bytes], bytes]] = {
    "cell": lambda c: with_sheet(c, "visible"),
    "hidden sheet": lambda c: with_sheet(c, "hidden"),
    "very hidden sheet": lambda c: with_sheet(c, "veryHidden"),
    "rich text in pieces": in_runs,
    "comment": with_comment,
    "author of a comment": with_author,
    "defined name": with_name,
    "rule": with_rule,
    "message of a rule": with_prompt,
    "header": with_footer,
    "property": with_property,
    "tooltip of a link": with_link,
    "chart cache": in_chart,
    "pivot cache": lambda c: rewritten(c, {"xl/pivotCache/pivotCacheDefinition1.xml": PIVOT}),
    "custom part": lambda c: rewritten(c, {"customXml/item1.xml": f"<a b='{SECRET}'/>".encode()}),
    "UTF-16 part": lambda c: rewritten(
        c, {"customXml/item1.xml": f'<?xml version="1.0" encoding="UTF-16"?><a>{SECRET}</a>'.encode("utf-16")}
    ),
    "comment of the XML": lambda c: rewritten(c, {"customXml/item1.xml": f"<a><!-- {SECRET} --></a>".encode()}),
    "instruction of the XML": lambda c: rewritten(c, {"customXml/item1.xml": f"<a><?x {SECRET}?></a>".encode()}),
    "character references": lambda c: rewritten(
        c, {"customXml/item1.xml": b"<a>" + "".join(f"&#{ord(x)};" for x in SECRET).encode() + b"</a>"}
    ),
    "broken XML": lambda c: rewritten(c, {"customXml/item1.xml": f"<a>{SECRET}</b>".encode()}),
    "picture": lambda c: rewritten(c, {"docProps/thumbnail.png": png(chunk(b"tEXt", b"Title\0" + SECRET.encode()))}),
    "compressed text of a picture": lambda c: rewritten(
        c, {"xl/media/image1.png": png(chunk(b"zTXt", b"Title\0\0" + zlib.compress(SECRET.encode())))}
    ),
    "UTF-16 in bytes": lambda c: rewritten(c, {"xl/vba.bin": b"\x01\x02\x03" + SECRET.encode("utf-16-le") + b"\x00"}),
    "UTF-16, other order": lambda c: rewritten(c, {"xl/vba.bin": b"\x01" + SECRET.encode("utf-16-be") + b"\x00"}),
    "printer settings": lambda c: rewritten(
        c, {"xl/printerSettings/printerSettings1.bin": ("\\\\" + SECRET).encode("utf-16-le") + bytes(64)}
    ),
    "workbook in the workbook": lambda c: rewritten(c, {"xl/embeddings/inner.xlsx": with_sheet(c, "hidden")}),
    "name of a part": lambda c: rewritten(c, {f"customXml/{SECRET}.xml": b"<a/>"}),
    "comment of the zip": lambda c: rewritten(c, {}, SECRET.encode()),
    "comment of an entry": with_entry_comment,
    "extra field of an entry": with_extra,
    "bytes before the zip": lambda c: SECRET.encode() + b"\n" + c,
    "inside a word": lambda c: rewritten(c, {"customXml/item1.xml": f"<a>xx{SECRET}xx</a>".encode()}),
    "bytes after the zip": lambda c: c + SECRET.encode(),
}


@pytest.mark.parametrize("kind", LEAKS)
def test_a_leak_of_every_kind_is_found(kind: str, clean: bytes) -> None:
    assert audit(clean, log(), "S01") == []
    hits = audit(LEAKS[kind](clean), log(), "S01")
    found = [hit for hit in hits if hit.text == SECRET]
    assert found, hits
    assert found[0].origin is not None
    assert str(found[0].origin) == "Sites row 7, Site name (another site's)"


def test_an_edit_with_nothing_in_it_is_no_leak(clean: bytes) -> None:
    """The way in which the leaks above were put in is none by itself."""
    assert audit(edited(clean, lambda book: None), log(), "S01") == []
    assert audit(rewritten(clean, {"customXml/item1.xml": b"<a/>"}), log(), "S01") == []
    (said,) = audit(rewritten(clean, {"x.png": png()}), log(), "S01")
    assert (said.part, said.unread) == ("x.png", True)


def test_a_leak_in_a_cell_is_named_with_its_cell(clean: bytes) -> None:
    (hit,) = audit(with_sheet(clean, "hidden"), log(), "S01")
    assert hit.place == "more!B3"
    assert hit.as_dict()["origin"] == {"sheet": "Sites", "row": 7, "column": "Site name", "why": "another site's"}


@pytest.mark.parametrize(
    ("text", "column"),
    [
        ("Bo Reed", "Contact"),
        ("0555 0117", "Telephone"),
        ("call 05550117 now", "Telephone"),
        ("0555-01 17", "Telephone"),
        ("T77", "Vessel"),
        ("from K02 to S02", "Stock"),
        ("Pays late, always in coins.", "Site notes"),
        ("hesitant to  spend on the BIOFILTER.", "Site notes"),
        ("0552B", "Treatment lot"),
        ("smells odd", "Store notes"),
        ("in the green cupboard", "Where kept"),
        ("Cheapest on the list", "Treatment notes"),
        ("Owner was out.", "Private notes"),
        ("flukes on every gill", "Findings in a sentence"),
        ("V002", "Visit"),
        ("Ovenmoor", "Site name"),
        ("as Mr Reed says", "Contact"),
    ],
)
def test_names_telephones_notes_and_lots_are_found(text: str, column: str, clean: bytes) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book.create_sheet("More")["A1"] = text

    hits = audit(edited(clean, change), log(), "S01")
    assert column in {hit.origin.column for hit in hits if hit.origin}


@pytest.mark.parametrize(
    "text",
    ["T01", "K01", "yes", "00318", "Raceway 1", "carp", "0555 0142", "T770", "xT77", "90", "700 L", "2026-07-01",
     "Reeds of Bo", "house", 90.0, 700],
)  # fmt: skip
def test_what_is_the_sites_own_or_says_nothing_is_no_leak(text: object, clean: bytes) -> None:
    """Own names, list words, the lot that the site used, longer words, dates, numbers typed for other sites."""

    def change(book: openpyxl.Workbook) -> None:
        book.create_sheet("More")["A1"] = text

    assert audit(edited(clean, change), log(), "S01") == []


def test_a_cells_address_is_not_a_tank(clean: bytes) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book.worksheets[0]["T77"] = 5
        book.worksheets[0]["A99"] = "=T77*2"

    assert audit(edited(clean, change), log(), "S01") == []


def test_anothers_name_is_a_leak_inside_the_sites_own_note_too() -> None:
    note = f"Fry came from {SECRET} in spring."
    visit = {"visit": "V003", "date": DAY, "site": "S01", "findings": note}
    computed = log(visits=[visit])
    copy = producer_copy(computed, "S01", MADE).content
    assert note in {found.text for found in package_texts(copy)}
    (hit,) = audit(copy, computed, "S01")
    assert (hit.text, hit.place) == (SECRET, "what we found!C13")
    assert len(audit(with_sheet(copy, "visible"), computed, "S01")) == 2


def test_a_sentence_of_the_sites_own_excuses_a_like_one_of_another_site_and_ids_but_nothing_private() -> None:
    """Two farms with pale gills; "T77" is no name; what is private of two words or more is told even so."""
    other = {"visit": "V004", "date": DAY, "site": "S02", "findings": "Gills pale.", "notes": "Moved to T77"}
    own = other | {"visit": "V005", "site": "S01", "notes": None}
    own["findings"] = "Gills pale. Fish moved to T77. Pays late, always in coins."
    computed = log(visits=[other, own])
    hits = audit(producer_copy(computed, "S01", MADE).content, computed, "S01")
    assert {hit.text for hit in hits} == {"Moved to T77", "Pays late, always in coins."}


def test_rows_that_lead_to_two_sites_are_nobodys_and_said() -> None:
    sample = {"sample": "P001", "visit": "V001", "stock": "K02", "kind": "blood", "found": "secret worm"}
    computed = log(samples=[sample])
    copy = producer_copy(computed, "S01", MADE)
    assert copy.remarks == ("Samples row 6 leads to more than one site: it is left out of the copy.",)
    assert not in_bytes("secret worm", raw_parts(copy.content))
    assert audit(copy.content, computed, "S01") == []
    assert not in_bytes("secret worm", raw_parts(producer_copy(computed, "S02", MADE).content))


def test_a_group_in_another_sites_tank_shows_neither_its_name_nor_an_amount_from_its_water() -> None:
    stock = {"stock": "K09", "site": "S01", "vessel": "T77", "species": "carp", "food_fish": "no", "number": 5}
    treatment = small_rows()["treatments"][0] | {"treatment": "R009", "stock": "K09", "first": DAY + 90}
    computed = log(stocks=[stock], treatments=[treatment])
    copy = producer_copy(computed, "S01", MADE)
    raw = raw_parts(copy.content)
    assert not in_bytes("Grow-out hall", raw)
    assert not in_bytes("T77", raw)
    assert in_bytes("The log has no amount for this treatment", raw)
    assert audit(copy.content, computed, "S01") == []


def test_no_name_of_another_site_is_found_in_the_marks_of_the_pages() -> None:
    """Every mark of a copy could be the name of another site's fish; none of them is taken for one."""
    copy = producer_copy(log(), "S01", MADE).content
    found = {one.text for one in package_texts(copy) if one.place.startswith("about this copy!B")}
    marks = {mark for text in found for mark in marks_in(text)}
    assert len(marks) > 40
    bath = {"bath": "B001", "visit": "V002", "vessel": "T77"}
    computed = log(baths=[bath], fish=[{"fish": mark.upper(), "bath": "B001"} for mark in marks])
    assert audit(copy, computed, "S01") == []


@pytest.mark.parametrize("table", ["vessels", "stocks", "visits", "treatments"])
def test_names_that_stand_for_two_rows_are_refused(table: str) -> None:
    again = dict(small_rows()[table][0])
    with pytest.raises(FaultError, match="is already used in row"):
        producer_copy(log(**{table: [again]}), "S01", MADE)


def test_no_reason_lets_a_name_pass_that_another_site_has_too() -> None:
    again = dict(small_rows()["vessels"][0]) | {"site": "S02"}
    with pytest.raises(ReadError, match="stand for more than one row"):
        producer_copy(log(vessels=[again]), "S01", MADE, overrides=[Despite("T01", "it is the large one")])


def test_an_entry_outside_the_directory_is_said(clean: bytes) -> None:
    hidden = io.BytesIO()
    with zipfile.ZipFile(hidden, "w") as archive:
        archive.writestr("a", b"x")
        archive.writestr("b", b"y")
    assert [hit.text for hit in audit(hidden.getvalue() + clean, log(), "S01")] == [
        "an entry that the zip's directory does not list"
    ]


# ----------------------------------------------------------------------------------------------- other programs


def test_a_copy_that_other_programs_saved_has_no_hits(clean: bytes, office: Office, tmp_path: Path) -> None:
    path = tmp_path / "copy.xlsx"
    path.write_bytes(clean)
    saved = office.convert(path, tmp_path / "saved.xlsx", "xlsx")
    assert audit(saved.read_bytes(), log(), "S01") == []
    assert audit(edited(clean, lambda book: None), log(), "S01") == []
    leaking = office.type_into(path, {"Daily sheet": {"I5": f"from {SECRET}"}}, tmp_path / "leak.xlsx")
    assert {hit.text for hit in audit(leaking.read_bytes(), log(), "S01")} == {SECRET}


# ------------------------------------------------------------------------------------------------------ commands


def files(tmp_path: Path) -> tuple[Path, Path]:
    path = tmp_path / "log.xlsx"
    path.write_bytes(build_log(case_log(), small_rows(), rows=12))
    return path, tmp_path / "copy.xlsx"


def test_the_command_looks_through_a_file(tmp_path: Path) -> None:
    path, out = files(tmp_path)
    run("share", str(path), "--site", "S01", "--out", str(out))
    said = run("audit", str(out), "--against", str(path)).output
    assert said.startswith("Searched for site S01: its letters and numbers for the names")
    assert said.endswith("None was found.\n")
    out.write_bytes(with_sheet(out.read_bytes(), "hidden"))
    done = run("audit", str(out), "--against", str(path), "--json", code=1)
    (hit,) = json.loads(done.output)["hits"]
    assert (hit["place"], hit["text"], hit["origin"]["column"]) == ("more!B3", SECRET, "Site name")
    assert run("audit", str(out), "--against", str(path), "--site", "S02", code=1).output.count("Brindlewater farm")
    assert (
        "which the log does not have" in run("audit", str(out), "--against", str(path), "--site", "S9", code=2).output
    )
    assert "does not say which site" in run("audit", str(path), "--against", str(path), code=2).output
    assert "1 found." in run("audit", str(out), "--against", str(path), code=1).output


def test_any_file_is_looked_through(tmp_path: Path) -> None:
    site, hits = audit_content(f"Dear Bo Reed, at {SECRET}".encode(), log(), "S01", "letter.txt")
    assert site == "S01"
    assert {hit.text for hit in hits} == {"Bo Reed", SECRET}


def test_a_leak_stops_the_copy_and_nothing_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, out = files(tmp_path)
    hit = Hit("xl/sharedStrings.xml", "What we found!A1", SECRET, None)
    monkeypatch.setattr(auditing, "audit", lambda *_: [hit])
    done = run("share", str(path), "--site", "S01", "--out", str(out), "--pdf", code=2)
    assert "was not written" in done.output
    assert SECRET in done.output
    assert {entry.name for entry in tmp_path.iterdir()} == {"log.xlsx"}
    assert issubclass(LeakError, ValueError)


@pytest.mark.parametrize(
    ("cell", "found"),
    [
        ("4000", 1),
        ("of 4000 here", 1),
        ("of 4000 L", 1),
        ("of 4000\N{NO-BREAK SPACE}L", 0),
        ("\N{NO-BREAK SPACE}4000 fish", 0),
        ("of 4000.5", 0),
        ("of 14000", 0),
        ("on 4000-01-02", 0),
    ],
)
def test_a_figure_joined_to_its_unit_is_not_anothers_number(cell: str, found: int, clean: bytes) -> None:
    """The pages join a figure and its unit by a space that does not break: the 4000 L of a tank are no sample 4000."""
    samples = [{"sample": "P001", "visit": "V002", "kind": "whole fish", "number": "4000"}]

    def put(book: openpyxl.Workbook) -> None:
        book["What we found"]["A60"] = cell

    hits = audit(edited(clean, put), log(samples=samples), "S01")
    assert [hit.text for hit in hits] == ["4000"] * found
