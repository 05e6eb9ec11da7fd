"""The door under a coverage-guided fuzzer: it keeps inputs that reach new lines and changes them further.

    python -m tests.fuzz.guided --inputs 100000 --seed 1                 the zip and all behind it
    python -m tests.fuzz.guided --inputs 100000 --seed 1 --what sheet    the scan of one sheet's bytes

Prints the figures and ends with 0 where every input was taken or refused in words; the fuzzer itself shows any other.
Needs atheris, which is pinned with the tests for the Pythons and systems that it comes for.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["workbook_tools.xlsx.reading"]):
    from tests.fuzz.mutations import tiny
    from tests.support.hostile import MAIN, zipped
    from workbook_tools.errors import WorkbookToolsError
    from workbook_tools.xlsx.reading import Archive, admitted, foreign_in
    from workbook_tools.xlsx.reading.markup import root_name, tree
    from workbook_tools.xlsx.reading.sheet_extent import check_sheet

COUNTS = {"inputs tried": 0, "taken": 0, "refused": 0}


def whole(content: bytes) -> None:
    admitted("input", content)
    foreign_in(Archive(content, "input"))


def sheet(content: bytes) -> None:
    archive = Archive(zipped({"s.xml": content}, 0), "input")
    root_name(content, "s.xml", "input")
    check_sheet(archive, "s.xml")
    tree(content, "s.xml", "input")


WHAT: dict[str, Callable[[bytes], None]] = {"zip": whole, "sheet": sheet}
SHEETS = (
    f'<worksheet xmlns="{MAIN}"><sheetData><row r="1"><c r="A1"><v>1</v></c></row></sheetData></worksheet>',
    f'<x:worksheet xmlns:x="{MAIN}"><x:sheetData><x:row spans="1:2" r=\'2\'><x:c><x:v>1</x:v></x:c></x:row>'
    "</x:sheetData></x:worksheet>",
)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--inputs", type=int, default=10_000)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--what", choices=list(WHAT), default="zip")
    said = asked.parse_args()
    work, started = WHAT[said.what], time.perf_counter()

    def one(content: bytes) -> None:
        COUNTS["inputs tried"] += 1
        try:
            work(content)
            COUNTS["taken"] += 1
        except WorkbookToolsError:
            COUNTS["refused"] += 1
        if COUNTS["inputs tried"] == said.inputs:
            figures = {"fuzzer": "atheris", "what": said.what, "seed": said.seed, **COUNTS}
            print(json.dumps(figures | {"wall s": round(time.perf_counter() - started, 1)}), flush=True)

    folder = Path(tempfile.mkdtemp())
    begins = [tiny()] if said.what == "zip" else [text.encode() for text in SHEETS]
    for number, content in enumerate(begins):
        (folder / str(number)).write_bytes(content)
    limits = [f"-runs={said.inputs}", f"-seed={said.seed}", "-timeout=20", "-rss_limit_mb=2048", "-max_len=4096"]
    atheris.Setup([sys.argv[0], str(folder), *limits, "-verbosity=0"], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
