"""The codes of findings that the package can give, read off its source, and the sentences it can say."""

from __future__ import annotations

import ast
import functools
import itertools
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import workbook_tools
from workbook_tools.layout.load import folder

PACKAGE = Path(workbook_tools.__file__).parent
SEVERITIES = ("fault", "notice")
FEWEST_SIGNS = 15  # of a text that may be a sentence
WORDS_OF_ITS_OWN = "advice.py"  # reads the table that is compared with what this module finds


@dataclass
class Codes:
    """Codes with the severities that stand beside them in the source, and places where a code cannot be read."""

    found: dict[str, set[str]] = field(default_factory=dict)
    unreadable: list[str] = field(default_factory=list)


@functools.cache
def codes_of_source() -> Codes:
    """The codes of every call that takes one: of a function with a parameter `code`, of a class with such a field."""
    trees = {path: tree for path, tree in _trees().items() if path.name != WORDS_OF_ITS_OWN}
    shared = {name: names for tree in trees.values() for name, names in _takers(tree) if name[0] != "_"}
    codes = Codes()
    for path, tree in trees.items():
        _read(tree, f"{path.relative_to(PACKAGE)}", shared | dict(_takers(tree)), codes)
    return codes


def codes_of_layouts() -> set[str]:
    """The codes of every rule in the layout files of today."""
    return {
        entry["code"]
        for path in folder().glob("*.toml")
        for entry in _entries(tomllib.loads(path.read_text(encoding="utf-8")))
        if {"code", "when", "say"} <= entry.keys()
    }


def can_say(sentence: str) -> bool:
    """Whether some text of the package, its gaps filled in, is this sentence."""
    return any(pattern.fullmatch(sentence) for pattern in _patterns())


def _entries(value: Any) -> Iterator[dict[str, Any]]:
    if isinstance(value, dict):
        yield value
        value = list(value.values())
    if isinstance(value, list):
        for one in value:
            yield from _entries(one)


def _takers(tree: ast.Module) -> Iterator[tuple[str, list[str]]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            names = [argument.arg for argument in (*node.args.posonlyargs, *node.args.args)]
        elif isinstance(node, ast.ClassDef):
            names = [n.target.id for n in node.body if isinstance(n, ast.AnnAssign) and isinstance(n.target, ast.Name)]
        else:
            continue
        if "code" in names:
            yield node.name, names


def _read(node: ast.AST, file: str, takers: dict[str, list[str]], codes: Codes, scope: ast.AST | None = None) -> None:
    """Adds what stands in a part of a module; `scope` is the function around it."""
    if isinstance(node, ast.Tuple):  # a code with its severity behind it, kept to be said later
        for one, other in itertools.pairwise(node.elts):
            if _text(one) and _text(other) in SEVERITIES:
                codes.found.setdefault(_text(one), set()).add(_text(other))
    if isinstance(node, ast.Call) and _called(node) in takers:
        names = takers[_called(node)]
        given = dict(zip(names, node.args, strict=False)) | {word.arg: word.value for word in node.keywords}
        severity = _text(given.get("severity"))
        try:
            for code in _codes(given["code"], scope):
                codes.found.setdefault(code, set()).update([severity] if severity in SEVERITIES else [])
        except (KeyError, ValueError):
            codes.unreadable.append(f"{file}, line {node.lineno}: {ast.unparse(node)[:80]}")
    for part in ast.iter_child_nodes(node):
        _read(part, file, takers, codes, node if isinstance(node, ast.FunctionDef) else scope)


def _called(node: ast.Call) -> str:
    """Name of what is called: a function, or a class of another module. A method is none of them."""
    if isinstance(node.func, ast.Name):
        return node.func.id
    name = node.func.attr if isinstance(node.func, ast.Attribute) else ""
    return name if name[:1].isupper() else ""


def _codes(node: ast.expr, scope: ast.AST | None) -> Iterator[str]:
    """The codes that an expression can be; none where it hands on one that is read elsewhere."""
    if _text(node):
        yield _text(node)
    elif isinstance(node, ast.IfExp):
        yield from _codes(node.body, scope)
        yield from _codes(node.orelse, scope)
    elif ast.unparse(node).endswith((".code", "['code']")):  # of a rule, of a remark, of an entry of a layout file
        return
    elif isinstance(node, ast.Name) and isinstance(scope, ast.FunctionDef):
        yield from _codes_of_name(node.id, scope)
    else:
        raise ValueError(ast.unparse(node))


def _codes_of_name(name: str, scope: ast.FunctionDef) -> Iterator[str]:
    if name == "code" and any(argument.arg == name for argument in scope.args.args):
        return
    seen = False
    for part in ast.walk(scope):
        targets = part.targets if isinstance(part, ast.Assign) else [part.target] if isinstance(part, ast.For) else []
        for target in targets:
            if isinstance(target, ast.Name) and target.id == name:
                seen = True
                yield from _codes(part.value if isinstance(part, ast.Assign) else part.iter, scope)  # type: ignore
            seen |= isinstance(target, ast.Tuple) and any(isinstance(e, ast.Name) and e.id == name for e in target.elts)
    if not seen:
        raise ValueError(name)


def _text(node: ast.expr | None) -> str:
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else ""


@functools.cache
def _trees() -> dict[Path, ast.Module]:
    return {path: ast.parse(path.read_text(encoding="utf-8")) for path in sorted(PACKAGE.rglob("*.py"))}


@functools.cache
def _patterns() -> list[re.Pattern[str]]:
    texts = set()
    for node in itertools.chain.from_iterable(map(ast.walk, _trees().values())):
        if isinstance(node, ast.JoinedStr):
            texts.add(
                "".join(re.escape(_text(part)) if isinstance(part, ast.Constant) else ".+" for part in node.values)
            )
        elif isinstance(node, ast.Constant) and _text(node):
            texts.add(".+".join(re.escape(part) for part in re.split(r"\{\w+\}", _text(node))))
    return [re.compile(text) for text in texts if len(re.sub(r"\.\+|\\", "", text)) >= FEWEST_SIGNS]
