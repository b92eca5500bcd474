"""Do the tests notice when a rule changes? One small change at a time, and the tests that should fail.

    python -m tests.bench.bench_mutants scan.courses tests/test_courses.py [--every N]

Changed are comparisons, arithmetic, `and` and `or`, `not`, numbers, truth values, and texts that are compared
or passed on, but no sentences for people. Each change is tried in a process of its own, forked from one that
has the libraries loaded. A change that no test notices is shown with its line.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib.abc
import importlib.util
import os
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

ROOT = Path(__file__).parents[2]
PACKAGE = "shortpencil"  # what the rooms are installed in
SECONDS = 90
#: What is loaded before a fork cannot be rewritten by pytest, which says so.
_OPTIONS = ["-x", "-q", "-p", "no:cacheprovider", "-W", "ignore::pytest.PytestAssertRewriteWarning"]

_COMPARE: dict[type, type] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
_ARITHMETIC: dict[type, type] = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}


def changes(tree: ast.Module) -> Iterator[tuple[int, str, ast.Module]]:
    """Yield (line, what changed, the whole tree with that one change)."""
    nodes = list(ast.walk(tree))
    passed = _passed_over(tree)
    for at, node in enumerate(nodes):
        if id(node) in passed:
            continue
        for number, said in _ways(node):
            changed = copy.deepcopy(tree)
            twin = list(ast.walk(changed))[at]
            _change(twin, number)
            yield getattr(node, "lineno", 0), said, ast.fix_missing_locations(changed)


def _passed_over(tree: ast.Module) -> set[int]:
    """Docstrings, annotations and the words of sentences are not rules."""
    found: set[int] = set()
    for node in ast.walk(tree):
        parts: list[ast.AST | None] = []
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            parts.append(node.value)
        if isinstance(node, ast.JoinedStr):
            parts += [part for part in node.values if isinstance(part, ast.Constant)]
        if isinstance(node, ast.FormattedValue):
            parts.append(node.format_spec)
        if isinstance(node, ast.FunctionDef):
            parts += [node.returns, *(arg.annotation for arg in node.args.args)]
        if isinstance(node, ast.AnnAssign):
            parts.append(node.annotation)
        for part in parts:
            if part is not None:
                found |= {id(inner) for inner in ast.walk(part)}
    return found


def _ways(node: ast.AST) -> list[tuple[int, str]]:
    if isinstance(node, ast.Compare):
        return [(i, f"{type(op).__name__} changed") for i, op in enumerate(node.ops) if type(op) in _COMPARE]
    if isinstance(node, ast.BinOp) and type(node.op) in _ARITHMETIC:
        return [(0, f"{type(node.op).__name__} changed")]
    if isinstance(node, ast.BoolOp):
        return [(0, "and and or exchanged")]
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        return [(0, "not taken out")]
    if isinstance(node, ast.Constant) and isinstance(node.value, bool | int | float):
        return [(0, f"{node.value} changed")]
    if (
        isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and " " not in node.value
        and node.value
    ):
        return [(0, f"{node.value!r} changed")]
    return []


def _change(node: ast.AST, number: int) -> None:
    if isinstance(node, ast.Compare):
        node.ops[number] = _COMPARE[type(node.ops[number])]()
    elif isinstance(node, ast.BinOp):
        node.op = _ARITHMETIC[type(node.op)]()
    elif isinstance(node, ast.BoolOp):
        node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
    elif isinstance(node, ast.UnaryOp):
        node.op = ast.UAdd()
        node.operand = ast.Call(ast.Name("bool", ast.Load()), [node.operand], [])
    elif isinstance(node, ast.Constant):
        value = node.value
        node.value = (
            (not value) if isinstance(value, bool) else f"{value}?" if isinstance(value, str) else value + 1
        )


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Gives one module from a changed tree."""

    def __init__(self, name: str, path: Path, code: object) -> None:
        self._name, self._path, self._code = name, path, code

    def find_spec(self, name: str, path: object = None, target: object = None) -> object:
        if name != self._name:
            return None
        return importlib.util.spec_from_file_location(name, self._path, loader=self)

    def exec_module(self, module: ModuleType) -> None:
        exec(self._code, module.__dict__)


def noticed(name: str, path: Path, tree: ast.Module, tests: list[str]) -> bool:
    """Say whether the tests fail, or do not end, with the module changed so."""
    child = os.fork()
    if child == 0:
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        signal.alarm(SECONDS)
        import pytest

        sys.meta_path.insert(0, _Changed(name, path, compile(tree, str(path), "exec")))
        os._exit(0 if pytest.main([*_OPTIONS, *tests]) == 0 else 1)
    _, status = os.waitpid(child, 0)
    return status != 0


def main() -> None:
    """Try every change of one module and say how many the tests notice."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("module")
    parser.add_argument("tests", nargs="+")
    parser.add_argument("--every", type=int, default=1, help="try every Nth change only: a sample")
    parser.add_argument("--from", dest="start", type=int, default=0, help="begin with this change")
    args = parser.parse_args()
    import numpy  # noqa: F401 (loaded once, for every child)
    import pytest  # noqa: F401

    path = ROOT / Path(*args.module.split(".")).with_suffix(".py")
    name, tree = f"{PACKAGE}.{args.module}", ast.parse(path.read_text("utf-8"))
    if noticed(name, path, tree, args.tests):
        raise SystemExit("the tests fail as things are")
    if not noticed(name, path, ast.parse("raise AssertionError"), args.tests):
        raise SystemExit(f"these tests do not load {name}")
    tried = found = 0
    begun = time.monotonic()
    for number, (line, said, changed) in enumerate(changes(tree)):
        if number < args.start or (number - args.start) % args.every:
            continue
        tried += 1
        if noticed(name, path, changed, args.tests):
            found += 1
        else:
            print(f"line {line}: {said}: not noticed", flush=True)
    share = 100 * found / max(tried, 1)
    print(f"{found} of {tried} changes noticed ({share:.1f} %), {time.monotonic() - begun:.0f} s")


if __name__ == "__main__":
    main()
