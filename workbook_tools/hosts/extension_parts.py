"""The texts inside the Calc extension, each generated from the catalogue."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby
from xml.sax.saxutils import escape, quoteattr

from workbook_tools.functions.catalogue import Entry
from workbook_tools.functions.quantities import Parameter, TableResult
from workbook_tools.functions.texts.help_texts import argument_help, help_text

IDENTIFIER = "workbook-tools.functions"  # of the extension, as LibreOffice lists it
MODULE = "workbooktools"  # of the interfaces and implementations
MENU_PROTOCOL = "vnd.workbook-tools:"
OLDEST_LIBREOFFICE = "7.4"  # the oldest it was proven in

CONFIGURATION = """<?xml version="1.0" encoding="UTF-8"?>
<oor:component-data xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema"
    oor:name="{name}" oor:package="org.openoffice.Office">
{body}
</oor:component-data>
"""

MENU = (
    ("put-time", "Put the ~time in this cell"),
    ("check-log", "~Check this log"),
    ("open-guide", "Open the function ~guide"),
)


def by_topic(entries: Sequence[Entry]) -> list[tuple[str, list[Entry]]]:
    """Entries of each topic, topics in the order of the catalogue."""
    return [(topic, list(group)) for topic, group in groupby(entries, key=lambda entry: entry.topic)]


def service(entry: Entry) -> str:
    """The topic as it stands in a cell: BATH of BATH.TOPUP."""
    return entry.name.partition(".")[0]


def method(entry: Entry) -> str:
    """The function within its topic as it stands in a cell: TOPUP of BATH.TOPUP."""
    return entry.name.partition(".")[2]


def calc_argument_name(number: int, parameter: Parameter) -> str:
    """Name of an argument in the interface: no underscores, never a word of the language, in order when sorted."""
    words = parameter.name.split("_")
    return f"a{number:02d}" + "".join(word.capitalize() for word in words)


def interface_text(entries: Sequence[Entry]) -> str:
    """Interface definitions: an interface for each topic, every argument of any type so that it may be left out."""
    lines = [f"module {MODULE}", "{"]
    for _, group in by_topic(entries):
        lines += [f"    interface X{service(group[0])} : com::sun::star::uno::XInterface", "    {"]
        for entry in group:
            kind = "sequence< sequence< any > >" if isinstance(entry.result, TableResult) else "any"
            arguments = ", ".join(
                f"[in] any {calc_argument_name(number, parameter)}"
                for number, parameter in enumerate(entry.parameters, 1)
            )
            lines.append(f"        {kind} {method(entry)}({arguments});")
        lines += ["    };"]
    return "\n".join([*lines, "};", ""])


def functions_text(entries: Sequence[Entry]) -> str:
    """Configuration of the functions: names, help and arguments as the function wizard shows them."""
    nodes = [_services(group) for _, group in by_topic(entries)]
    body = '  <node oor:name="AddInInfo">\n' + "\n".join(nodes) + "\n  </node>"
    return CONFIGURATION.format(name="CalcAddIns", body=body)


def _services(group: Sequence[Entry]) -> str:
    functions = "\n".join(_function(entry) for entry in group)
    return f"""    <node oor:name="{service(group[0])}" oor:op="replace">
      <node oor:name="AddInFunctions">
{functions}
      </node>
    </node>"""


def _function(entry: Entry) -> str:
    parameters = "\n".join(_parameter(number, parameter, entry) for number, parameter in enumerate(entry.parameters, 1))
    return f"""        <node oor:name="{method(entry)}" oor:op="replace">
          {_words("DisplayName", entry.name)}
          {_words("Description", help_text(entry))}
          <prop oor:name="Category"><value>Add-In</value></prop>
          {_words("CompatibilityName", entry.name)}
          <node oor:name="Parameters">
{parameters}
          </node>
        </node>"""


def _parameter(number: int, parameter: Parameter, entry: Entry) -> str:
    return f"""            <node oor:name="{calc_argument_name(number, parameter)}" oor:op="replace">
              {_words("DisplayName", parameter.label)}
              {_words("Description", argument_help(entry, parameter))}
            </node>"""


def _words(name: str, text: str) -> str:
    return f'<prop oor:name="{name}"><value xml:lang="en">{escape(text)}</value></prop>'


COMPONENT = '''"""{title}, for LibreOffice. Written by a program; do not edit."""

import os
import sys

# before anything of the same name that this Python may have
sys.path.insert(0, os.path.join(os.path.dirname(__file__), "pythonpath"))

from workbook_tools.hosts.calc.log import reason_kept

with reason_kept("{title} cannot be used"):
    {load}
'''


def component_text(topic: str, group: Sequence[Entry]) -> str:
    """The Python file that LibreOffice loads for a topic."""
    functions = "".join(f'\n        "{method(entry)}": "{entry.python_name.partition(".")[2]}",' for entry in group)
    load = f"""from workbook_tools.hosts.calc.topic_functions import component

    FUNCTIONS = {{{functions}
    }}
    g_ImplementationHelper = component("{topic}", "{service(group[0])}", FUNCTIONS)"""
    return COMPONENT.format(title=f"The functions of {service(group[0])}", load=load)


def menu_component_text() -> str:
    """The Python file that LibreOffice loads for the menu."""
    load = "from workbook_tools.hosts.calc.menu import g_ImplementationHelper as g_ImplementationHelper"
    return COMPONENT.format(title="The menu", load=load)


def components_text(files: Iterable[tuple[str, str, str]]) -> str:
    """List of the Python files, each with the implementation and the service in it."""
    lines = [
        f'  <component loader="com.sun.star.loader.Python" uri={quoteattr(file)}>\n'
        f'    <implementation name="{MODULE}.{implementation}"><service name="{name}"/></implementation>\n'
        "  </component>\n"
        for file, implementation, name in files
    ]
    head = '<?xml version="1.0" encoding="UTF-8"?>\n<components xmlns="http://openoffice.org/2010/uno-components">\n'
    return f"{head}{''.join(lines)}</components>\n"


def manifest_text(parts: Iterable[tuple[str, str]]) -> str:
    """List of the parts that LibreOffice has to look at, each with its kind."""
    lines = [
        f'  <manifest:file-entry manifest:full-path="{path}" manifest:media-type="{kind}"/>\n' for path, kind in parts
    ]
    head = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<manifest:manifest xmlns:manifest="http://openoffice.org/2001/manifest">\n'
    )
    return f"{head}{''.join(lines)}</manifest:manifest>\n"


def description_text(version: str) -> str:
    """What LibreOffice's list of extensions shows."""
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<description xmlns="http://openoffice.org/extensions/description/2006" xmlns:xlink="http://www.w3.org/1999/xlink"
    xmlns:lo="http://libreoffice.org/extensions/description/2011">
  <identifier value="{IDENTIFIER}"/>
  <version value="{version}"/>
  <display-name><name lang="en">Workbook tools: functions for fish health</name></display-name>
  <extension-description><src xlink:href="description.txt" lang="en"/></extension-description>
  <registration>
    <simple-license accept-by="admin" default-license-id="en" suppress-on-update="true">
      <license-text xlink:href="LICENSE" lang="en" license-id="en"/>
    </simple-license>
  </registration>
  <dependencies>
    <lo:LibreOffice-minimal-version value="{OLDEST_LIBREOFFICE}" lo:name="LibreOffice {OLDEST_LIBREOFFICE}"/>
  </dependencies>
</description>
"""


def protocol_text() -> str:
    """Configuration that sends the menu's commands to the menu's component."""
    body = f"""  <node oor:name="HandlerSet">
    <node oor:name="{MODULE}.Menu" oor:op="replace">
      <prop oor:name="Protocols"><value>{MENU_PROTOCOL}*</value></prop>
    </node>
  </node>"""
    return CONFIGURATION.format(name="ProtocolHandler", body=body)


def menu_text() -> str:
    """Configuration of the menu, shown in Calc only."""
    items = "\n".join(
        f"""          <node oor:name="item{number}" oor:op="replace">
            <prop oor:name="URL"><value>{MENU_PROTOCOL}{command}</value></prop>
            {_words("Title", title)}
            <prop oor:name="Target"><value>_self</value></prop>
          </node>"""
        for number, (command, title) in enumerate(MENU, 1)
    )
    body = f"""  <node oor:name="AddonUI">
    <node oor:name="OfficeMenuBar">
      <node oor:name="{MODULE}.menu" oor:op="replace">
        <prop oor:name="Context"><value>com.sun.star.sheet.SpreadsheetDocument</value></prop>
        {_words("Title", "~Workbook tools")}
        <node oor:name="Submenu">
{items}
        </node>
      </node>
    </node>
  </node>"""
    return CONFIGURATION.format(name="Addons", body=body)
