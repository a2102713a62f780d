"""Every law is held by a property over random inputs, not by single values alone.

Which property holds which law is read off the tests: a test with `given`, and the functions and
constants of its own file that it uses, name laws directly or as module.function.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

from tests.laws import laws

PHYSICS = "loopmargin_service.physics"
HERE = Path(__file__).parent

# A law without inputs has nothing to draw.
CONSTANT = {"fitting.entrance", "fitting.exit"}


def imports(tree: ast.Module) -> dict[str, str]:
    """Map each name that a file imports from physics to its module or module.function."""
    return {
        alias.asname or alias.name: f"{node.module}.{alias.name}".removeprefix(f"{PHYSICS}.")
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith(PHYSICS)
        for alias in node.names
    }


def bodies_of(tree: ast.Module) -> dict[str, ast.stmt]:
    """Map the functions and constants of a file to what defines them."""
    functions = {node.name: node for node in tree.body if isinstance(node, ast.FunctionDef)}
    constants = {
        target.id: node
        for node in tree.body
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    return {**functions, **constants}


def named(node: ast.AST) -> Iterator[str]:
    """Name what a function's body reads: names, and attributes of names."""
    for part in ast.walk(node):
        if isinstance(part, ast.Name):
            yield part.id
        elif isinstance(part, ast.Attribute) and isinstance(part.value, ast.Name):
            yield f"{part.value.id}.{part.attr}"


def reached(start: str, bodies: dict[str, ast.stmt]) -> set[str]:
    """Name all that a test reads, with what its own file defines and it uses."""
    found: set[str] = set()
    waiting = [start]
    while waiting:
        fresh = set(named(bodies[waiting.pop()])) - found
        found |= fresh
        waiting += fresh & bodies.keys()
    return found


def held_by_properties(path: Path) -> set[str]:
    """Name the functions of physics that the random tests of a file call."""
    tree = ast.parse(path.read_text())
    bodies = bodies_of(tree)
    known = imports(tree)
    names = {
        name
        for test, body in bodies.items()
        if isinstance(body, ast.FunctionDef)
        if any("given" in named(decorator) for decorator in body.decorator_list)
        for name in reached(test, bodies)
    }
    heads = {name: name.partition(".") for name in names}
    return {known[head] + dot + rest for head, dot, rest in heads.values() if head in known}


def test_every_law_has_a_property() -> None:
    """A new law comes with a random test of its sign, bounds, order, limit, scale or way back."""
    held = set().union(*map(held_by_properties, HERE.glob("test_*.py")))

    assert set(laws()) - held == CONSTANT


def test_the_reader_sees_through_helpers() -> None:
    """A law in a helper of a random test counts, one in a plain test does not."""
    held = held_by_properties(HERE / "test_rated_radiator.py")

    assert "rated_radiator.rated_ua" in held
    assert "exchanger.effectiveness_counterflow" not in held
