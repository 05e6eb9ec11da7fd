"""The licences of what a user installs with this package, as each package states its own: LICENSES.md.

python -m tests.licences            print the table
python -m tests.licences --write    put it into LICENSES.md
"""

from __future__ import annotations

import importlib.metadata
import re
import sys
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "LICENSES.md"
OURS = "workbook-tools"
BEGIN, END = "<!-- licences: written by tests/licences.py -->", "<!-- end of licences -->"
# brought by xlwings on systems that the tests do not run on
ELSEWHERE = frozenset(("pywin32", "psutil", "appscript"))


def canonical(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def needed(name: str, extra: str = "") -> list[str]:
    """Packages that a package asks for here, by itself or for one of its extras alone."""
    found = []
    for text in importlib.metadata.requires(name) or []:
        requirement = Requirement(text)
        plain = requirement.marker is None or requirement.marker.evaluate({"extra": ""})
        wanted = requirement.marker is None or requirement.marker.evaluate({"extra": extra})
        if (wanted and not plain) if extra else plain:
            found.append(canonical(requirement.name))
    return found


def closure(names: list[str]) -> set[str]:
    """Those packages and all that they need in turn."""
    found: set[str] = set()
    rest = list(names)
    while rest:
        name = rest.pop()
        if name not in found:
            found.add(name)
            rest += needed(name)
    return found


def extras() -> list[str]:
    return importlib.metadata.metadata(OURS).get_all("Provides-Extra") or []


def users() -> dict[str, list[str]]:
    """What each package is needed for: "always", or the extras that bring it."""
    found = {name: ["always"] for name in closure(needed(OURS))}
    for extra in extras():
        for name in closure(needed(OURS, extra)) - {n for n, what in found.items() if what == ["always"]}:
            found.setdefault(name, []).append(extra)
    return found


def licence(name: str) -> str:
    """A package's licence in its own words: its expression, else its classifier, else the first line of its text."""
    about = importlib.metadata.metadata(name)
    expression = about.get("License-Expression")
    if expression:
        return str(expression)
    kinds = [c.rpartition(" :: ")[2] for c in about.get_all("Classifier") or [] if c.startswith("License :: ")]
    text = (about.get("License") or "").strip().splitlines()
    return "; ".join(kinds) or (text[0] if text else "not stated")


def table() -> str:
    """The table in Markdown."""
    lines = ["| Package | Version tested | Licence | Needed |", "|---|---|---|---|"]
    for name, what in sorted(users().items()):
        lines.append(f"| {name} | {importlib.metadata.version(name)} | {licence(name)} | {', '.join(sorted(what))} |")
    return "\n".join(lines)


def page(text: str) -> str:
    """The page with the table of today between its marks."""
    before, rest = text.split(BEGIN)
    return f"{before}{BEGIN}\n\n{table()}\n\n{END}{rest.split(END)[1]}"


def main(arguments: list[str]) -> None:
    if arguments == ["--write"]:
        PAGE.write_text(page(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
    else:
        print(table())


if __name__ == "__main__":
    main(sys.argv[1:])
