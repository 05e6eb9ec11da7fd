"""Does in LibreOffice what a person does with the extension's menu; see tests.support.uno_worker, which this extends.

Runs under the Python that can `import uno`. The parts of the menu that need no window are called in this process,
from the files of the extension; the commands are sent through LibreOffice's own dispatcher.
"""

from __future__ import annotations

import contextlib
import datetime
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

import uno_worker  # type: ignore[import-not-found]

NOON = datetime.datetime(2026, 3, 2, 12, 0)


@contextlib.contextmanager
def opened(desktop, request):
    """A spreadsheet, closed without saving at the end."""
    import uno

    hidden = uno.createUnoStruct("com.sun.star.beans.PropertyValue", Name="Hidden", Value=True)
    document = desktop.loadComponentFromURL(uno.systemPathToFileUrl(request["path"]), "_blank", 0, (hidden,))
    try:
        document.calculateAll()
        yield document
    finally:
        document.close(True)


def with_menu(request):
    """The menu's modules, from the unpacked extension."""
    if request["extension"] not in sys.path:
        sys.path.insert(0, request["extension"])
    import uno  # noqa: F401 - makes UNO's own modules importable

    from workbook_tools.hosts.calc import menu, menu_actions

    return menu, menu_actions


def shown_box(request, document, command):
    """Carry a command out through the menu's class, with a window that keeps what it should show."""
    menu, _ = with_menu(request)
    boxes = []

    class Box:
        def createMessageBox(self, window, kind, buttons, title, text):
            boxes.append([title, text])
            return self

        def execute(self):
            return 1

        def dispose(self):
            return None

    class Url:
        Path = command
        Protocol = menu.PROTOCOL

    class Frame:
        Controller = document.CurrentController

        class ContainerWindow:
            Toolkit = Box()

    menu.Menu(None, Frame()).dispatch(Url(), ())
    return boxes


def check(desktop, request):
    """The summary of the Check columns, and what the box shows."""
    with opened(desktop, request) as document:
        _, actions = with_menu(request)
        return {
            "findings": [list(finding) for finding in actions.check_findings(document)],
            "box": shown_box(request, document, "check-log"),
        }


def put_times(desktop, request):
    """Put noon into cells; for each the address or refusal, then value, text shown and formula."""
    answers = {}
    with opened(desktop, request) as document:
        _, actions = with_menu(request)
        sheet = document.Sheets.getByIndex(0)
        for address in request["cells"]:
            document.CurrentController.select(sheet.getCellRangeByName(address))
            try:
                answer = actions.put_time(document, NOON)
            except actions.ActionRefusedError as refusal:
                answer = str(refusal)
            cell = sheet.getCellRangeByName(address).getCellByPosition(0, 0)
            answers[address] = [answer, cell.getValue(), cell.getString(), cell.getFormula()]
    return answers


def send(desktop, request):
    """Send a command of the menu through the dispatcher of a real window; what is in A1 then."""
    import uno

    with opened(desktop, request) as document:
        frame = document.CurrentController.Frame
        url = uno.createUnoStruct("com.sun.star.util.URL")
        url.Complete = request["command"]
        url.Protocol, _, path = request["command"].partition(":")
        url.Protocol += ":"
        url.Path = path
        document.CurrentController.select(document.Sheets.getByIndex(0).getCellRangeByName("A1"))
        carrier = frame.queryDispatch(url, "_self", 0)
        if carrier is None:
            return None
        carrier.dispatch(url, ())
        cell = document.Sheets.getByIndex(0).getCellRangeByName("A1")
        return {"value": cell.getValue(), "shown": cell.getString()}


def open_guide(desktop, request):
    """Where the guide is, and who is asked to open it, with a browser and without; no window opens."""
    _, actions = with_menu(request)
    from com.sun.star.uno import Exception as OfficeException

    asked = []

    class Browser:
        def execute(self, address, arguments, flags):
            asked.append(["browser", address, flags])

    class NoBrowser:
        def execute(self, address, arguments, flags):
            raise OfficeException("none", None)

    class Desktop:
        def __init__(self, answer):
            self.answer = answer

        def loadComponentFromURL(self, address, target, flags, wishes):
            asked.append(["LibreOffice", address, target])
            return self.answer

    actions.open_guide(Browser(), Desktop(None))
    actions.open_guide(NoBrowser(), Desktop("a document"))
    try:
        actions.open_guide(NoBrowser(), Desktop(None))
    except actions.ActionRefusedError as refusal:
        asked.append(["refused", str(refusal)])
    return {"file": str(actions.guide_file()), "asked": asked}


uno_worker.ACTIONS.update({action.__name__: action for action in (check, put_times, send, open_guide)})

if __name__ == "__main__":
    uno_worker.main()
