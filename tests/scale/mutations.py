"""The small changes that mutation testing makes: each turns one node of a module's tree into something slightly wrong.

A comparison turned, + for -, a constant moved, `and` for `or`, `not` taken away, both ends of an `if` exchanged, a
returned value lost. Types, decorators and what only a type checker reads are left alone: no test could see them.
"""

from __future__ import annotations

import ast
import copy
from collections.abc import Iterator
from dataclasses import dataclass

_COMPARE: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
_ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult, ast.Pow: ast.Mult,
    ast.BitOr: ast.BitAnd, ast.BitAnd: ast.BitOr,
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One change to a module: the lines of the node, the change in words, where the node is and what takes its place."""

    lines: range
    what: str
    at: int
    new: ast.AST


def list_changes(node: ast.AST) -> Iterator[ast.AST]:
    """Yield a changed copy of one node, as often as it can be changed."""
    if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in _COMPARE:
        made = copy.deepcopy(node)
        made.ops = [_COMPARE[type(node.ops[0])]()]
        yield made
    elif isinstance(node, ast.BinOp) and type(node.op) in _ARITHMETIC:
        sum_ = copy.deepcopy(node)
        sum_.op = _ARITHMETIC[type(node.op)]()
        yield sum_
    elif isinstance(node, ast.BoolOp):
        both = copy.deepcopy(node)
        both.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        yield both
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield copy.deepcopy(node.operand)
    elif isinstance(node, ast.Constant) and type(node.value) in (int, float, bool):
        value = (not node.value) if isinstance(node.value, bool) else node.value + 1  # type: ignore[operator]
        yield ast.Constant(value)
    elif isinstance(node, ast.Return) and node.value is not None and not _is_nothing(node.value):
        yield ast.Return(ast.Constant(None))
    elif isinstance(node, ast.IfExp):
        turned = copy.deepcopy(node)
        turned.body, turned.orelse = turned.orelse, turned.body
        yield turned


def _is_nothing(node: ast.AST) -> bool:
    """True for None and False: whoever asks whether something is so takes one for the other."""
    return isinstance(node, ast.Constant) and (node.value is None or node.value is False)


class _Replace(ast.NodeTransformer):
    def __init__(self, at: int, new: ast.AST) -> None:
        self.at, self.new, self.count = at, new, -1

    def visit(self, node: ast.AST) -> ast.AST:
        self.count += 1
        if self.count == self.at:
            return ast.copy_location(self.new, node)
        return self.generic_visit(node)


def _number_nodes(tree: ast.AST) -> list[ast.AST]:
    found: list[ast.AST] = []

    class Walk(ast.NodeVisitor):
        def visit(self, node: ast.AST) -> None:
            found.append(node)
            self.generic_visit(node)

    Walk().visit(tree)
    return found


def _find_quiet(tree: ast.Module) -> set[int]:
    """Return the ids of nodes whose change no test could see: types, decorators of dataclasses, imports for types."""
    quiet: set[int] = set()
    for node in ast.walk(tree):
        hidden: list[ast.AST | None] = []
        if isinstance(node, ast.FunctionDef):
            arguments = (*node.args.args, *node.args.kwonlyargs)
            hidden += [node.returns, *(one.annotation for one in arguments), *node.decorator_list]
        elif isinstance(node, ast.ClassDef):
            hidden += list(node.decorator_list)
        elif isinstance(node, ast.AnnAssign):
            hidden.append(node.annotation)
        elif isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            hidden.append(node)
        quiet |= {id(child) for one in hidden if one is not None for child in ast.walk(one)}
    return quiet


def list_mutants(text: str) -> list[Mutant]:
    """Return every mutant of a module, in the order of its lines."""
    tree = ast.parse(text)
    quiet, shown = _find_quiet(tree), text.splitlines()
    made = []
    for at, node in enumerate(_number_nodes(tree)):
        if id(node) in quiet:
            continue
        first = getattr(node, "lineno", 1)
        lines = range(first, getattr(node, "end_lineno", first) + 1)
        beside = f" in {shown[first - 1].strip()}" if isinstance(node, ast.Constant) else ""
        made += [
            Mutant(lines, f"{ast.unparse(node)} → {ast.unparse(new)}{beside}", at, new) for new in list_changes(node)
        ]
    return made


def write_mutant(text: str, mutant: Mutant) -> str:
    """Return the text of the module with one change made."""
    changed = _Replace(mutant.at, mutant.new).visit(ast.parse(text))
    return ast.unparse(ast.fix_missing_locations(changed))
