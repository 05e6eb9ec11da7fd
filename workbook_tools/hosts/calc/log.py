"""A log in the user's profile for what goes wrong where nobody sees an error."""

from __future__ import annotations

import contextlib
import datetime
import sys
import traceback
from collections.abc import Iterator
from pathlib import Path

import uno  # only inside LibreOffice

FILE_NAME = "workbook-tools.log"
_written: set[str] = set()


def log_file() -> Path:
    """The log: beside the other files of the user's LibreOffice profile."""
    context = uno.getComponentContext()
    substitution = context.ServiceManager.createInstanceWithContext("com.sun.star.util.PathSubstitution", context)
    return Path(uno.fileUrlToSystemPath(substitution.substituteVariables("$(user)", True))) / FILE_NAME


@contextlib.contextmanager
def reason_kept(sentence: str) -> Iterator[None]:
    """Write whatever goes wrong inside to the log, under a sentence, and let it go on.

    A sentence is written once in a session: LibreOffice tries anew for every cell.
    """
    try:
        yield
    except Exception as error:
        if sentence not in _written:
            _written.add(sentence)
            reason = "".join(traceback.format_exception(type(error), error, error.__traceback__))
            now = datetime.datetime.now().isoformat(" ", "seconds")
            with log_file().open("a", encoding="utf-8") as log:
                log.write(f"{now} {sentence} (Python {sys.version.split()[0]}):\n{reason}\n")
        raise
