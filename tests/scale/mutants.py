"""Mutation testing of one module: small changes to its code, each of which some test should notice.

`python tests/scale/mutants.py pipeline/costing/ladder.py tests/costing tests/laws -n 30 --seed 7` makes 30 mutants, chosen
by the seed from all that can be made (a comparison turned, + for -, a constant moved, `and` for `or`, `not` taken away, a
returned value lost), runs the named tests on each in a copy of the source tree, and prints which survived. The checkout
is never touched. It is a command, not a part of the suite: a mutant costs a run of the tests.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
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
    """One changed module: where, what was changed, and the whole text."""

    line: int
    what: str
    text: str


def list_changes(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    """Yield (what, a changed copy) of one node, as often as it can be changed."""
    if isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in _COMPARE:
        made = copy.deepcopy(node)
        made.ops = [_COMPARE[type(node.ops[0])]()]
        yield f"{type(node.ops[0]).__name__} -> {type(made.ops[0]).__name__}", made
    elif isinstance(node, ast.BinOp) and type(node.op) in _ARITHMETIC:
        made = copy.deepcopy(node)
        made.op = _ARITHMETIC[type(node.op)]()
        yield f"{type(node.op).__name__} -> {type(made.op).__name__}", made
    elif isinstance(node, ast.BoolOp):
        made = copy.deepcopy(node)
        made.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        yield f"{type(node.op).__name__} -> {type(made.op).__name__}", made
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield "not taken away", copy.deepcopy(node.operand)
    elif isinstance(node, ast.Constant) and type(node.value) in (int, float, bool):
        value = (not node.value) if isinstance(node.value, bool) else node.value + 1
        yield f"{node.value} -> {value}", ast.Constant(value)
    elif (
        isinstance(node, ast.Return)
        and node.value is not None
        and not (isinstance(node.value, ast.Constant) and node.value.value is None)
    ):
        yield "return None", ast.Return(ast.Constant(None))
    elif isinstance(node, ast.IfExp):
        made = copy.deepcopy(node)
        made.body, made.orelse = made.orelse, made.body
        yield "both ends of an `if` exchanged", made


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
    """Return the ids of nodes whose change no test could see: types, decorators of dataclasses, docstrings."""
    quiet: set[int] = set()
    for node in ast.walk(tree):
        hidden: list[ast.AST | None] = []
        if isinstance(node, ast.FunctionDef):
            hidden += [
                node.returns,
                *(a.annotation for a in (*node.args.args, *node.args.kwonlyargs)),
                *node.decorator_list,
            ]
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
    quiet = _find_quiet(tree)
    made = []
    for at, node in enumerate(_number_nodes(tree)):
        if id(node) in quiet:
            continue
        for what, new in list_changes(node):
            changed = ast.fix_missing_locations(_Replace(at, new).visit(copy.deepcopy(tree)))
            made.append(Mutant(getattr(node, "lineno", 0), what, ast.unparse(changed)))
    return made


def try_mutant(copy_root: Path, module: str, mutant: Mutant, tests: list[str], limit: float) -> bool:
    """Return True when the tests notice the mutant (they fail, or run without end)."""
    target = copy_root / module
    whole = target.read_text("utf-8")
    target.write_text(mutant.text, "utf-8")
    env = {**os.environ, "PYTHONPATH": str(copy_root), "PYTHONDONTWRITEBYTECODE": "1"}
    words = [
        sys.executable,
        "-m",
        "pytest",
        "-x",
        "-q",
        "-n",
        "0",
        "-p",
        "no:cacheprovider",
        "-m",
        "not slow and not browser",
        *tests,
    ]
    try:
        done = subprocess.run(words, cwd=copy_root, env=env, capture_output=True, check=False, timeout=limit)
        return done.returncode != 0
    except subprocess.TimeoutExpired:
        return True
    finally:
        target.write_text(whole, "utf-8")


def main() -> int:
    """Run the command."""
    asked = argparse.ArgumentParser(description="Mutation testing of one module.")
    asked.add_argument("module")
    asked.add_argument("tests", nargs="+")
    asked.add_argument("-n", "--count", type=int, default=30)
    asked.add_argument("--seed", type=int, default=7)
    asked.add_argument("--limit", type=float, default=300.0, help="seconds that one run may take")
    given = asked.parse_args()
    text = (ROOT / given.module).read_text("utf-8")
    every = list_mutants(text)
    chosen = sorted(random.Random(given.seed).sample(range(len(every)), min(given.count, len(every))))
    with tempfile.TemporaryDirectory(prefix="mutants-") as place:
        root = Path(place) / "tree"
        shutil.copytree(
            ROOT,
            root,
            ignore=shutil.ignore_patterns(".git", "build", ".pipeline", "__pycache__", "*_cache"),
            symlinks=True,
        )
        plain = Mutant(0, "nothing changed", text)
        if try_mutant(root, given.module, plain, given.tests, given.limit):
            print("the tests fail on the code as it is; nothing can be said")
            return 2
        start, survivors = time.monotonic(), []
        for number in chosen:
            mutant = every[number]
            if not try_mutant(root, given.module, mutant, given.tests, given.limit):
                survivors.append(mutant)
                print(
                    f"{given.module}:{mutant.line}: survived: {mutant.what}: {text.splitlines()[mutant.line - 1].strip()}",
                    flush=True,
                )
    killed = len(chosen) - len(survivors)
    print(
        f"{given.module}: {killed} of {len(chosen)} killed ({len(every)} can be made), {time.monotonic() - start:.0f} s"
    )
    return int(bool(survivors))


if __name__ == "__main__":
    sys.exit(main())
