"""The Calc extension runs no code from a workbook: read in its source, and tried with texts that would be code."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.every_command import ROOT
from workbook_tools.hosts import extension

CALLS = frozenset(
    (
        *("eval", "exec", "compile", "__import__", "import_module", "open", "input", "breakpoint", "system", "popen"),
        *("Popen", "run_module", "run_path", "loads", "load", "execute", "loadComponentFromURL", "execfile", "spawn"),
        *("unlink", "rmdir", "write_text", "write_bytes", "rename", "replace", "remove", "setattr", "delattr"),
        *("globals", "vars", "locals", "createScript", "getScriptProvider", "invoke", "setFormula", "storeToURL"),
        *("setFormulaArray", "storeAsURL", "getattr", "createInstance", "createInstanceWithContext"),
    )
)
MODULES = frozenset(
    (
        *("os", "subprocess", "ctypes", "socket", "ssl", "http", "urllib", "ftplib", "smtplib", "webbrowser", "pickle"),
        *("marshal", "shelve", "runpy", "code", "codeop", "multiprocessing", "importlib", "shutil", "tempfile", "pty"),
        *("requests", "signal", "builtins", "gc", "inspect", "types", "asyncio", "concurrent"),
    )
)
CALC = "pythonpath/workbook_tools/hosts/calc/"
# each with the reason why no text of a workbook reaches it
QUANTITIES = "pythonpath/workbook_tools/functions/quantities/"
ALLOWED = {
    (f"{QUANTITIES}checking.py", "calls compile"): "a condition that is written beside a function, see below",
    (f"{QUANTITIES}checking.py", "calls eval"): "the same; what a cell holds is a value in it, never a part of it",
    (f"{QUANTITIES}checking.py", "calls getattr"): "a name that is written there",
    (f"{QUANTITIES}kinds.py", "calls getattr"): "a name that is written there",
    (f"{QUANTITIES}kinds.py", "imports inspect"): "reads the signatures of functions of ours",
    (f"{CALC}topic_functions.py", "imports importlib"): "to load a topic's module when LibreOffice registers it",
    (f"{CALC}topic_functions.py", "calls import_module"): "the topic is written in the component's file",
    (f"{CALC}topic_functions.py", "calls getattr"): "the function's name is written in the component's file",
    (f"{CALC}log.py", "calls open"): "the extension's own log in the user's profile, to append",
    (f"{CALC}log.py", "calls createInstanceWithContext"): "asks where the profile is",
    (f"{CALC}menu.py", "calls createInstanceWithContext"): "two services by names that are written there",
    (f"{CALC}menu.py", "calls execute"): "shows a box",
    (f"{CALC}menu_actions.py", "calls execute"): "opens the guide of the extension, as a page and never as a program",
    (f"{CALC}menu_actions.py", "calls loadComponentFromURL"): "the same guide, where there is no browser",
}


def risky(source: str) -> Iterator[str]:
    """What a source does that could run code, reach files or the network."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call):
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if name in CALLS and not _harmless(node):
                yield f"calls {name}"
        elif isinstance(node, ast.Import):
            yield from (f"imports {a.name.split('.')[0]}" for a in node.names if a.name.split(".")[0] in MODULES)
        elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in MODULES:
            yield f"imports {(node.module or '').split('.')[0]}"


def _harmless(node: ast.Call) -> bool:
    """`text.replace(a, b)` is a text's where `path.replace(other)` is a file's; `re.compile` makes a pattern."""
    if not isinstance(node.func, ast.Attribute):
        return False
    return (node.func.attr == "replace" and len(node.args) == 2) or ast.unparse(node.func) == "re.compile"


def sources() -> dict[str, str]:
    return {name: part.decode() for name, part in extension.extension_files().items() if name.endswith(".py")}


def test_nothing_in_the_extension_could_run_code_or_reach_files_but_what_is_named_here() -> None:
    found = {(name, what) for name, source in sources().items() for what in risky(source)}
    assert f"{CALC}menu.py" in sources()
    assert "bath_functions.py" in sources()
    loaded = {name for name in sources() if "/" not in name}  # what LibreOffice loads; all are of one pattern
    found -= {(name, "imports os") for name in loaded}
    assert found == set(ALLOWED)


def test_what_libreoffice_loads_uses_os_for_its_own_folder_alone() -> None:
    for name, source in sources().items():
        if "/" not in name:
            used = {ast.unparse(node) for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Attribute)}
            assert {text for text in used if text.startswith("os.")} <= {
                *("os.path", "os.path.dirname", "os.path.abspath", "os.path.realpath", "os.path.join"),
            }, name


def test_every_condition_of_a_function_is_written_out_in_its_source() -> None:
    """`@requires("target >= now", ...)`: the text that is compiled is a constant, so no cell can be a part of it."""
    trees = {name: ast.parse(source) for name, source in sources().items()}
    assigned = [node for tree in trees.values() for node in tree.body if isinstance(node, ast.Assign)]
    constants = {to.id: node.value for node in assigned for to in node.targets if isinstance(to, ast.Name)}
    written = 0
    for name, tree in trees.items():
        for node in ast.walk(tree):
            called = isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id
            if called in ("requires", "Relation"):
                assert isinstance(node, ast.Call)
                if called == "Relation":
                    assert name == f"{QUANTITIES}checking.py"
                    continue
                first = node.args[0]
                if isinstance(first, ast.Starred) and isinstance(first.value, ast.Name):  # a pair that several share
                    pair = constants[first.value.id]
                    assert isinstance(pair, ast.Tuple)
                    first = pair.elts[0]
                assert isinstance(first, ast.Constant), f"{name}, line {node.lineno}"
                written += 1
    assert written >= 5


@pytest.mark.parametrize(
    ("source", "what"),
    [
        ("eval(text)", "calls eval"),
        ("import os\nos.system(text)", "imports os"),
        ("def f(t):\n    from subprocess import run\n    run(t)", "imports subprocess"),
        ("__import__(text)", "calls __import__"),
        ("document.getScriptProvider().getScript(text)", "calls getScriptProvider"),
        ("cell.setFormula(text)", "calls setFormula"),
        ("path.replace(other)", "calls replace"),
        ("import importlib.util", "imports importlib"),
    ],
)
def test_what_could_run_code_is_seen(source: str, what: str) -> None:
    assert what in set(risky(source))


def test_the_extension_holds_nothing_that_libreoffice_runs_but_its_components() -> None:
    """No macro library, no script, no other program."""
    parts = extension.extension_files()
    assert {Path(name).suffix for name in parts} == {"", ".xml", ".txt", ".idl", ".components", ".xcu", ".py", ".html"}
    manifest = parts["META-INF/manifest.xml"].decode()
    kinds = {piece.split('"')[0] for piece in manifest.split('media-type="')[1:]}
    assert kinds == {kind for _, kind in extension.LISTED}
    assert not any(word in manifest for word in ("basic-library", "dialog-library", "script", "executable"))


HOSTILE = """
import datetime, json, random, sys, types

def module(name, **members):
    made = types.ModuleType(name)
    made.__dict__.update(members)
    sys.modules[name] = made

class Helper:
    def addImplementation(self, adapter, *names):
        self.adapter = adapter

module("uno", getClass=lambda name: type(name.rpartition(".")[2], (), {}))
module("unohelper", Base=type("Base", (), {}), ImplementationHelper=Helper)

from workbook_tools.functions.catalogue import entries
from workbook_tools.errors import ArgumentError
from workbook_tools.hosts.calc import topic_functions

texts = json.load(sys.stdin)
calls = []
for entry in entries():
    helper = topic_functions.component(entry.topic, entry.topic.upper(), {"answer": entry.function.__name__})
    calls.append((entry.name, helper.adapter.answer, len(entry.parameters)))

def ask(method, given):
    try:
        answer = method(None, *given)
    except ArgumentError as error:
        str(error)
        return "refused"
    return type(answer).__name__

for _, method, count in calls:  # once before the watch: what the standard library loads late is loaded now
    for text in texts[:3]:
        ask(method, [text] * count)

WATCHED = ("exec", "compile", "open", "import", "os.", "subprocess.", "socket.", "ctypes.", "pickle.", "code.")
seen, on = [], False

def watch(event, arguments):
    if on and event.startswith(WATCHED):
        seen.append(f"{event} {arguments!r}"[:120])

sys.addaudithook(watch)
answers = {}
on = True
for name, method, count in calls:
    rest = [40.0] * (count - 1)
    for text in texts:
        for given in ([text] * count, [*rest, text], [text, *rest], [((text, text),)] * count):
            kind = ask(method, given)
            answers[kind] = answers.get(kind, 0) + 1
on = False
print(json.dumps({"seen": seen, "answers": answers, "functions": len(calls)}))
"""
TEXTS = (
    "__import__('os').system('touch here')",
    "=cmd|' /C calc'!A0",
    "{0.__class__.__mro__}",
    "%s%n%s",
    "${jndi:ldap://127.0.0.1/a}",
    "os.system",
    "../../../../etc/passwd",
    "file:///etc/passwd",
    "\u202e\x00\x1b[2J",
    "9" * 5_000,
    "1e999",
    "nan",
    "x" * 32_767,
    "macro:///Standard.Module1.Main()",
    "(((((" * 500,
    "lambda: 0",
    "kg; import os",
    "mg/L**99999999",
)


def test_texts_that_would_be_code_are_refused_and_nothing_is_run_or_opened() -> None:
    """Every function of the catalogue, through the very methods that Calc calls."""
    done = subprocess.run(
        [sys.executable, "-c", HOSTILE], input=json.dumps(TEXTS), capture_output=True, text=True, check=False,
        timeout=120, cwd=ROOT,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    said = json.loads(done.stdout)
    assert said["seen"] == []
    assert said["functions"] > 50
    assert said["answers"]["refused"] > 1_000
    assert set(said["answers"]) <= {"refused", "float", "tuple"}
