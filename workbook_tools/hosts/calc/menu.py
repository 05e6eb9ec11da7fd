"""The menu's commands as LibreOffice sends them, and the box that answers."""

from __future__ import annotations

import datetime
from typing import Any

import uno  # only inside LibreOffice
import unohelper
from com.sun.star.frame import XDispatch, XDispatchProvider
from com.sun.star.lang import XInitialization, XServiceInfo

from workbook_tools.hosts.calc import menu_actions
from workbook_tools.hosts.calc.log import reason_kept

SERVICE = "workbooktools.Menu"
PROTOCOL = "vnd.workbook-tools:"
TITLE = "Workbook tools"


class Menu(unohelper.Base, XDispatchProvider, XDispatch, XInitialization, XServiceInfo):  # type: ignore[misc]
    """Carries out the commands of one window's menu."""

    def __init__(self, context: Any, *arguments: Any) -> None:
        self.context = context
        self.frame: Any = None
        self.initialize(arguments)

    def initialize(self, arguments: Any) -> None:
        if arguments:
            self.frame = arguments[0]

    def queryDispatch(self, url: Any, target: str, flags: int) -> Any:  # noqa: N802 - LibreOffice's name
        return self if url.Protocol == PROTOCOL and url.Path in COMMANDS else None

    def queryDispatches(self, requests: Any) -> Any:  # noqa: N802
        return tuple(self.queryDispatch(r.FeatureURL, r.FrameName, r.SearchFlags) for r in requests)

    def dispatch(self, url: Any, arguments: Any) -> None:
        with reason_kept(f"The command {url.Path} went wrong"):
            try:
                answer = COMMANDS[url.Path](self)
            except menu_actions.ActionRefusedError as refusal:
                answer = str(refusal)
            if answer:
                self.show(answer)

    def addStatusListener(self, listener: Any, url: Any) -> None:  # noqa: N802
        """The commands are always there; nothing to tell."""

    def removeStatusListener(self, listener: Any, url: Any) -> None:  # noqa: N802
        """Nothing was kept."""

    def getImplementationName(self) -> str:  # noqa: N802
        return SERVICE

    def supportsService(self, name: str) -> bool:  # noqa: N802
        return name in self.getSupportedServiceNames()

    def getSupportedServiceNames(self) -> tuple[str, ...]:  # noqa: N802
        return (SERVICE,)

    @property
    def document(self) -> Any:
        return self.frame.Controller.Model

    def put_time(self) -> str:
        menu_actions.put_time(self.document, datetime.datetime.now())
        return ""

    def check_log(self) -> str:
        return menu_actions.check_report(self.document)

    def open_guide(self) -> str:
        manager = self.context.ServiceManager
        shell = manager.createInstanceWithContext("com.sun.star.system.SystemShellExecute", self.context)
        desktop = manager.createInstanceWithContext("com.sun.star.frame.Desktop", self.context)
        menu_actions.open_guide(shell, desktop)
        return ""

    def show(self, text: str) -> None:
        """A box with a text and an OK button."""
        window = self.frame.ContainerWindow
        kind = uno.Enum("com.sun.star.awt.MessageBoxType", "INFOBOX")
        box = window.Toolkit.createMessageBox(window, kind, 1, TITLE, text)
        box.execute()
        box.dispose()


COMMANDS = {"put-time": Menu.put_time, "check-log": Menu.check_log, "open-guide": Menu.open_guide}

g_ImplementationHelper = unohelper.ImplementationHelper()  # noqa: N816 - the name LibreOffice looks for
g_ImplementationHelper.addImplementation(Menu, SERVICE, (SERVICE,))
