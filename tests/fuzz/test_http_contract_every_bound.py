"""The contract at every bound of every field, in turn: the same for all seeds."""

import time
from collections.abc import Iterator
from typing import Any

import pytest
from schemathesis.generation.case import Case

from tests.fuzz.contract import of_a_service_with_keys
from tests.fuzz.ledger import Part, Tally, code, done, keep
from tests.fuzz.ways import AMOUNT, Counted, ask_in_every_way

COUNTED = Counted({"phases": {"fuzzing": {"enabled": False}}}, of_a_service_with_keys)
DONE = {tally.part for tally in done()}
TALLIES: dict[str, Tally] = {}


def bounds_of(operation: str) -> Part:
    """Name the bounds of an operation as a part."""
    return Part(0, 0, f"bounds of {operation}", 0)


OWED = COUNTED.schema.include(lambda found: bounds_of(found.operation.label) not in DONE)


@pytest.fixture(autouse=True)
def kept(request: pytest.FixtureRequest) -> Iterator[None]:
    """Keep what was counted for an operation, if all went well."""
    failed, began_s = request.session.testsfailed, time.monotonic()
    yield
    if request.session.testsfailed == failed:
        for tally in TALLIES.values():
            tally.took_s = time.monotonic() - began_s
            keep(tally)
    TALLIES.clear()


@pytest.mark.long
@OWED.parametrize()
@AMOUNT
def test_every_bound_keeps_the_contract(case: Case[Any]) -> None:
    """The examples of the document, and every bound of every field, right and wrong."""
    part = bounds_of(case.operation.label)
    tally = TALLIES.setdefault(part.operation, Tally(code(), part))
    COUNTED.count(tally)
    ask_in_every_way(case, tally)
