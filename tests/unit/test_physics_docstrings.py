"""What the docstrings of physics say: units of all that goes in and out, validity of each law."""

import ast
import inspect
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.laws import CONSTRUCTION, laws, public_functions

PHYSICS = Path(__file__).parents[2] / "service/loopmargin_service/physics"

# A bracket with a unit; [1]_ is a reference and no unit.
UNIT = re.compile(r"\[[^\[\]]+\](?!_)")
SECTION = re.compile(r"^(\w[\w ]*)\n-{3,}$", re.MULTILINE)


def sections(docstring: str) -> dict[str, str]:
    """Part a numpydoc docstring into its sections, the summary under an empty name."""
    pieces = SECTION.split(inspect.cleandoc(docstring))
    return {"": pieces[0], **dict(zip(pieces[1::2], pieces[2::2], strict=True))}


def entries(section: str) -> list[str]:
    """Part a section into entries, each a line at the margin with what stands under it."""
    return re.findall(r"^\S.*(?:\n(?:[ ].*|[ ]*))*", section, flags=re.MULTILINE)


def without_units(docstring: str) -> Iterator[str]:
    """Name the entries of parameters and results that end without a unit."""
    parts = sections(docstring)
    if "Parameters" not in parts and "Returns" not in parts:
        if not UNIT.search(docstring):
            yield "the summary"
        return
    for name in ("Parameters", "Returns"):
        for entry in entries(parts.get(name, "")):
            if not UNIT.search(entry):
                yield entry.splitlines()[0]


def functions_of(path: Path) -> list[ast.FunctionDef]:
    """List the public functions of a module."""
    top = ast.parse(path.read_text()).body
    return [n for n in top if isinstance(n, ast.FunctionDef) and not n.name.startswith("_")]


@pytest.mark.parametrize("path", sorted(PHYSICS.glob("*.py")), ids=lambda path: path.stem)
def test_physics_states_its_units(path: Path) -> None:
    """Every parameter and result of a public function has its unit in square brackets."""
    missing = [
        f"{node.name}: {entry}"
        for node in functions_of(path)
        for entry in without_units(ast.get_docstring(node) or "")
    ]
    assert missing == []


@pytest.mark.parametrize(
    ("docstring", "expected"),
    [
        ("Head. [m]", []),
        ("Head of [1]_.", ["the summary"]),
        ("Head.\n\nParameters\n----------\nx : float\n    Flow. [m3/s]\n", []),
        ("Head.\n\nParameters\n----------\nx : float\n    Flow of [1]_.\n", ["x : float"]),
        ("Head. [m]\n\nReturns\n-------\nfloat\n    Head.\n", ["float"]),
    ],
)
def test_units_are_found_and_missed(docstring: str, expected: list[str]) -> None:
    """The rule about units sees an entry without one, and takes no reference for a unit."""
    assert expected == list(without_units(docstring))


def says_validity(docstring: str) -> bool:
    """Whether a docstring states where a law holds and what happens outside."""
    return (
        re.search(r"\b([Oo]utside|[Ee]verywhere)\b", sections(docstring).get("Validity", ""))
        is not None
    )


@pytest.mark.parametrize("name", laws())
def test_laws_state_their_validity(name: str) -> None:
    """Every law has a section on where it holds and what happens outside."""
    assert says_validity(inspect.getdoc(laws()[name]) or "")


@pytest.mark.parametrize(
    ("docstring", "expected"),
    [
        ("Head.\n\nValidity\n--------\nWater. Outside nothing is checked.\n", True),
        ("Head.\n\nValidity\n--------\nEverywhere; a definition.\n", True),
        ("Head.\n\nValidity\n--------\nWater.\n", False),
        ("Head.\n\nNotes\n-----\nOutside nothing is checked.\n", False),
    ],
)
def test_validity_is_found_and_missed(docstring: str, *, expected: bool) -> None:
    """The rule about validity wants the section, and in it a word on the outside."""
    assert says_validity(docstring) is expected


def test_construction_exists() -> None:
    """Nothing is excused from being a law that is not there."""
    names = set(public_functions())
    assert set(CONSTRUCTION) <= names | {name.partition(".")[0] for name in names}
