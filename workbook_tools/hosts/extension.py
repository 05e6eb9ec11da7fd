"""The LibreOffice Calc extension: the catalogue's functions by name, and a menu of their own.

`build` writes it, `install`, `remove` and `installed` hand it to LibreOffice. The formulas inside are the very files
of this package, so a cell and Python run the same code.
"""

from __future__ import annotations

import importlib.metadata
from pathlib import Path

from workbook_tools import __version__
from workbook_tools.functions.catalogue import entries
from workbook_tools.hosts import extension_parts as parts
from workbook_tools.hosts.guide import page
from workbook_tools.hosts.office_setup import extension_installed, install, remove
from workbook_tools.xlsx.packing import Packing

__all__ = ["build", "extension_installed", "install", "remove"]

BUNDLED = (
    *("__init__.py", "errors.py", "functions/__init__.py", "functions/quantities/*.py", "functions/formulas/**/*.py"),
    *("hosts/__init__.py", "hosts/calc/*.py"),
)
# they need the pint library, which LibreOffice's Python does not have, or serve sheets only
LEFT_OUT = tuple(f"functions/quantities/{name}.py" for name in ("boundary", "unit_table_writer", "amounts"))

TYPES = "application/vnd.sun.star.uno-typelibrary;type=RDB"
COMPONENTS = "application/vnd.sun.star.uno-components"
SETTINGS = "application/vnd.sun.star.configuration-data"
# the parts that LibreOffice has to look at
LISTED = (
    ("functions.idl", TYPES),
    ("functions.components", COMPONENTS),
    ("CalcAddIns.xcu", SETTINGS),
    ("ProtocolHandler.xcu", SETTINGS),
    ("Addons.xcu", SETTINGS),
)


def build(path: str | Path) -> Path:
    """Write the extension.

    Parameters
    ----------
    path : file to write, ending in .oxt; what is there is replaced.

    Returns
    -------
    The path.

    Raises
    ------
    ValueError where the name does not end in .oxt; OSError where it cannot be written.
    """
    target = Path(path)
    if target.suffix.lower() != ".oxt":
        raise ValueError(f"{target}: the name of an extension ends in .oxt")
    with Packing() as package:
        for name, content in extension_files().items():
            package.add(name, [content])
    target.write_bytes(package.content())
    return target


def extension_files() -> dict[str, bytes]:
    """Every part of the extension by its name, in the order of the package."""
    found = entries()
    topics = parts.by_topic(found)
    loaded = [(f"{topic}_functions.py", parts.service(group[0]), parts.service(group[0])) for topic, group in topics]
    loaded.append(("menu.py", "Menu", f"{parts.MODULE}.Menu"))
    texts = {
        "META-INF/manifest.xml": parts.manifest_text(LISTED),
        "description.xml": parts.description_text(__version__),
        "description.txt": "Functions for fish health, by name in any cell, and a menu for the case log.\n",
        "LICENSE": licence(),
        "functions.idl": parts.interface_text(found),
        "functions.components": parts.components_text(loaded),
        "CalcAddIns.xcu": parts.functions_text(found),
        "ProtocolHandler.xcu": parts.protocol_text(),
        "Addons.xcu": parts.menu_text(),
        "menu.py": parts.menu_component_text(),
        "guide.html": page(),
    }
    texts |= {f"{topic}_functions.py": parts.component_text(topic, group) for topic, group in topics}
    return {name: text.encode("utf-8") for name, text in texts.items()} | extension_sources()


def extension_sources() -> dict[str, bytes]:
    """The files of this package that run inside LibreOffice, as they are."""
    root = Path(__file__).parents[1]
    names = sorted(file.relative_to(root).as_posix() for pattern in BUNDLED for file in root.glob(pattern))
    return {f"pythonpath/workbook_tools/{name}": (root / name).read_bytes() for name in names if name not in LEFT_OUT}


def licence() -> str:
    """Text of the licence, from the installed package or, where it was never installed, from beside its sources."""
    try:
        for file in importlib.metadata.files("workbook-tools") or ():
            if file.name == "LICENSE":
                return file.read_text(encoding="utf-8")
    except importlib.metadata.PackageNotFoundError:
        pass  # run from its sources
    return (Path(__file__).parents[2] / "LICENSE").read_text(encoding="utf-8")
