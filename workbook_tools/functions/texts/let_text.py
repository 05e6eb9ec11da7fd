"""Translates a function's body with LET, which names each step once, where cell text has to write it out again.

Only names of a workbook use it: LET is known to the same programs as LAMBDA, and not to older ones.
"""

from __future__ import annotations

import ast
import inspect
import itertools
import re
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from workbook_tools.errors import TranslationError
from workbook_tools.functions.quantities import CheckedFunction
from workbook_tools.functions.texts.cell_text import ATOM, FUNCTIONS, Piece, Translator

SHORT = re.compile(r"^[\w.]+$")  # a name or a number: to name it again would only be longer
BUILT_IN = {*FUNCTIONS, "max", "min", "round"}


@dataclass
class LetTranslator(Translator):
    """As Translator, but functions of ours that an expression calls keep their steps."""

    numbers: Iterator[int] = field(default_factory=lambda: itertools.count(1))

    def _call(self, node: ast.Call) -> Piece:
        name = ast.unparse(node.func)
        function = self.globals.get(name)
        if name in BUILT_IN or node.keywords or not inspect.isfunction(function):
            return super()._call(node)
        return let_piece(function, [self.piece(argument) for argument in node.args], self.numbers)


def let_piece(function: Callable[..., Any], operands: Sequence[Piece], numbers: Iterator[int] | None = None) -> Piece:
    """Text of a function's body, argument checks left out; `numbers` keep the names of steps apart."""
    check = getattr(function, "checked", None)
    plain = check.function if isinstance(check, CheckedFunction) else function
    where = f"{plain.__module__}.{plain.__name__}"
    tree = ast.parse(textwrap.dedent(inspect.getsource(plain))).body[0]
    assert isinstance(tree, ast.FunctionDef)
    arguments = [argument.arg for argument in tree.args.args]
    if len(operands) != len(arguments):
        raise TranslationError(where, tree.lineno, f"takes {len(arguments)} arguments, {len(operands)} were given")
    here = LetTranslator(where, {}, plain.__globals__, numbers or itertools.count(1))
    steps = _Steps(here)
    for argument, operand in zip(arguments, operands, strict=True):
        steps.add(argument, operand)
    return _block(tree.body, steps, tree)


class _Steps:
    """The steps of one block so far."""

    def __init__(self, translator: LetTranslator) -> None:
        self.names = dict(translator.names)
        self.translator = LetTranslator(translator.where, self.names, translator.globals, translator.numbers)
        self.pairs: list[str] = []

    def add(self, name: str, piece: Piece) -> None:
        """Give a step a name of its own, short and such as no cell can have; what is short itself needs none."""
        if SHORT.match(piece.text):
            self.names[name] = piece
            return
        word = f"_xlpm.{name[0]}_{next(self.translator.numbers)}"
        self.pairs += [word, piece.text]
        self.names[name] = Piece(word)

    def around(self, piece: Piece) -> Piece:
        return Piece(f"_xlfn.LET({','.join([*self.pairs, piece.text])})", ATOM) if self.pairs else piece


def _block(statements: Sequence[ast.stmt], steps: _Steps, parent: ast.AST) -> Piece:
    here = steps.translator
    for number, statement in enumerate(statements):
        if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant):
            continue  # docstring
        if isinstance(statement, ast.Return) and statement.value is not None:
            return steps.around(here.piece(statement.value))
        if isinstance(statement, ast.Assign) and len(statement.targets) == 1:
            target = statement.targets[0]
            if isinstance(target, ast.Name):
                steps.add(target.id, here.piece(statement.value))
                continue
        if isinstance(statement, ast.If):
            then = _block(statement.body, _Steps(here), statement)
            rest = _block(statement.orelse or statements[number + 1 :], _Steps(here), statement)
            return steps.around(Piece(f"IF({here.piece(statement.test).text},{then.text},{rest.text})"))
        raise here.refuse(statement, f"{ast.unparse(statement).splitlines()[0]!r} has no equal in cell text")
    raise here.refuse(parent, "ends without a return")
