"""What people type into a log, and what becomes of it: one row for each kind of slip, read by tests and by the guide.

Every row has an outcome: the value that is read, or the finding that names the cell. The guide for the vet is written
from the same rows by `python3 -m tests.support.write_what_you_type`.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

# columns of Baths that a dose hangs on; the last three may be blank
NUMBERS = ("start_dose", "used", "active", "ratio")


@dataclass(frozen=True)
class Cell:
    """What a file holds: a value, an error ("e") or a formula ("f") without a result, and the cell's number format."""

    value: Any
    kind: str = ""
    format: str = "General"


@dataclass(frozen=True)
class Typed:
    """One thing typed into a cell.

    `read` is the value that must be read; where `code` is given that finding must stand at the cell instead, its reason
    must hold `say`, and nothing may be computed from the cell.
    """

    typed: str
    cell: Cell
    read: Any = None
    code: str = ""
    say: str = ""
    words: str = ""

    def __str__(self) -> str:
        return ascii(self.typed)

    @property
    def outcome(self) -> str:
        """For the guide."""
        if self.words or not self.code:
            return self.words or f"Read as {self.read:g}."
        how = "Asked about" if self.code == "number-for-text" else "Refused"
        return f"{how}: {self.say.rstrip('.')}{'' if self.say.endswith('?') else '.'}"


def text(typed: str, say: str, **more: Any) -> Typed:
    """A text in a cell for numbers."""
    return Typed(typed, Cell(typed), code="not-a-number", say=say, **more)


POINT = "It has a comma; type a decimal point."
NUMERIC = "It is text that looks like a number; type it again without a quote mark or a space"
LETTERS = "It has letters in it; type the number alone"
# 0.5 and 1 are allowed in all four columns, so that what is read right is seen in each of them
IN_NUMBERS = (
    Typed("0.5", Cell(0.5), 0.5),
    Typed("5E-1", Cell(0.5), 0.5, words="Read as 0.5: powers of ten are numbers."),
    Typed("$ 0.50", Cell(0.5, format='"$"#,##0.00'), 0.5, words="Read as 0.5: the currency is only its look."),
    text("0,5", POINT),
    text("7,2", POINT),
    text("1.234,5", POINT),
    text("1,234", POINT, words="Refused: it may be 1.234 or 1,234. " + POINT),
    text("1'234.5", "It has a mark between its digits; type the number without one."),
    text("1\u00a0234", "It has a mark between its digits; type the number without one."),
    text("0.5 ", NUMERIC),
    text("\u00a00.5", NUMERIC),
    Typed("'0.5", Cell("0.5"), code="not-a-number", say=NUMERIC, words="Refused: " + NUMERIC + "."),
    text("12 gal", LETTERS),
    text("80 mg/L", LETTERS),
    text("12 °C", LETTERS),
    text("54 F", LETTERS),
    text("80 €", "It has other signs in it; type the number alone"),
    text("about 80", LETTERS),
    text("80-120", "It has other signs in it; type the number alone"),
    text("８０", "Its digits are not the plain 0 to 9; type it again."),
    text("٨٠", "Its digits are not the plain 0 to 9; type it again."),
    text("\ufeff0.5", "There is a sign that cannot be seen in it"),
    text("0.5\u200b", "There is a sign that cannot be seen in it"),
    text("n/a", "is not a number.", words="Refused: it is not a number; leave the cell blank."),
    text("-", "is not a number.", words="Refused: it is not a number; leave the cell blank."),
    text(" ", "is not a number.", words="Refused: a space alone is no blank; empty the cell."),
    Typed("-0", Cell(-0.0), code="out-of-range", say="must be above 0"),
    Typed(
        "0", Cell(0), code="out-of-range", say="must be above 0", words="Refused: 0 is not a blank; it must be above 0."
    ),
    Typed("-5", Cell(-5), code="out-of-range", say="must be above 0"),
    Typed("TRUE", Cell(True), code="not-a-number", say="It is TRUE or FALSE; type what is meant."),
    Typed("FALSE", Cell(False), code="not-a-number", say="It is TRUE or FALSE; type what is meant."),
    Typed("#N/A", Cell("#N/A", "e"), code="not-a-number", say="The cell shows an error (#N/A): type the value itself."),
    Typed("#DIV/0!", Cell("#DIV/0!", "e"), code="not-a-number", say="The cell shows an error (#DIV/0!)"),
    Typed(
        "=1/2, saved by a program that does not compute",
        Cell("=1/2", "f"),
        code="not-a-number",
        say="Its formula was not computed: open the file in a spreadsheet and save it, or type the value itself.",
    ),
    Typed(
        "4/3 that became a date",
        Cell(datetime.datetime(2026, 4, 3), format="yyyy-mm-dd"),
        code="not-a-number",
        say="The spreadsheet made a date of it, 2026-04-03, not a number: give the cell the format Number",
    ),
    Typed(
        "1:30 that became a time",
        Cell(datetime.time(1, 30), format="hh:mm"),
        code="not-a-number",
        say="The spreadsheet made a time of it, 01:30:00, not a number: give the cell the format Number",
    ),
)

SHARE = (
    Typed("50% as an active share", Cell(0.5, format="0%"), 0.5, words="Read as 0.5."),
    Typed("80 as an active share", Cell(80), code="out-of-range", say="For 80 % type 0.8."),
)
PERCENT = Typed(
    "5%, where no share is asked for",
    Cell(0.05, format="0%"),
    code="not-a-number",
    say="It was typed with a percent sign, which makes 0.05 of it: format Number, then type 5 alone.",
)

LONG = "x" * 32_767
MARCH_4 = datetime.datetime(2026, 3, 4)
# column of Sites -> what is typed there
IN_TEXTS = (
    ("name", Typed("NA", Cell("NA"), "NA", words="Read as the name it is, never as a blank.")),
    ("name", Typed("None", Cell("None"), "None", words="Read as the name it is, never as a blank.")),
    ("name", Typed("null", Cell("null"), "null", words="Read as the name it is, never as a blank.")),
    ("name", Typed("بركة الوادي", Cell("بركة الوادي"), "بركة الوادي", words="Read as it is.")),
    ("name", Typed("Pond 🐟", Cell("Pond 🐟"), "Pond 🐟", words="Read as it is.")),
    ("name", Typed("Alder\u00a0springs", Cell("Alder\u00a0springs"), "Alder\u00a0springs", words="Read as it is.")),
    ("notes", Typed("a note of 32,767 signs", Cell(LONG), LONG, words="Read whole.")),
    ("telephone", Typed("0012 345", Cell("0012 345"), "0012 345", words="Read with its zeros.")),
    (
        "telephone",
        Typed("0012345 that became 12345", Cell(12345), code="number-for-text", say="were there leading zeros?"),
    ),
    (
        "telephone",
        Typed(
            "3-4 that became a date",
            Cell(MARCH_4, format="yyyy-mm-dd"),
            code="not-text",
            say="The spreadsheet made a date of it, 2026-03-04, not a text: give the cell the format Text",
        ),
    ),
    ("telephone", Typed("#REF!", Cell("#REF!", "e"), code="not-text", say="The cell shows an error (#REF!)")),
    ("telephone", Typed("TRUE", Cell(True), code="not-text", say="holds TRUE or FALSE, not text")),
    ("site", Typed("S90\u00a0", Cell("S90\u00a0"), code="unseen-sign", say="a space that does not break")),
    ("site", Typed("S9\u200b1", Cell("S9\u200b1"), code="unseen-sign", say="a sign that cannot be seen")),
    ("site", Typed("S92 ", Cell("S92 "), code="unseen-sign", say="It has a space at its beginning or end")),
    ("kind", Typed("farm\u00a0", Cell("farm\u00a0"), code="not-listed", say="a space that does not break")),
    ("kind", Typed("farm ", Cell("farm "), code="not-listed", say="It has a space at its beginning or end; choose it")),
    ("kind", Typed("ﬁsh farm", Cell("ﬁsh farm"), code="not-listed", say="Kind of site is not on its list.")),
)

LOOKS_LIKE_A_DATE = "It is text that looks like a date; type it again as a date. One looks like 2026-03-04."
DAY = 46085.0  # 2026-03-04, as spreadsheets count days (by openpyxl's own conversion in the test)
# column of Visits or Water -> what is typed there
IN_DAYS = (
    (
        "date",
        Typed("2026-03-04", Cell(MARCH_4, format="yyyy-mm-dd"), DAY, words="Read as a date."),
    ),
    (
        "date",
        Typed("46085, the day's number", Cell(46085), DAY, words="Read as the date it stands for, 2026-03-04."),
    ),
    ("date", Typed("03/04/2026 as text", Cell("03/04/2026"), code="not-a-date", say=LOOKS_LIKE_A_DATE)),
    ("date", Typed("4.3.2026 as text", Cell("4.3.2026"), code="not-a-date", say=LOOKS_LIKE_A_DATE)),
    ("date", Typed("2026-03-04 as text", Cell("2026-03-04"), code="not-a-date", say=LOOKS_LIKE_A_DATE)),
    ("date", Typed("4 March 2026 as text", Cell("4 March 2026"), code="not-a-date", say=LOOKS_LIKE_A_DATE)),
    ("date", Typed("4.3", Cell(4.3), code="out-of-range", say="must lie between 2000-01-01 and 2099-12-31")),
    ("date", Typed("2026", Cell(2026), code="out-of-range", say="must lie between 2000-01-01 and 2099-12-31")),
    ("date", Typed("#VALUE!", Cell("#VALUE!", "e"), code="not-a-date", say="The cell shows an error (#VALUE!)")),
    ("time", Typed("14:05", Cell(datetime.time(14, 5), format="hh:mm:ss"), 845 / 1440, words="Read as a time.")),
    ("time", Typed("26:30", Cell(26.5 / 24, format="[hh]:mm:ss"), code="out-of-range", say="must be a time of day")),
    ("time", Typed("14:05 as text", Cell("14:05"), code="not-a-time", say="type it as 14:05 or 14:05:30.")),
    ("time", Typed("2.05 pm as text", Cell("2.05 pm"), code="not-a-time", say="type it as 14:05 or 14:05:30.")),
    ("time", Typed("14.05", Cell(14.05), code="out-of-range", say="must be a time of day")),
)


@dataclass(frozen=True)
class InOffice:
    """The same keys pressed in LibreOffice, where English and where German habits hold; a number, or a finding."""

    typed: str
    english: float | str
    german: float | str


NOT = "not-a-number"
# typed into Water used L, where any of these may be meant
IN_OFFICE = (
    InOffice("7,2", NOT, 7.2),
    InOffice("7.2", 7.2, NOT),
    InOffice("1,234", 1234.0, 1.234),
    InOffice("1.234", 1.234, 1234.0),
    InOffice("1.234,5", NOT, 1234.5),
    InOffice("1,234.5", 1234.5, NOT),
    InOffice("12 gal", NOT, NOT),
    InOffice("80 mg/L", NOT, NOT),
    InOffice("12 °C", NOT, NOT),
    InOffice("4/3", NOT, NOT),
    InOffice("4.3.", NOT, NOT),
    InOffice("03/04/2026", NOT, NOT),
    InOffice("4.3.2026", NOT, NOT),
    InOffice("2026-03-04", NOT, NOT),
    InOffice("1:30", NOT, NOT),
    InOffice("26:30", NOT, NOT),
    InOffice("5%", NOT, NOT),
    InOffice("1E2", 100.0, 100.0),
    InOffice("-0", "out-of-range", "out-of-range"),
    InOffice("TRUE", NOT, NOT),
    InOffice("WAHR", NOT, NOT),
    InOffice("=12*3", 36.0, 36.0),
    InOffice("=1/0", NOT, NOT),
    InOffice("$80", 80.0, NOT),
    InOffice("80 €", NOT, 80.0),
    InOffice("'80", NOT, NOT),
    InOffice("８０", NOT, NOT),
    InOffice("1 234", NOT, NOT),
    InOffice("½", NOT, NOT),
)


@dataclass(frozen=True)
class Done:
    """Something done to the sheets; the test of that name does it."""

    done: str
    words: str


DONE = (
    Done("a heading deleted", "A finding names the heading; no card, plan or copy is made until it is back."),
    Done("a sheet renamed", "A finding names the sheet; no card, plan or copy is made until it has its name back."),
    Done("rows sorted", "Read the same: rows carry their own names."),
    Done("rows filtered, or rows and columns hidden", "Read the same: what is hidden counts."),
    Done("cells merged", "A finding names them: all but the first would be blank. No card, plan or copy until split."),
    Done("a column pasted one row down", "Findings at both ends of the column: a cell is missing, a row is too many."),
    Done("a row twice", "A finding at the second one."),
    Done("rows pasted below the provided rows", "Read, and a finding says to stretch the table over them."),
    Done("a computed cell typed over", "A finding says what the row gives; the typed number is used nowhere."),
    Done("days counted from 1904", "Dates are read as they are shown; a finding says how to move to a new log."),
    Done("a formula for a number", "Such as =12*3: its result is read."),
)
