"""`share`, `audit`: a copy of one site for its producer, and a look through any file for what it may not hold."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from workbook_tools.cli.group import cli
from workbook_tools.cli.options import DESPITE, FILE, JSON, PAPER, QUIET, REPLACE
from workbook_tools.cli.printing import print_json, say
from workbook_tools.cli.writing import facts, made, named

if TYPE_CHECKING:
    from workbook_tools.log.gate import Despite
    from workbook_tools.producer.audit import Sorted
    from workbook_tools.producer.copy import ProducerCopy
    from workbook_tools.xlsx.saving.inputs import Seen

ALLOW = click.option(
    "--allow",
    multiple=True,
    metavar="TEXT",
    help="A text that may be there after all, as it is shown; may be repeated.",
)
SEARCHED = (
    "its letters and numbers for the names, contacts, telephone numbers, notes and ids of other sites, and for what is "
    "private; not what is misspelt or put in other words"
)
SHOWN = 5  # parts that one sentence names
PASSWORD = click.option(
    "--password-file",
    type=click.Path(path_type=Path, allow_dash=True),
    metavar="F",
    help="File whose one line is the password; - asks for it at the terminal.",
)


@cli.command(short_help="Make a copy for one producer, of one site alone.")
@click.argument("path", metavar="LOG", type=FILE)
@click.option("--site", required=True, metavar="ID", help="Which site, by its id.")
@click.option("--out", required=True, type=FILE, metavar="PATH", help="Where to: a workbook (.xlsx).")
@click.option("--pdf", is_flag=True, help="Also print the pages to a PDF beside it, where LibreOffice is installed.")
@PASSWORD
@click.option("--since", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="Leave out rows before it.")
@ALLOW
@DESPITE
@PAPER
@click.option("--language", default="en", show_default=True, help="Language of the pages: en, es.")
@click.option("--units", type=click.Choice(["metric", "us"]), default="metric", show_default=True)
@REPLACE
@JSON
@QUIET
def share(
    path: Path, site: str, out: Path, pdf: bool, password_file: Path | None, since: datetime.datetime | None,
    allow: tuple[str, ...], despite: tuple[Despite, ...], paper: str,
    language: str, units: str, replace: bool, as_json: bool, quiet: bool,
) -> None:  # fmt: skip
    """Make a copy of the case log LOG for one producer: one site's rows on pages in plain words, and daily sheets.

    No copy is given while a row that it draws on, or that such a row points to, has an open fault.
    The copy is looked through before it is put in place, your own sentences too: where it holds a text of another site
    or a private one, it is shown and nothing is written. What may be there after all is allowed by name: --allow. See
    audit for what is searched. A release date that still runs is in the copy whatever --since says. The PDF has no
    password.

    \b
    Examples
      workbook-tools share "Practice.xlsx" --site S01 --out "For S01.xlsx" --pdf
      workbook-tools share "Practice.xlsx" --site S01 --out "For S01.xlsx" --password-file secret.txt
    """
    from workbook_tools.errors import LeakError
    from workbook_tools.functions.quantities.boundary import serial
    from workbook_tools.layout import case_log
    from workbook_tools.log.building.seal_key import key_of
    from workbook_tools.log.checking.log_check import check_log
    from workbook_tools.producer.audit import audit, sorted_hits
    from workbook_tools.producer.copy import producer_copy
    from workbook_tools.producer.locked import locked
    from workbook_tools.producer.words import languages
    from workbook_tools.xlsx.opened import Opened
    from workbook_tools.xlsx.saving.inputs import Seen

    log = Opened(path)
    seen = Seen(log, *([password_file] if password_file is not None and str(password_file) != "-" else []))
    target = named(out)
    if language not in languages():
        raise click.UsageError(f"--language {language}: there are {', '.join(languages())}")
    _free([target, *([target.with_suffix(".pdf")] if pdf else [])], seen, replace)
    password = _password(password_file, confirm=True)
    checked = check_log(log, case_log())
    checked.log.relied_on()
    key = key_of(log.content)
    start = None if since is None else serial(since.date())
    made_copy = producer_copy(
        checked,
        site,
        datetime.datetime.now(),
        since=start,
        paper=paper,
        language=language,
        units=units,
        path=path,
        key=key,
        overrides=despite,
    )
    found = sorted_hits(audit(made_copy.content, checked.computed, made_copy.site), allow)
    if found.leaks or found.unread:
        raise LeakError(made_copy.site, [str(hit) for hit in (*found.leaks, *found.unread)])
    content = made_copy.content if password is None else locked(made_copy.content, password)
    done = _put(made_copy, content, target, pdf, replace, seen) | _looked(found)
    if as_json:
        print_json(done)
    elif not quiet:
        _say(done)


def _free(targets: list[Path], seen: Seen, replace: bool) -> None:
    """Refuse before any work what could not be saved."""
    from workbook_tools.errors import SaveError
    from workbook_tools.xlsx.saving.whole_file import THERE_ALREADY, check_target

    for target in targets:
        check_target(target, seen)
        if target.exists() and not replace:
            raise SaveError(target, THERE_ALREADY)


def _password(file: Path | None, confirm: bool) -> str | None:
    from workbook_tools.producer.locked import checked_password, password_of

    if file is None:
        return None
    if str(file) == "-":
        typed = click.prompt("Password", hide_input=True, confirmation_prompt=confirm, err=True)
        return checked_password(typed, "terminal")
    return password_of(file)


def _put(made_copy: ProducerCopy, content: bytes, target: Path, pdf: bool, replace: bool, seen: Seen) -> dict[str, Any]:
    """Save copy and PDF; what was made and what was not, as plain data."""
    from workbook_tools.errors import HostError
    from workbook_tools.producer.pdf import pdf_of
    from workbook_tools.xlsx.saving.whole_file import save

    backup = save(target, content, replace, seen)
    pdf_path, trouble = None, None
    if pdf:
        try:
            printed = pdf_of(made_copy.content)
        except HostError as error:
            trouble = str(error)
        else:
            pdf_path = target.with_suffix(".pdf")
            save(pdf_path, printed, replace, seen)
    return facts(target, backup) | {
        "site": made_copy.site,
        "sheets": list(made_copy.sheets),
        "password": content != made_copy.content,
        "pdf": None if pdf_path is None else str(pdf_path),
        "pdf_trouble": trouble,
        "remarks": list(made_copy.remarks),
        "despite": list(made_copy.despite),
    }


def _looked(found: Sorted) -> dict[str, Any]:
    """What was found and allowed, as plain data."""
    return {"hits": [hit.as_dict() for hit in found.leaks], "allowed": [hit.as_dict() for hit in found.allowed]} | {
        "allowed and not found": found.unused
    }


def _say_allowed(allowed: Sequence[Mapping[str, Any]], unused: Sequence[str]) -> None:
    """What was allowed by name: each text, where it is from, and in how many places it stands."""
    counts = Counter((hit["text"], f"{hit['origin']['sheet']} row {hit['origin']['row']}") for hit in allowed)
    for (text, source), number in counts.items():
        say(f"  Allowed by you: {text!r} ({source}), in {number} {'place' if number == 1 else 'places'}.")
    for text in unused:
        say(f"  Allowed by you, and not found: {text!r}.")


def _say(done: Mapping[str, Any]) -> None:
    say(made(Path(done["file"]), Path(done["backup"]) if done["backup"] else None))
    say(f"It was searched: {SEARCHED}. {'No other text of these' if done['allowed'] else 'None of these'} was found.")
    _say_allowed(done["allowed"], done["allowed and not found"])
    if done["pdf"]:
        unlocked = " It has no password: send it only where anyone may read it." if done["password"] else ""
        say(f"Made {done['pdf']}.{unlocked}")
    for line in (*done["despite"], *done["remarks"], *([done["pdf_trouble"]] if done["pdf_trouble"] else [])):
        say(f"  ! {line}")


@cli.command(short_help="Look through a file for what it may not hold.")
@click.argument("copy", metavar="COPY", type=FILE)
@click.option("--against", required=True, type=FILE, metavar="LOG", help="The case log.")
@click.option("--site", metavar="ID", help="The site that COPY is for; left out: the one it says itself.")
@ALLOW
@PASSWORD
@JSON
def audit(
    copy: Path, against: Path, site: str | None, allow: tuple[str, ...], password_file: Path | None, as_json: bool
) -> None:
    """Look through the file COPY for anything of the case log LOG that is another site's or private.

    Searched for: texts of other sites, of rows that belong to no site, and of private columns; of a farm's name the
    first word alone, of a contact's the last, where nobody writes it for another reason. Capitals, accents, what stands
    between words and the code before a telephone number make no difference. Read are workbooks, part by part, PDF, and
    text. Not searched for: numbers typed for other sites, words of less than four letters out of a name, names that are
    misspelt.

    Ends with 0 when nothing is found, with 1 when something is, with 2 when something in it cannot be read (a picture,
    a file of another program) and the rest has nothing.

    \b
    Example
      workbook-tools audit "For S01.xlsx" --against "Practice.xlsx"
    """
    from workbook_tools.errors import ReadError
    from workbook_tools.layout import case_log
    from workbook_tools.log.checking.reading import read_log
    from workbook_tools.producer.audit import audit_content, sorted_hits
    from workbook_tools.producer.locked import unlocked
    from workbook_tools.xlsx.reading import file_content

    content = file_content(copy)
    password = _password(password_file, confirm=False)
    if password is not None:
        content = unlocked(content, password, copy)
    name, hits = audit_content(content, read_log(against, case_log()).computed(), site, copy)
    found = sorted_hits(hits, allow)
    if found.unread and not found.leaks:
        raise ReadError(copy, _unread(found))
    if as_json:
        print_json({"file": str(copy), "site": name, "unread": [str(hit) for hit in found.unread]} | _looked(found))
    else:
        for hit in (*found.leaks, *found.unread):
            say(str(hit))
        _say_allowed(_looked(found)["allowed"], found.unused)
        say(f"{len(found.leaks)} found." if found.leaks else f"Searched for site {name}: {SEARCHED}. None was found.")
    raise SystemExit(1 if found.leaks else 0)


def _unread(found: Sorted) -> str:
    """The sentence about what could not be looked into."""
    named = "; ".join(str(hit) for hit in found.unread[:SHOWN])
    more = f"; and {len(found.unread) - SHOWN} more" if len(found.unread) > SHOWN else ""
    return f"cannot be read in full, so it is not said to be clean: {named}{more}. Nothing was found in the rest."
