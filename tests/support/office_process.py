"""The processes behind `tests.support.office`: LibreOffice itself and the worker that talks to it."""

from __future__ import annotations

import json
import os
import queue
import re
import shutil
import signal
import subprocess
import tempfile
import threading
import time
import uuid
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tests.prepare import SYSTEM_PATH
from tests.prepare import office as find_office

WORKER = Path(__file__).with_name("uno_worker.py")
LOG_LINES_SHOWN = 15
SECONDS_TO_START = 120
SECONDS_TO_END = 20
SECONDS_AFTER_SIGNAL = 3


class OfficeFailedError(RuntimeError):
    """LibreOffice could not do what was asked, or died over it."""


class OfficeTimeoutError(OfficeFailedError, TimeoutError):
    """LibreOffice did not answer within the time limit and was ended."""


class OfficeProcess:
    """LibreOffice with a profile of its own, and a worker beside it; both end with `close`.

    After a failure everything is ended at once, and the next request starts it all again.

    Parameters
    ----------
    profile : a profile folder to use; None for a temporary one.
    environment : further environment variables for LibreOffice.
    locale : whose decimal and date habits typed text follows.
    seconds : time limit of one request. [s]

    Raises
    ------
    tests.prepare.PreparationError : LibreOffice is not installed; the text says how to install it.
    """

    def __init__(self, profile: Path | None, environment: Mapping[str, str], locale: str, seconds: float) -> None:
        self.programs = find_office(install=False)
        self.seconds = seconds
        self._given_profile = profile
        self._environment = dict(environment)
        self._locale = locale
        self._soffice: subprocess.Popen[bytes] | None = None
        self._worker: subprocess.Popen[str] | None = None
        self._lines: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self.folder = Path(tempfile.mkdtemp(prefix="workbook-tools-office-"))
        try:
            self._start()
        except BaseException:
            self.close()
            raise

    @property
    def identifier(self) -> int | None:
        """Process id of the running LibreOffice, which leads a process group of its own; None when it has ended."""
        return self._soffice.pid if self._soffice else None

    def ask(self, request: Mapping[str, Any], seconds: float | None = None) -> Any:
        """Have the worker do something and return its answer."""
        if self._worker is None:
            self._start()
        assert self._worker is not None
        assert self._worker.stdin is not None
        what = f"finish {request['action']!r}"
        if "path" in request:
            what += f" with {Path(request['path']).name}"
        try:
            self._worker.stdin.write(json.dumps(request) + "\n")
            self._worker.stdin.flush()
        except OSError as error:
            raise self._failed(f"LibreOffice's helper had ended before it could {what}") from error
        try:
            reply = self._reply(seconds or self.seconds, what)
        except KeyboardInterrupt:
            self._end()  # the answer that is still to come must not be taken for the next one's
            raise
        if "refused" in reply:
            raise OfficeFailedError(f"LibreOffice could not {what}: {reply['refused']}")
        return reply.get("answer")

    def close(self) -> None:
        """End LibreOffice, the orderly way where it can, and remove the temporary folder."""
        try:
            if self._worker is not None and self._soffice is not None and self._soffice.poll() is None:
                self.ask({"action": "stop"}, SECONDS_TO_END)
                if self._soffice is not None:
                    self._soffice.wait(SECONDS_TO_END)
        except (OfficeFailedError, subprocess.TimeoutExpired) as error:
            # What was read before stays true; the processes are ended below.
            print(f"LibreOffice did not end when asked to and was ended: {error}")
        finally:
            self._end()
            shutil.rmtree(self.folder, ignore_errors=True)

    def _start(self) -> None:
        """Start LibreOffice and the worker; wait until both are ready."""
        profile = self._given_profile
        if profile is None:
            profile = self.folder / "profile"
            shutil.rmtree(profile, ignore_errors=True)  # after a crash it would offer to recover files
        prepare_profile(profile, self._locale)
        pipe = f"workbook_tools_{uuid.uuid4().hex}"
        home = self.folder / "home"
        home.mkdir(exist_ok=True)
        # A virtual environment on PATH can make LibreOffice write nothing and report success.
        variables = {"PATH": SYSTEM_PATH, "HOME": str(home), "LANG": "C.UTF-8", "SAL_USE_VCLPLUGIN": "svp"}
        arguments = [
            f"-env:UserInstallation={profile.resolve().as_uri()}",
            f"--accept=pipe,name={pipe};urp;StarOffice.ComponentContext",
            *["--headless", "--invisible", "--norestore", "--nologo", "--nodefault"],
            *["--nofirststartwizard", "--nolockcheck"],
        ]
        self._lines = queue.SimpleQueue()
        with (self.folder / "soffice.log").open("ab") as log:
            self._soffice = subprocess.Popen(
                [str(self.programs.soffice), *arguments],
                env=variables | self._environment,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        with (self.folder / "worker.log").open("ab") as log:
            self._worker = subprocess.Popen(
                [str(self.programs.python), str(WORKER), pipe, str(SECONDS_TO_START)],
                env=variables,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=log,
                text=True,
                encoding="utf-8",
                start_new_session=True,
            )
        threading.Thread(target=_pass_on, args=(self._worker, self._lines), daemon=True).start()
        self._reply(SECONDS_TO_START, "start")

    def _reply(self, seconds: float, what: str) -> dict[str, Any]:
        """The worker's next reply; notices when LibreOffice or the worker ends, or time runs out."""
        end = time.monotonic() + seconds
        while True:
            try:
                line = self._lines.get(timeout=max(0.01, min(0.5, end - time.monotonic())))
            except queue.Empty:
                if self._soffice is not None and self._soffice.poll() is not None:
                    raise self._failed(f"LibreOffice ended while it should {what}") from None
                if time.monotonic() > end:
                    sentence = f"LibreOffice did not {what} within {seconds:g} s"
                    raise self._failed(sentence, OfficeTimeoutError) from None
                continue
            if line is None:
                raise self._failed(f"LibreOffice or its helper ended while it should {what}")
            reply = json.loads(line)
            if not isinstance(reply, dict):
                raise self._failed(f"LibreOffice's helper answered {line!r}")
            return reply

    def _failed(self, sentence: str, kind: type[OfficeFailedError] = OfficeFailedError) -> OfficeFailedError:
        """End everything and make the error, with the end of both logs."""
        self._end()
        ends = []
        for name in ("soffice.log", "worker.log"):
            log = self.folder / name
            lines = log.read_text(encoding="utf-8", errors="replace").splitlines() if log.exists() else []
            ends += [f"{name}: {line}" for line in lines[-LOG_LINES_SHOWN:]]
        return kind("\n".join([sentence, *ends]))

    def _end(self) -> None:
        """End the processes that this object started, and nothing else."""
        for process in (self._worker, self._soffice):
            if process is not None:
                _end_group(process)
        if self._worker is not None:
            for pipe in (self._worker.stdin, self._worker.stdout):
                if pipe is not None:
                    _close(pipe)
        self._worker = self._soffice = None


def prepare_profile(profile: Path, locale: str = "en-US") -> None:
    """Set a profile to recalculate every file it opens; other settings in it stay."""
    settings = [
        ("/org.openoffice.Office.Calc/Formula/Load", "OOXMLRecalcMode", "0"),
        ("/org.openoffice.Office.Calc/Formula/Load", "ODFRecalcMode", "0"),
        ("/org.openoffice.Setup/L10N", "ooSetupSystemLocale", locale),
    ]
    file = profile / "user" / "registrymodifications.xcu"
    file.parent.mkdir(parents=True, exist_ok=True)
    text = (
        file.read_text(encoding="utf-8")
        if file.exists()
        else '<?xml version="1.0" encoding="UTF-8"?>\n<oor:items xmlns:oor="http://openoffice.org/2001/registry"'
        ' xmlns:xs="http://www.w3.org/2001/XMLSchema" xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">\n'
        "</oor:items>\n"
    )
    for path, name, value in settings:
        old = rf'<item oor:path="{re.escape(path)}"><prop oor:name="{name}".*?</item>\n?'
        new = f'<item oor:path="{path}"><prop oor:name="{name}" oor:op="fuse"><value>{value}</value></prop></item>\n'
        text = re.sub(old, "", text, flags=re.DOTALL).replace("</oor:items>", f"{new}</oor:items>")
    file.write_text(text, encoding="utf-8")
    (profile / ".lock").unlink(missing_ok=True)  # left by a LibreOffice that was ended


def _pass_on(worker: subprocess.Popen[str], lines: queue.SimpleQueue[str | None]) -> None:
    """Put each line of the worker into the queue, and None when there will be no more."""
    assert worker.stdout is not None
    for line in worker.stdout:
        lines.put(line)
    lines.put(None)


def _close(pipe: Any) -> None:
    """Close our end of a pipe; what a process that has ended can no longer take is of no use any more."""
    try:
        pipe.close()
    except BrokenPipeError:
        return


def _end_group(process: subprocess.Popen[Any]) -> None:
    """End a process that leads its own group, and whatever it started in that group."""
    for sent in (signal.SIGTERM, signal.SIGKILL):
        end = time.monotonic() + SECONDS_AFTER_SIGNAL
        try:
            os.killpg(process.pid, sent)
            while time.monotonic() < end:
                process.poll()
                os.killpg(process.pid, 0)
                time.sleep(0.02)
        except ProcessLookupError:
            break
    process.wait(SECONDS_AFTER_SIGNAL)
