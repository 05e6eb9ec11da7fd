"""The three people of tests/first_hour.py, step by step."""

from __future__ import annotations

import datetime
import json
import os
import shutil
import sys
from pathlib import Path
from typing import Any

from openpyxl import load_workbook

from tests.hosts.profile import new_profile
from tests.prepare import ROOT, office
from tests.support import first_visit as visit
from tests.support import packages
from tests.support.office import Office
from tests.support.walk import Machine, Values, View, Walk, errors_in, expect, near, picture

READY = ROOT / "templates" / "ready"
LOG, COPY, PLAN, RETURNED = "My practice.xlsx", "For Alder springs.xlsx", "Next visit.xlsx", "From Alder springs.xlsx"
EPOCH = datetime.date(1899, 12, 30)


def pdf_text(machine: Machine, pdf: str) -> str:
    """The words of a PDF, on one line."""
    program = office(install=False).pdftoppm.with_name("pdftotext")
    return " ".join(machine.run(program, pdf, "-").split())


class VetWithPython:
    """Installs the wheel, makes a log, types a visit, looks at what it gives, shares a copy."""

    def __init__(self, walk: Walk, folder: Path, pictures: Path, python: Path) -> None:
        self.walk, self.pictures, self.base = walk, pictures, python
        self.machine = Machine(folder)
        self.folder = folder
        self.program = Path()

    def all(self) -> None:
        """Every step."""
        self.install()
        self.empty_log()
        with Office() as running:
            self.whole_visit(running)
        self.questions()
        self.share()
        with Office() as running:
            self.look(running)

    def command(self, *words: str, code: int = 0) -> str:
        """What a command of ours printed."""
        return self.machine.run(self.program, *words, code=code)

    def install(self) -> None:
        """The wheel with its extras, in an empty environment."""
        built = self.folder / "built"
        built.mkdir()
        _, wheel = packages.build(Path(sys.executable), built)
        here = self.folder / "environment"
        self.machine.run(self.base, "-m", "venv", here)
        python = here / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
        self.machine.run(python, "-m", "pip", "install", "-q", f"{wheel}[share,insight]")
        self.program = python.with_name("workbook-tools")
        version = self.command("--version")
        expect(packages.VERSION in version, version, "the version that the package says")
        self.walk.saw(f"pip install {wheel.name}[share,insight]", version)

    def empty_log(self) -> None:
        """What a log says before anything is typed."""
        self.walk.saw("new log", self.command("new", "log", LOG))
        self.walk.saw("check of the empty log", self.command("check", LOG))
        for words in (("card", LOG), ("plan", LOG)):
            said = self.command(*words, code=2)
            expect("no bath" in said and "Baths" in said, said, "say that there is no bath yet and where to type it")
            self.walk.saw(f"{words[0]} of the empty log", said)
        said = self.command("summary", LOG)
        expect(len(said.splitlines()) < 8, said, "one sentence instead of empty tables")
        self.walk.saw("summary of the empty log", said.splitlines()[0])

    def whole_visit(self, running: Office) -> None:
        """Types the visit into the log through LibreOffice and saves it over the log."""
        typed = visit.texts()
        saved = self.folder / "saved.xlsx"
        running.type_into(self.folder / LOG, typed, saved)
        shutil.move(saved, self.folder / LOG)
        cells = sum(len(part) for part in typed.values())
        values = running.values(self.folder / LOG)
        expect(not errors_in(values), f"cells with errors: {errors_in(values)[:5]}", "their formulas")
        self.walk.saw("a whole visit typed in LibreOffice", f"{cells} cells on {len(typed)} sheets, no error shown")
        self.sheets(values)

    def sheets(self, values: Values) -> None:
        """The sheets' answers against those worked out by hand."""
        wanted = [
            ("vessels", "volume", 0, visit.ROUND_TANK), ("vessels", "volume", 1, visit.TUB),
            ("baths", "drug", 0, visit.DRUG), ("baths", "buffer", 0, visit.BUFFER),
            ("baths", "drug", 1, visit.NEXT_DRUG), ("baths", "buffer", 1, visit.NEXT_BUFFER),
            ("watch", "rate", 0, visit.BREATHS), ("stocks", "biomass", 0, visit.BIOMASS),
            ("stocks", "density", 0, visit.DENSITY), ("treatments", "grams", 0, visit.TREATMENT),
            ("treatments", "total_grams", 0, visit.TREATMENT_IN_ALL), ("samples", "mean", 0, visit.PER_FIELD),
            ("treatments", "release", 0, float((visit.release() - EPOCH).days)),
            *(("fish", "seconds_to_working", row, visit.WORKING) for row in range(3)),
            *(("fish", "seconds_to_recovery", row, visit.RECOVERY) for row in range(3)),
            *(("stores", "balance", row, amount) for row, amount in enumerate(visit.LEFT.values())),
        ]  # fmt: skip
        for key, column, row, by_hand in wanted:
            place = visit.cell(key, column, row)
            sheet = visit.case_log().tables[key].sheet
            shown = values[sheet].get(place)
            # a time of day is held to about a microsecond
            close = isinstance(shown, float) and column.startswith("seconds") and abs(shown - by_hand) < 1e-3
            if not close:
                near(shown, by_hand, f"{sheet}!{place} ({column})", f"the column {column} of {sheet}")
        self.walk.saw(
            "answers beside what was typed", f"{len(wanted)} as worked out by hand, doses and masses among them"
        )

    def questions(self) -> None:
        """What the commands say of the visit."""
        self.walk.saw("check", self.command("check", LOG))
        card = json.loads(self.command("card", LOG, "--json"))
        start = card["packets"][0]
        near(start["drug g"], visit.NEXT_DRUG, "drug of the start packet", "the bench card")
        near(start["buffer g"], visit.NEXT_BUFFER, "buffer of the start packet", "the bench card")
        near(card["packets"][1]["drug g"], visit.TOP_UP, "drug of a top-up packet", "the bench card")
        self.walk.saw("card", f"bath {card['bath']}, start packet {start['drug g']:g} g and {start['buffer g']:g} g")
        said = self.command("plan", LOG, "--out", PLAN)
        expect("Scrape the gills again" in said, said[-800:], "the follow-up that is due belongs to the plan")
        self.walk.saw("plan", said.splitlines()[-1])
        said = self.command("responses", LOG)
        expect("too few fish" in said and "3 fish" in said, said[-800:], "three fish are too few for a suggestion")
        self.walk.saw("responses", "no dose suggested: three fish are too few")

    def share(self) -> None:
        """The copy for the producer and its PDF."""
        said = self.command("share", LOG, "--site", "S001", "--out", COPY, "--pdf")
        pdf = COPY.replace(".xlsx", ".pdf")
        expect((self.folder / pdf).is_file(), said, "share --pdf where LibreOffice is on the path")
        words = pdf_text(self.machine, pdf)
        for wanted in ("37.50 g", f"{visit.release():%Y-%m-%d}", visit.SITE_NAMES[0]):
            expect(wanted in words, f"the PDF does not say {wanted!r}: {words[:1500]}", "the producer's pages")
        for never in (visit.SITE_NAMES[1], "Tom Reed", visit.PRIVATE):
            expect(never not in words, f"the PDF says {never!r}", "the producer's pages")
        self.walk.saw("share --pdf", f"release {visit.release()}, 37.50 g a day, nothing of the other site")
        self.walk.saw("audit", self.command("audit", COPY, "--against", LOG))

    def look(self, running: Office) -> None:
        """Pictures of what the vet sees."""
        scratch = self.folder / "scratch"
        scratch.mkdir()
        views = [
            (LOG, View("vet-start", "Start", ("A", "B", "C", "D"), 40)),
            (LOG, View("vet-baths", "Baths", ("A", "B", "C", "D", "E", "F", "G", "H", "I"), 9)),
            (PLAN, View("vet-labels", self.sheet(PLAN, "Labels"))),
            (COPY, View("producer-give", self.sheet(COPY, "What to give"))),
            (COPY, View("producer-release", self.sheet(COPY, "When fish may"))),
        ]
        for file, view in views:
            made = picture(running, self.folder / file, view, self.pictures, scratch)
            self.walk.saw("picture", f"{made.name}, {made.stat().st_size / 1000:.0f} kB")

    def sheet(self, file: str, beginning: str) -> str:
        """Name of the first sheet whose name begins so."""
        names = load_workbook(self.folder / file, read_only=True).sheetnames
        return next(name for name in names if name.startswith(beginning))


class VetWithSpreadsheet:
    """Takes the ready-made files and the extension; nothing of ours that runs in Python outside LibreOffice."""

    def __init__(self, walk: Walk, folder: Path, pictures: Path) -> None:
        self.walk, self.pictures, self.folder = walk, pictures, folder
        self.machine = Machine(folder)
        self.profile = new_profile(folder)

    def all(self) -> None:
        """Every step."""
        for name in ("case-log.xlsx", "bench.xlsx", "functions.oxt"):
            shutil.copy(READY / name, self.folder / name)
        self.extension()
        with Office(self.profile.folder, self.profile.environment) as running:
            self.functions(running)
            self.log(running)
            self.bench(running)

    def extension(self) -> None:
        """Hand the extension to LibreOffice, in a profile of its own."""
        program = office(install=False).soffice.resolve().with_name("unopkg")
        words: list[str | Path] = [program, "add", "--suppress-license"]
        words += ["--shared"] if self.profile.shared else []
        words += [f"-env:UserInstallation={self.profile.folder.as_uri()}", "functions.oxt"]
        self.machine.run(*words, more=self.profile.environment, mend="templates/ready/functions.oxt")
        self.walk.saw("functions.oxt handed to LibreOffice", "taken")

    def functions(self, running: Office) -> None:
        """Functions typed into a new sheet, as a person types them."""
        from tests.support.plain_workbook import SHEET, write

        empty, typed = self.folder / "new.xlsx", self.folder / "typed.xlsx"
        write(empty, {"A1": None})
        wanted = {
            "B1": ("=BATH.MASS(40;80)", 3.2),  # 40 L x 80 mg/L = 3,200 mg
            "B2": ("=BATH.BUFFER(3.2;2)", 6.4),  # twice the drug
            "B3": ("=VESSEL.ROUND(2;0.8)", visit.ROUND_TANK),
            "B4": ("=STAGE.RATE(20;15)", 80.0),  # 20 in 15 s is 80 in 60 s
        }
        running.type_into(empty, {SHEET: {place: text for place, (text, _) in wanted.items()}}, typed)
        found = running.values(typed)[SHEET]
        for place, (text, by_hand) in wanted.items():
            near(found.get(place), by_hand, text, "the function in LibreOffice")
        self.walk.saw(
            "functions typed in a new sheet", ", ".join(f"{text} {value:g}" for text, value in wanted.values())
        )

    def log(self, running: Office) -> None:
        """A bath typed into the ready-made log: the masses stand beside it."""
        rows = {key: visit.rows()[key] for key in ("sites", "vessels", "visits")}
        typed = {sheet: cells for sheet, cells in visit.texts().items() if sheet in ("Sites", "Vessels", "Visits")}
        bath = visit.rows()["baths"][0]
        plain = ("visit", "vessel", "use", "species", "agent", "start_dose")
        typed["Baths"] = {visit.cell("baths", name): bath[name] for name in plain}
        saved = self.folder / "My log.xlsx"
        running.type_into(self.folder / "case-log.xlsx", typed, saved)
        values = running.values(saved)
        expect(not errors_in(values), f"cells with errors: {errors_in(values)[:5]}", "their formulas")
        near(values["Baths"][visit.cell("baths", "drug")], visit.DRUG, "Drug to weigh g", "the Baths sheet")
        near(values["Baths"][visit.cell("baths", "buffer")], visit.BUFFER, "Buffer to weigh g", "the Baths sheet")
        check = values["Baths"][visit.cell("baths", "check")]
        self.walk.saw(
            f"a bath typed into case-log.xlsx ({len(rows)} sheets before it)", f"3.2 g, 6.4 g, Check: {check}"
        )
        scratch = self.folder / "scratch"
        scratch.mkdir()
        made = picture(running, saved, View("ready-start", "Start", ("A", "B", "C", "D"), 40), self.pictures, scratch)
        self.walk.saw("picture", made.name)

    def bench(self, running: Office) -> None:
        """One bath on the bench form; its card printed to a PDF of one page."""
        book = load_workbook(READY / "bench.xlsx")
        form = book["Bench"]
        answers = {
            "Shape or test": "rectangle", "Unit of length": "cm", "Length or diameter": "80", "Width": "50",
            "Water depth": "10", "Agent": "tricaine methanesulfonate", "Start dose mg/L": "80", "Step mg/L": "20",
            "Limit mg/L": "120", "Species": "rainbow trout",
        }  # fmt: skip
        asked = {_words(form.cell(row, 1).value): row for row in range(1, form.max_row + 1)}
        missing = [words for words in answers if words not in asked]
        expect(not missing, f"the form does not ask for {missing}; it asks for {list(asked)}", "tests/support")
        cells = {f"B{asked[words]}": text for words, text in answers.items()}
        filled, card = self.folder / "filled.xlsx", self.folder / "card.xlsx"
        running.type_into(self.folder / "bench.xlsx", {"Bench": cells}, filled)
        only = load_workbook(filled)
        for sheet in only.worksheets:  # as one prints the current sheet alone
            sheet.sheet_state = "visible" if sheet.title == "Card" else "hidden"
        only.active = only["Card"]
        only.save(card)
        pages = running.render(card, self.folder / "card pages")
        expect(len(pages) == 1, f"the card prints on {len(pages)} pages", "the print set-up of the Card sheet")
        words = pdf_text(self.machine, "card pages/card.pdf")
        for wanted in ("3.2", "6.4", "0.8"):
            expect(wanted in words, f"the card does not say {wanted}: {words[:1200]}", "the Card sheet")
        scratch = self.folder / "card scratch"
        scratch.mkdir()
        picture(running, filled, View("ready-card", "Card"), self.pictures, scratch)
        self.walk.saw("bench.xlsx filled in, the card printed to a PDF", "one page with 3.2 g, 6.4 g and 0.8 g a step")


def _words(value: Any) -> str:
    """What a line of the form asks for, without its unit."""
    return str(value or "").strip()


class Producer:
    """Fills in the daily sheet of the copy; the vet merges it."""

    def __init__(self, walk: Walk, folder: Path, pictures: Path, vet: VetWithPython) -> None:
        self.walk, self.folder, self.pictures, self.vet = walk, folder, pictures, vet
        self.machine = Machine(folder)

    DEAD = ("2", "0", "1")
    WARMTH = ("11.5", "11.8", "12.1")

    def all(self) -> None:
        """Every step."""
        source = self.vet.folder / COPY
        expect(source.is_file(), "there is no copy to fill in", "the steps of the vet with Python")
        shutil.copy(source, self.folder / COPY)
        with Office() as running:
            self.fill(running)
            before = running.values(self.vet.folder / LOG)
            self.take_back()
            after = running.values(self.vet.folder / LOG)
        self.compare(before, after)

    def fill(self, running: Office) -> None:
        """Three rows, typed in an empty profile; their days stand there already."""
        sheet = self.vet.sheet(COPY, "Daily sheet")
        headings = [cell.value for cell in load_workbook(self.folder / COPY)[sheet][4]]
        place = {str(words): "ABCDEFGHI"[number] for number, words in enumerate(headings[:9])}
        cells = {}
        for number, (dead, warmth) in enumerate(zip(self.DEAD, self.WARMTH, strict=True)):
            row = 5 + number
            cells |= {
                f"{place['Dead']}{row}": dead,
                f"{place['Mean temperature C']}{row}": warmth,
                f"{place['Feed given kg']}{row}": "1.5",
            }
        running.type_into(self.folder / COPY, {sheet: cells}, self.folder / RETURNED)
        values = running.values(self.folder / RETURNED)
        expect(not errors_in(values), f"cells with errors: {errors_in(values)[:5]}", "the producer's copy")
        scratch = self.folder / "scratch"
        scratch.mkdir()
        picture(running, self.folder / RETURNED, View("producer-daily", sheet), self.pictures, scratch)
        self.walk.saw(f"three days typed on {sheet!r}, saved in LibreOffice", "no error shown")
        shutil.copy(self.folder / RETURNED, self.vet.folder / RETURNED)

    def take_back(self) -> None:
        """The vet merges what came back."""
        said = self.vet.command("merge", LOG, RETURNED, "--replace")
        self.walk.saw("merge --replace", " | ".join(said.splitlines()[:4]))
        again = self.vet.command("merge", LOG, RETURNED, "--replace")
        expect("othing" in again, again, "merging twice changes nothing, and says so")
        self.walk.saw("the same merged once more", again.splitlines()[0])
        self.walk.saw("check of the merged log", self.vet.command("check", LOG))

    def compare(self, before: Values, after: Values) -> None:
        """The daily rows are in; nothing else that was typed has changed."""
        log = visit.case_log()
        for number, (dead, warmth) in enumerate(zip(self.DEAD, self.WARMTH, strict=True)):
            for column, wanted in (("dead", dead), ("temperature", warmth), ("feed", "1.5")):
                shown = after["Losses"].get(visit.cell("losses", column, number))
                near(shown, float(wanted), f"{column} of the returned day {number + 1}", "merging a returned copy")
        changed = []
        for table in log.log_tables():
            letters = {table.letters[column.key] for column in table.columns if column.typed}
            for place in before[table.sheet].keys() | after[table.sheet].keys():
                typed = place.rstrip("0123456789") in letters and table.key != "losses"
                if typed and before[table.sheet].get(place) != after[table.sheet].get(place):
                    changed.append(f"{table.sheet}!{place}")
        expect(not changed, f"other cells changed: {changed[:5]}", "merging a returned copy")
        self.walk.saw("the log after the merge", "three daily rows in, every other typed cell as it was")
