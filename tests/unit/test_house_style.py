"""The house style that no linter knows: lengths, nesting, names, imports."""

import ast
import statistics
import sys
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

ROOT = Path(__file__).parents[2]
TREES = ("service", "sdk", "demo", "tests")
PHYSICS = ROOT / "service/loopmargin_service/physics"
WIRE = ROOT / "sdk/loopmargin_wire"

LONGEST_FILE, LONGEST_PHYSICS_FILE = 300, 400
LONGEST_FUNCTION, MEDIAN_FUNCTION, DEEPEST = 60, 10, 4
EMPTY_NAMES = {"utils", "helpers", "common", "lib"}

BLOCKS = (ast.If, ast.For, ast.While, ast.With, ast.Try, ast.Match, ast.AsyncFor, ast.AsyncWith)

FunctionNode = ast.FunctionDef | ast.AsyncFunctionDef


class Function(NamedTuple):
    """A function, where it stands, and its own lines of code without the docstring."""

    where: str
    node: FunctionNode
    code_lines: int


def sources(*trees: str) -> list[Path]:
    """List the Python files of some trees; a tree that is not there has none."""
    return sorted(path for tree in trees for path in (ROOT / tree).rglob("*.py"))


@cache
def parsed(path: Path) -> ast.Module:
    """Read a file once."""
    return ast.parse(path.read_text())


@cache
def functions(path: Path) -> tuple[Function, ...]:
    """List the functions and methods of a file."""
    lines, found = path.read_text().splitlines(), []
    for node in ast.walk(parsed(path)):
        if isinstance(node, FunctionNode):
            body = node.body[1:] if ast.get_docstring(node, clean=False) is not None else node.body
            span = lines[body[0].lineno - 1 : node.end_lineno] if body else []
            code = [line for line in span if line.strip() and not line.strip().startswith("#")]
            found.append(Function(f"{path.relative_to(ROOT)}:{node.name}", node, len(code)))
    return tuple(found)


def depth(node: ast.AST) -> int:
    """Give how deep blocks stand in each other; `elif` is no deeper than its `if`."""
    otherwise = node.orelse if isinstance(node, ast.If) else []
    deepest = 0
    for child in ast.iter_child_nodes(node):
        if isinstance(child, FunctionNode | ast.ClassDef):
            continue
        chained = isinstance(child, ast.If) and otherwise == [child]
        step = 1 if isinstance(child, BLOCKS) and not chained else 0
        deepest = max(deepest, step + depth(child))
    return deepest


def imported(path: Path) -> set[str]:
    """Name the top packages that a file imports; imports within the package are absolute here."""
    names = set()
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.Import):
            names |= {alias.name.partition(".")[0] for alias in node.names}
        if isinstance(node, ast.ImportFrom):
            names.add((node.module or ".").partition(".")[0])
    return names - sys.stdlib_module_names


@pytest.mark.parametrize("tree", TREES)
def test_files_are_short(tree: str) -> None:
    """300 lines are enough, 400 in physics, where half of them are docstrings."""
    too_long = {
        str(path.relative_to(ROOT)): count
        for path in sources(tree)
        if (count := len(path.read_text().splitlines()))
        > (LONGEST_PHYSICS_FILE if path.is_relative_to(PHYSICS) else LONGEST_FILE)
    }
    assert too_long == {}


@pytest.mark.parametrize("tree", TREES)
def test_functions_are_short(tree: str) -> None:
    """No function has more than 60 lines of code after its docstring."""
    every = [function for path in sources(tree) for function in functions(path)]
    assert {f.where: f.code_lines for f in every if f.code_lines > LONGEST_FUNCTION} == {}


def test_half_of_the_functions_are_very_short() -> None:
    """Half of all functions have fewer than ten lines of code."""
    every = [function for path in sources(*TREES) for function in functions(path)]
    assert statistics.median(function.code_lines for function in every) < MEDIAN_FUNCTION


@pytest.mark.parametrize("tree", TREES)
def test_blocks_are_shallow(tree: str) -> None:
    """Blocks stand at most four deep."""
    every = [function for path in sources(tree) for function in functions(path)]
    assert {f.where: found for f in every if (found := depth(f.node)) > DEEPEST} == {}


def test_every_tree_is_looked_at() -> None:
    """The rules above are about files that exist."""
    counts = {tree: len(sources(tree)) for tree in TREES}
    assert [tree for tree, count in counts.items() if count == 0] == []


def test_modules_are_named_after_what_they_hold() -> None:
    """A module for everything is a module for nothing."""
    named = {part for path in sources(*TREES) for part in path.relative_to(ROOT).parts}
    assert {name for name in named if name.removesuffix(".py") in EMPTY_NAMES} == set()


def test_physics_imports_numbers_only() -> None:
    """Physics knows numpy, scipy, itself and the standard library."""
    used = set().union(*(imported(path) for path in PHYSICS.rglob("*.py")))
    assert used <= {"numpy", "scipy", "loopmargin_service"}
    assert "numpy" in used


def test_physics_imports_nothing_else_of_the_service() -> None:
    """Within the service physics imports physics."""
    strangers = {
        f"{path.name}: {node.module}"
        for path in PHYSICS.rglob("*.py")
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.ImportFrom)
        and (node.module or "").startswith("loopmargin_service")
        and not (node.module or "").startswith("loopmargin_service.physics")
    }
    assert strangers == set()


def test_wire_imports_msgspec_only() -> None:
    """The contract needs msgspec, itself and the standard library."""
    used = set().union(*(imported(path) for path in WIRE.rglob("*.py")))
    assert used == {"msgspec", "loopmargin_wire"}


def test_depth_counts_blocks() -> None:
    """A chain of `elif` is one block, a loop in it is two."""
    chain = "if a:\n    pass\nelif b:\n    pass\nelif c:\n    for x in y:\n        pass\n"
    assert depth(ast.parse(chain)) == 2
    assert depth(ast.parse("for a in b:\n    if c:\n        with d:\n            pass\n")) == 3
