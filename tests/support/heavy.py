"""Large files, honest and hostile, that could hold a command for long or fill its memory; each made by code.

`figures(number)` gives so many of them to the commands that may meet them, each in a process of its own under the
limits of `tests.support.forked`, and answers the numbers; `python -m tests.support.heavy 200` prints them.
"""

from __future__ import annotations

import base64
import datetime
import functools
import io
import json
import re
import sys
import tempfile
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path
from random import Random

from tests.support.forked import MEMORY, SECONDS, Job, run_all
from tests.support.hostile import SHEET, STRINGS, changed, good, in_sheet, parts_of, row, zipped
from workbook_tools.layout import case_log
from workbook_tools.layout.compute import Computed
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.producer.copy import producer_copy

SITES = [
    {"site": "S01", "name": "Alder springs", "kind": "farm", "food_fish": "no"},
    {"site": "S02", "name": "Meadow brook", "kind": "pond", "food_fish": "no", "telephone": "0555 0117"},
]
MADE = datetime.datetime(2026, 7, 1, 9)
SIZES = (1 << 20, 4 << 20, 8 << 20, 16 << 20)
Maker = Callable[[int, Random], bytes]


@functools.cache
def a_copy() -> bytes:
    """A copy for S01 with a page of findings."""
    rows = {
        "sites": [
            {"site": "S01", "name": "Alder springs", "kind": "farm", "food_fish": "no", "telephone": "0555 0142"}
        ],
        "stocks": [{"stock": "K01", "site": "S01", "species": "perch", "food_fish": "no", "number": 5}],
        "visits": [{"visit": "V001", "date": 46_000, "site": "S01", "findings": "Gills pale."}],
    }
    return producer_copy(Computed(case_log(), rows), "S01", MADE).content


def words(size: int, chance: Random, letters: str = "abcdefghijklmnop") -> str:
    some = ["".join(chance.choices(letters, k=chance.randint(2, 9))) for _ in range(5_000)]
    text = " ".join(chance.choices(some, k=min(size // 6, 200_000)))
    return (text * (size // len(text) + 1))[:size]


def returned(size: int, chance: Random) -> bytes:
    """A returned copy: as many rows of few kinds on a page as marks are said to have been written for it."""
    parts = parts_of(a_copy())
    count = size // 40
    kinds = chance.randint(1, 4)
    cells = b"".join(
        b'<row r="%d"><c r="A%d" t="inlineStr"><is><t>x%d</t></is></c></row>' % (n, n, chance.randint(0, kinds))
        for n in range(1, count)
    )
    name = next(part for part in sorted(parts) if part.startswith("xl/worksheets/sheet"))
    sheet = re.sub(
        rb"<sheetData>.*</sheetData>", lambda _: b"<sheetData>" + cells + b"</sheetData>", parts[name], flags=re.S
    )
    marks = "".join(f"{chance.randint(0, kinds):05x}" for _ in range(count))
    strings = re.sub(rb">(?:[0-9a-f]{5}){8,}</t>", lambda _: f">{marks}</t>".encode(), parts[STRINGS])
    return zipped(parts | {name: sheet, STRINGS: strings})


def outside_columns(size: int, chance: Random) -> bytes:
    """A returned copy with cells beside the columns of its daily sheet."""
    parts = parts_of(a_copy())
    strings = parts[STRINGS].decode()
    texts = re.findall(r"<si>.*?</si>", strings, flags=re.S)
    dead = next(number for number, text in enumerate(texts) if ">Dead<" in text)
    name = next(
        part for part, content in parts.items() if f"<v>{dead}</v>".encode() in content and b"sheetData" in content
    )
    cells = b"".join(
        b'<row r="%d">%b</row>'
        % (n, b"".join(b'<c r="%c%d"><v>%d</v></c>' % (column, n, chance.randint(0, 9)) for column in b"QRSTUVWXYZ"))
        for n in range(2_000, 2_000 + size // 300)
    )
    sheet = parts[name].replace(b"</sheetData>", cells + b"</sheetData>")
    return zipped(parts | {name: sheet})


def pdf(size: int, chance: Random, packed: bool) -> bytes:
    """A PDF of one page with a long program."""
    body = (
        (b"BT /F1 9 Tf " + words(size, chance).encode().replace(b" ", b") Tj (") + b") Tj ET")
        if not packed
        else b"q " * size
    )
    stream = zlib.compress(body)
    things = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 99 99] /Contents 4 0 R /Resources << /Font << /F1 5 0 R >> >> >>",
        b"<< /Length %d /Filter /FlateDecode >>\nstream\n%b\nendstream" % (len(stream), stream),
        b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>",
    ]
    out = b"%PDF-1.7\n"
    places = []
    for number, thing in enumerate(things, start=1):
        places.append(len(out))
        out += b"%d 0 obj\n%b\nendobj\n" % (number, thing)
    listed = b"".join(b"%010d 00000 n \n" % place for place in places)
    return out + b"xref\n0 6\n0000000000 65535 f \n%btrailer\n<< /Size 6 /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF" % (
        listed,
        len(out),
    )


def many_parts(size: int, chance: Random) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        for number in range(min(9_000, size >> 9)):
            archive.writestr(
                f"a/{number}.xml", f"<a b='{chance.random()}'>{words(300, chance)[:300]}</a>" if number < 50 else "<a/>"
            )
    return target.getvalue()


def strings(size: int, chance: Random) -> bytes:
    """A log whose table of texts is long."""
    text = words(size, chance)
    items = "".join(f"<si><t>{text[at : at + 40]}</t></si>" for at in range(0, size, 40)).encode()
    return changed({STRINGS: parts_of(good())[STRINGS].replace(b"</sst>", items + b"</sst>")})


def one_text(size: int, chance: Random) -> bytes:
    item = f"<si><t>{words(size, chance)}</t></si></sst>".encode()
    return changed({STRINGS: parts_of(good())[STRINGS].replace(b"</sst>", item)})


def long_log(size: int, chance: Random) -> bytes:
    """An honest log with many visits."""
    visits = [
        {"visit": f"V{n:05}", "date": 46_000 + n % 900, "site": "S01", "findings": words(60, chance)[:60]}
        for n in range(size >> 12)
    ]
    return build_log(case_log(), {"sites": SITES, "visits": visits}, rows=5)


# what makes a file of about so many bytes, unpacked
FAMILIES: dict[str, Maker] = {
    "returned copy of few kinds of rows": returned,
    "returned copy with cells outside its columns": outside_columns,
    "mixed bytes": lambda size, chance: chance.randbytes(size),
    "mixed bytes in a part": lambda size, chance: zipped({"a.bin": chance.randbytes(size), "b.xml": b"<a/>"}),
    "words": lambda size, chance: words(size, chance).encode(),
    "words with accents": lambda size, chance: words(size, chance, "äéîõüçñaßž").encode(),
    "digits": lambda size, chance: words(size, chance, "0123456789").encode(),
    "packed letters": lambda size, chance: base64.encodebytes(chance.randbytes(size)),
    "tags": lambda size, chance: b"<a>" * (size // 3),
    "half tags": lambda size, chance: b"<" * size,
    "entities": lambda size, chance: b"&amp" * (size // 4),
    "percent signs": lambda size, chance: b"%41" * (size // 3),
    "PDF of many words": lambda size, chance: pdf(size, chance, packed=False),
    "PDF that is packed": lambda size, chance: pdf(size, chance, packed=True),
    "many parts": many_parts,
    "many texts": strings,
    "one long text": one_text,
    "many attributes": lambda size, chance: zipped({"a.xml": b"<a>" + b"<b c='1' d='x y'/>" * (size // 18) + b"</a>"}),
    "stray cells": lambda size, chance: in_sheet(
        b"".join(row(n, b'<c r="ZZ%d"><v>%d</v></c>' % (n, n)) for n in range(1, size // 60))
    ),
    "rows in odd spelling": lambda size, chance: changed(
        {SHEET: parts_of(good())[SHEET].replace(b"</sheetData>", b"".join(
            b"<row r='%d'><c r='A%d' t='str'><v>x</v></c></row>" % (n, n) for n in range(3_000, 3_000 + size // 60)
        ) + b"</sheetData>")}
    ),
    "honest log": long_log,
}  # fmt: skip
COMMANDS: dict[str, tuple[str, ...]] = {
    "audit": ("audit", "bad.xlsx", "--against", "good.xlsx", "--site", "S01"),
    "merge": ("merge", "good.xlsx", "bad.xlsx", "--out", "out.xlsx", "--quiet"),
    "check": ("check", "bad.xlsx", "--quiet"),
    "share": ("share", "bad.xlsx", "--site", "S01", "--out", "out.xlsx"),
    "plan": ("plan", "bad.xlsx"),
    "audit against": ("audit", "good.xlsx", "--against", "bad.xlsx", "--site", "S01"),
    "summary": ("summary", "bad.xlsx"),
    "lend": ("lend", "bad.xlsx", "--out", "out.xlsx", "--mark", "T"),
    "upgrade": ("upgrade", "bad.xlsx", "--out", "out.xlsx"),
    "names": ("names", "bad.xlsx"),
}
FIRST = ("audit", "merge", "check")  # every file goes to these, and to one of the others in turn


def jobs(seeds: range, folder: Path, largest: int) -> list[tuple[str, str, Job]]:
    """Files by their numbers, the families in turn and the largest first, with the commands that they go to."""
    sizes = [size for size in reversed(SIZES) if size <= largest]
    every = [(name, size) for size in sizes for name in FAMILIES]
    others = [name for name in COMMANDS if name not in FIRST]
    found = []
    for seed in seeds:
        name, size = every[seed % len(every)]
        place = folder / str(seed)
        place.mkdir()
        (place / "bad.xlsx").write_bytes(FAMILIES[name](size, Random(seed)))
        (place / "good.xlsx").write_bytes(against())
        for command in (*FIRST, others[seed % len(others)]):
            found.append((f"{name}, {size >> 20} MB", command, Job(COMMANDS[command], str(place))))
    return found


@functools.cache
def against() -> bytes:
    """A small log with another site's names."""
    stock = {"stock": "K01", "site": "S01", "species": "perch", "food_fish": "no", "number": 5}
    return build_log(case_log(), {"sites": SITES, "stocks": [stock]}, rows=5)


def figures(number: int = 200, largest: int = SIZES[-1]) -> dict[str, object]:
    """Runs the commands over so many large files; the numbers. `failures` names what broke a bound."""
    slowest, peak, failures, tried = (0.0, "", ""), (0, "", ""), [], 0
    for start in range(0, number, 10):
        with tempfile.TemporaryDirectory() as scratch:
            wanted = jobs(range(start, min(start + 10, number)), Path(scratch), largest)
            for (name, command, _), run in zip(wanted, run_all([job for _, _, job in wanted]), strict=True):
                tried += 1
                slowest = max(slowest, (run.seconds, name, command))
                peak = max(peak, (run.peak, name, command))
                if run.code not in (0, 1, 2) or "Traceback" in run.error or run.seconds > SECONDS or run.peak > MEMORY:
                    failures.append(f"{command} of {name}: {run.code}, {run.seconds:.0f} s, {run.error[-200:]}")
    return {
        "large files tried": number,
        "runs over large files": tried,
        "large files that broke a bound": len(failures),
        "failures": failures,
        "slowest large file s": round(slowest[0], 1),
        "slowest large file": f"{slowest[2]} of {slowest[1]}",
        "largest peak memory": peak[0],
        "largest peak memory of": f"{peak[2]} of {peak[1]}",
    }


if __name__ == "__main__":
    print(json.dumps(figures(int(sys.argv[1]) if len(sys.argv) > 1 else 200), indent=2))
