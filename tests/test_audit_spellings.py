"""A name, a number and a person of another farm in every way that people and programs write them, in every column and
kind of file: found, or said to be unread; and what a person allows by name."""

from __future__ import annotations

import gzip
import io
import json
import os
import unicodedata
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pypdf
import pytest

from tests.support.commands import run
from tests.support.hostile import with_name
from tests.support.practices import MADE, practice
from tests.test_audit import chunk, png, small_rows
from workbook_tools.layout import case_log
from workbook_tools.layout.compute import Computed
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.producer.audit import audit
from workbook_tools.producer.copy import producer_copy
from workbook_tools.producer.forbidden import NAMES, evened
from workbook_tools.producer.locked import locked
from workbook_tools.producer.package_texts import package_texts
from workbook_tools.producer.pdf import pdf_of
from workbook_tools.producer.selection import LEADS

NAME, PERSON, NUMBER = "Meadow brook", "Inés Harrow", "0555 0117"
SPELLINGS: dict[str, str] = {
    "as typed": NAME,
    "capitals": NAME.upper(),
    "small letters": NAME.lower(),
    "underscore": "Meadow_brook",
    "hyphen": "Meadow-brook",
    "dash": "Meadow \u2013 brook",
    "two blanks": "Meadow  brook",
    "blank that does not break": "Meadow\u00a0brook",
    "thin blank": "Meadow\u2009brook",
    "end of line": "Meadow\nbrook",
    "tab": "Meadow\tbrook",
    "address": "https://example.invalid/Meadow%20brook",
    "form of an address": "Meadow+brook",
    "soft hyphen": "Mea\u00addow brook",
    "sign of no width": "Meadow\u200b br\u200book",
    "mark of direction": "Meadow\u200e brook",
    "entity": "Meadow&nbsp;brook",
    "entity by number": "Meadow&#32;brook",
    "accents": "Méadow brôok",
    "accents apart": unicodedata.normalize("NFD", "Méadow brôok"),
    "wide letters": "\uff2deadow brook",
    "one word": "MeadowBrook",
    "in a word": "info@meadowbrook.example",
    "dot": "Meadow.brook",
    "first word": "the trout of Meadow",
    "first word, possessive": "Meadow's trout",
    "surname": "says Harrow",
    "surname in capitals": "HARROW",
    "surname first": "Harrow, Inés",
    "person": PERSON,
    "person without accent": "Ines Harrow",
    "person with underscore": "ines_harrow",
    "number": NUMBER,
    "number in one": "05550117",
    "number with dots": "0555.01.17",
    "number in brackets": "(0555) 01-17",
    "number with a country": "+44 555 0117",
    "number with a country, both": "+44 (0)555 0117",
    "number from abroad": "0044 555 01 17",
    "number without its zero": "555 0117",
}
# what the audit says it does not see, and does not
STATED = {
    "misspelt": "Medow broke",
    "in pieces": "M e a d o w b r o o k",
    "short word of a name": "as Ine says",
}
FREE = [
    (key, column.key)
    for key in LEADS
    for column in case_log().tables[key].columns
    if column.typed and column.kind == "text" and not column.private and (key, column.key) not in NAMES
]


def rows_with(text: Callable[[int], str | None]) -> dict[str, list[dict[str, Any]]]:
    """The rows of a practice where every text column of S01's rows has a text of its own."""
    more: dict[str, list[dict[str, Any]]] = {
        "water": [{"reading": "W001", "visit": "V001", "vessel": "T01", "temperature": 12}],
        "baths": [{"bath": "B001", "visit": "V001", "vessel": "T01", "use": "anaesthesia", "species": "perch",
                   "agent": "tricaine methanesulfonate", "start_dose": 80}],
        "watch": [{"look": "L001", "bath": "B001", "time": 0.5}],
        "fish": [{"fish": "F001", "bath": "B001", "weight": 20}],
        "samples": [{"sample": "P001", "visit": "V001", "stock": "K01", "kind": "skin scrape"}],
        "follow_ups": [{"follow_up": "U001", "visit": "V001", "stock": "K01", "due": 46500}],
    }  # fmt: skip
    rows = small_rows(**more)
    rows["sites"][1] |= {"name": NAME, "contact": PERSON, "telephone": NUMBER}
    for number, (table, column) in enumerate(FREE):
        rows[table][0][column] = text(number)
    return rows


def marked(number: int) -> str:
    return f"qz{number}vx"


def around(spelling: str) -> Callable[[int], str]:
    return lambda number: f"{marked(number)} {spelling} {marked(number)}"


def test_every_spelling_is_found_in_every_column_of_a_copy() -> None:
    """40 spellings in all text columns of every sheet, in as many of them as a copy shows."""
    shown: set[int] = set()
    missed = []
    for label, spelling in SPELLINGS.items():
        computed = Computed(case_log(), rows_with(around(spelling)))
        content = producer_copy(computed, "S01", MADE).content
        hits = {(hit.part, hit.place) for hit in audit(content, computed, "S01") if hit.origin}
        for found in package_texts(content):
            there = [number for number in range(len(FREE)) if marked(number) in found.text]
            shown.update(there)
            missed += [(label, FREE[number], found.place) for number in there if (found.part, found.place) not in hits]
    assert len(SPELLINGS) >= 37
    assert len(shown) > 8, shown
    assert not missed, missed[:20]


def test_what_is_stated_not_to_be_seen_is_not() -> None:
    """So that the list of what is not searched is true."""
    for label, text in STATED.items():
        computed = Computed(case_log(), rows_with(around(text)))
        assert audit(producer_copy(computed, "S01", MADE).content, computed, "S01") == [], label


def one_sheet_each() -> bytes:
    """A workbook with a sheet for each spelling, by its number."""
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for number, spelling in enumerate(SPELLINGS.values()):
        sheet = book.create_sheet(f"n{number}")
        sheet["A1"] = f"It came from {spelling} in May."
        sheet.column_dimensions["A"].width = 80
    target = io.BytesIO()
    book.save(target)
    return target.getvalue()


@pytest.fixture
def log_file(tmp_path: Path) -> Path:
    path = tmp_path / "log.xlsx"
    path.write_bytes(build_log(case_log(), rows_with(lambda number: None), rows=12))
    return path


def hits_of(file: Path, log: Path, *more: str) -> list[dict[str, Any]]:
    done = run("audit", str(file), "--against", str(log), "--site", "S01", "--json", *more, code=1)
    found: list[dict[str, Any]] = json.loads(done.output)["hits"]
    return found


def test_every_spelling_is_found_in_a_locked_workbook(log_file: Path, tmp_path: Path) -> None:
    file, secret = tmp_path / "locked.xlsx", tmp_path / "secret.txt"
    file.write_bytes(locked(one_sheet_each(), "heron-lantern-72"))
    secret.write_text("heron-lantern-72", encoding="utf-8")
    places = {hit["place"].partition("!")[0] for hit in hits_of(file, log_file, "--password-file", str(secret))}
    assert places == {f"n{number}" for number in range(len(SPELLINGS))}
    refused = run("audit", str(file), "--against", str(log_file), "--site", "S01", code=2).output
    assert "is locked with a password" in refused


@pytest.mark.libreoffice
def test_every_spelling_is_found_in_a_pdf(log_file: Path, tmp_path: Path) -> None:
    """One page for each spelling."""
    file = tmp_path / "printed.pdf"
    file.write_bytes(pdf_of(one_sheet_each()))
    assert len(pypdf.PdfReader(file).pages) == len(SPELLINGS)
    places = {hit["place"] for hit in hits_of(file, log_file)}
    missed = [label for number, label in enumerate(SPELLINGS, start=1) if f"page {number}" not in places]
    assert not missed, missed


@pytest.mark.libreoffice
def test_the_pages_of_another_site_are_found_in_our_own_pdf() -> None:
    """Every mark of the other site that the pages show; a search of the bytes finds none of them."""
    made = practice(5)
    site, other = made.sites[:2]
    printed = pdf_of(producer_copy(made.computed(), other, MADE).content)
    pages = "".join("".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(printed)).pages)
    marks = [mark for mark in made.open_marks[other] if mark in pages]
    assert len(marks) >= 15
    said = " ".join(hit.text for hit in audit(printed, made.computed(), site))
    assert [mark for mark in marks if mark not in said] == []
    assert [str(hit) for hit in audit(printed, made.computed(), other)] == []


# ---------------------------------------------------------------------------------------------- what cannot be read


def pdf_with(change: Callable[[pypdf.PdfWriter], object]) -> bytes:
    writer = pypdf.PdfWriter()
    writer.add_blank_page(100, 100)
    change(writer)
    target = io.BytesIO()
    writer.write(target)
    return target.getvalue()


def packed(parts: dict[str, bytes]) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return target.getvalue()


UNREAD: dict[str, tuple[Callable[[], bytes], str]] = {
    "picture": (lambda: png(chunk(b"IDAT", b"x")), "a picture"),
    "photograph": (lambda: b"\xff\xd8\xff\xe0" + bytes(200), "a picture"),
    "packed file": (lambda: gzip.compress(NAME.encode()), "a packed file"),
    "old workbook": (
        lambda: b"\xd0\xcf\x11\xe0" + bytes(99) + "Workbook".encode("utf-16-le"),
        "is an old .xls workbook; save it as .xlsx.",
    ),
    "bytes of no kind": (lambda: bytes(range(256)) * 80, "neither a workbook nor a text nor a PDF"),
    "20 MB of mixed bytes": (lambda: os.urandom(20 << 20), "neither a workbook nor a text nor a PDF"),
    "rich text": (lambda: b"{\\rtf1 Mea\\-dow brook}", "a text document (.rtf)"),
    "mail with an attachment": (
        lambda: b"Subject: x\n\n" + (b"TWVhZG93IGJyb29r" * 4 + b"\n") * 9,
        "something attached",
    ),
    "PDF under a password": (lambda: pdf_with(lambda pdf: pdf.encrypt("x", algorithm="RC4-128")), "under a password"),
    "PDF with a file in it": (lambda: pdf_with(lambda pdf: pdf.add_attachment("a.txt", b"x")), "a file attached"),
    "PDF cut short": (lambda: pdf_with(lambda pdf: None)[:200], "cannot be read"),
    "PDF of nothing": (lambda: b"%PDF-1.7\n" + os.urandom(3000), "cannot be read"),
    "picture in a package": (lambda: packed({"a.xml": b"<a/>", "b.png": png()}), "b.png, whole part: a picture"),
    "packed file in a package": (lambda: packed({"a.xml": b"<a/>", "b.gz": gzip.compress(b"x")}), "a packed file"),
    "large part of no kind": (lambda: packed({"a.bin": b"\x00" + os.urandom(9 << 20)}), "8 MB that are no text"),
}


@pytest.mark.parametrize("kind", UNREAD)
def test_what_cannot_be_read_is_never_called_clean(kind: str, log_file: Path, tmp_path: Path) -> None:
    make, says = UNREAD[kind]
    file = tmp_path / "file"
    file.write_bytes(make())
    done = run("audit", str(file), "--against", str(log_file), "--site", "S01", code=2)
    assert says in done.output
    assert "None was found." not in done.output


def test_a_leak_beside_what_cannot_be_read_is_shown_with_it(log_file: Path, tmp_path: Path) -> None:
    file = tmp_path / "file.zip"
    file.write_bytes(packed({"a.xml": f"<a>{NAME}</a>".encode(), "b.png": png()}))
    said = run("audit", str(file), "--against", str(log_file), "--site", "S01", code=1).output
    assert f"a.xml, a: {NAME!r} is from Sites row 7, Site name" in said
    assert "b.png, whole part: a picture" in said
    assert said.endswith("1 found.\n")


def test_texts_of_every_encoding_and_markup_are_read(log_file: Path, tmp_path: Path) -> None:
    contents = (NAME.encode("utf-16"), b"Meadow\r\nbrook", b"<p>Mea<b>dow</b> brook</p>", PERSON.encode("cp1252"))
    for number, content in enumerate(contents):
        file = tmp_path / f"{number}.txt"
        file.write_bytes(content)
        assert hits_of(file, log_file)


# ---------------------------------------------------------------------------------------------- allowed by name


def test_a_hit_in_the_sites_own_text_stops_the_copy_until_it_is_allowed_by_name(tmp_path: Path) -> None:
    """The finding of S01 that names S02's farm, and a private note pasted under it."""
    rows = rows_with(lambda number: None)
    rows["visits"][0]["findings"] = "Fry from Meadow_Brook. Pays late, always in coins."
    rows["follow_ups"][0]["what"] = "count again"
    path, out = tmp_path / "log.xlsx", tmp_path / "copy.xlsx"
    path.write_bytes(build_log(case_log(), rows, rows=12))
    words = ("share", str(path), "--site", "S01", "--out", str(out))
    said = run(*words, code=2).output
    assert "'Meadow brook' is from Sites row 7, Site name (another site's)" in said
    assert "'Pays late, always in coins.' is from Sites row 6, Site notes (private)" in said
    assert "--allow" in said
    assert "'Meadow brook'" not in run(*words, "--allow", "meadow brook", code=2).output
    assert not out.exists()
    allow = ("--allow", "meadow brook", "--allow", "Pays late, always in coins.")
    done = run(*words, *allow, "--allow", "Nobody").output
    assert "Allowed by you: 'Meadow brook' (Sites row 7), in 1 place." in done
    assert "Allowed by you, and not found: 'Nobody'." in done
    assert "nothing of another site" not in done
    assert "No other text of these was found." in done
    checked = ("audit", str(out), "--against", str(path))
    assert "2 found." in run(*checked, code=1).output
    assert "Allowed by you: 'Meadow brook'" in run(*checked, *allow).output
    listed = json.loads(run(*checked, *allow, "--json").output)["allowed"]
    assert {hit["text"] for hit in listed} == {"Pays late, always in coins.", "Meadow brook"}


def test_what_could_act_cannot_be_allowed(tmp_path: Path, log_file: Path) -> None:
    file = tmp_path / "file.xlsx"
    file.write_bytes(with_name(b'DDE("soffice","x","y")'))
    (acting,) = [hit for hit in hits_of(file, log_file) if hit["origin"] is None]
    assert acting in hits_of(file, log_file, "--allow", acting["text"])


def test_words_that_anybody_writes_do_not_count_alone() -> None:
    """Of "Upper valley trout" and "Bo North" no word is a name alone; of "meadow brook", typed small, neither."""
    for name in ("Upper valley trout", "meadow brook"):
        rows = rows_with(lambda number: "upper gill, north pond, meadow grass")
        rows["sites"][1] |= {"name": name, "contact": "Bo North"}
        computed = Computed(case_log(), rows)
        assert audit(producer_copy(computed, "S01", MADE).content, computed, "S01") == []


def test_texts_are_made_alike() -> None:
    assert evened("Méadow\u00ad_brook\u200b\n–X&amp;Y") == "meadow brook x y"
    assert evened("12.5\u00a0mg/L, 2026-07-01 +1-800") == "12.5\u00a0mg l 2026-07-01 1-800"
