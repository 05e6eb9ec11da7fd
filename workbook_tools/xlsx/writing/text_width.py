"""How wide a text is on paper, and into how many lines it breaks: by a table of our own, with no font at hand.

The table holds advance widths of Liberation Sans, measured from its regular and bold files, in thousandths of the font
size, gathered into classes and rounded up to the next class. Accented letters count as their base letter. A character
outside the table counts as 1.1 of the font size: more than any of the face, so such texts get more room, not less.
"""

from __future__ import annotations

import functools
import unicodedata

from workbook_tools.functions.quantities.amounts import JOINT

REGULAR = {
    191: "'",
    222: "ijl‘’‚",
    278: " !,./:;I[\\]ft|∙",
    350: '()-`r{}"“”„•°²³',
    389: "*",
    500: "Jcksvxyz^",
    556: "#$0123456789?L_abdeghnopqu–µß",
    611: "FTZ+<=>~−×±÷",
    667: "&ABEKPSVXY",
    722: "CDHNRUw",
    778: "GOQ",
    833: "Mm¼½¾",
    889: "%æ",
    944: "Wœ",
    1015: "@—…™→←",
}
BOLD = {
    238: "'",
    278: " ,./I\\ijl‘’‚|∙",
    333: "!()-:;[]`ft•",
    400: "*r{}°²³",
    500: '"z“”„',
    556: "#$0123456789J_aceksvxy–",
    611: "?FLTZbdghnopqu+<=>^~−×±÷µß",
    667: "EPSVXY",
    722: "&ABCDHKNRU",
    778: "GOQw",
    833: "M¼½¾",
    889: "%mæ",
    944: "Wœ",
    1015: "@—…™→←",
}
UNKNOWN = 1100
# of columns, in points
WIDE, NARROW = 5.55, 5.25  # a width unit: LibreOffice 7.4, measured; seven pixels of 1/96 inch
INSET = 6.0  # what a cell keeps free at its sides


def _by_character(classes: dict[int, str]) -> dict[str, int]:
    widths = {character: width for width, characters in classes.items() for character in characters}
    return widths | {JOINT: widths[" "]}


TABLES = {False: _by_character(REGULAR), True: _by_character(BOLD)}


@functools.lru_cache(maxsize=4096)
def _character(character: str, bold: bool) -> int:
    table = TABLES[bold]
    if character in table:
        return table[character]
    base = unicodedata.normalize("NFD", character)
    if len(base) > 1 and base[0] in table and all(unicodedata.combining(mark) for mark in base[1:]):
        return table[base[0]]
    return 0 if unicodedata.combining(character) else UNKNOWN


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Width of one line of text.

    Parameters
    ----------
    text : without line ends.
    size : of the font. [pt]
    bold : whether it is set in bold.

    Returns
    -------
    Width, never below that of Liberation Sans. [pt]
    """
    return sum(_character(character, bold) for character in text) * size / 1000


def lines(text: str, size: float, room: float, bold: bool = False) -> list[str]:
    """The text broken into lines that fit the room: between words, and inside a word that is wider than the room.

    Parameters
    ----------
    text : line ends in it begin a new line.
    size : of the font. [pt]
    room : width to fit into. [pt]
    bold : whether it is set in bold.

    Returns
    -------
    Lines; one at least. Joined, they hold every character of the text but the spaces and line ends at the breaks.
    """
    broken: list[str] = []
    for part in text.splitlines() or [""]:
        line = ""
        for word in part.split(" "):
            longer = f"{line} {word}" if line else word
            if text_width(longer, size, bold) <= room:
                line = longer
                continue
            if line:
                broken.append(line)
            *full, line = _cut(word, size, room, bold)
            broken += full
        broken.append(line)
    return broken


def _cut(word: str, size: float, room: float, bold: bool) -> list[str]:
    """A word in pieces that fit; one character at least stands in each."""
    pieces = [""]
    for character in word:
        if pieces[-1] and text_width(pieces[-1] + character, size, bold) > room:
            pieces.append("")
        pieces[-1] += character
    return pieces
