"""The contract again, with very many random cases, and with walks from questions to answers.

Each case is asked in every way of `ways.py`; `ledger.py` keeps what was done.
"""

from typing import Any
from zlib import crc32

import hypothesis
import pytest
from hypothesis import strategies as st
from schemathesis import Response
from schemathesis.generation import GenerationMode
from schemathesis.generation.case import Case

from tests.fuzz.amount import EXAMPLES, SEEDS
from tests.fuzz.contract import with_links
from tests.fuzz.ledger import Part, Tally, owed
from tests.fuzz.ways import AMOUNT, Counted, ask_in_every_way, key

# Until a part ends the tool remembers all that it has drawn, up to a megabyte for a case.
PART = 200
# Questions are linked to the answers that they store, so that there is somewhere to walk to.
WALKS, STEPS = "walks", 6
CASES_PER_WALK = 10
# Where a key must be sent, the tool spends near half of its wrong questions on wrong keys; so these
# are drawn as if it may. The bounds are laid out where it must.
COUNTED = Counted({})
LINKED = Counted({}, with_links)
OPERATIONS = {found.ok().label: found.ok() for found in COUNTED.schema.get_all_operations()}


def parts() -> list[Part]:
    """List what is to be done, a little of everything first."""
    return [
        Part(seed, number, name, min(PART, EXAMPLES - number * PART))
        for number in range(-(-EXAMPLES // PART))
        for seed in SEEDS
        for name in (*OPERATIONS, WALKS)
    ]


@pytest.mark.long
@pytest.mark.parametrize("part", parts(), ids=str)
def test_random_cases_keep_the_contract(part: Part) -> None:
    """A part that was done before, or is being done beside, is left out."""
    with owed(part) as tally:
        if tally is not None:
            (walk if part.operation == WALKS else draw)(part, tally)


def draw(part: Part, tally: Tally) -> None:
    """Ask random questions, right and wrong."""
    operation = OPERATIONS[part.operation]
    drawn = [operation.as_strategy(generation_mode=mode) for mode in GenerationMode]

    @hypothesis.seed(crc32(str(part).encode()))
    @hypothesis.settings(AMOUNT, max_examples=part.examples)
    @hypothesis.given(case=st.one_of(drawn))
    def keeps(case: Case[Any]) -> None:
        COUNTED.count(tally)
        ask_in_every_way(case, tally)

    keeps()


def walk(part: Part, tally: Tally) -> None:
    """Ask questions, and then for the answers that they have stored."""
    machine: Any = LINKED.schema.as_state_machine()

    @hypothesis.seed(crc32(str(part).encode()))
    class Walk(machine):  # type: ignore[misc] - made by the tool
        def call(self, case: Case[Any], **settings: Any) -> Response:  # noqa: ANN401 - the tool's
            LINKED.count(tally)
            response = case.call(headers=key(case), **settings)
            tally.response(f"{case.operation.label} key", response.status_code)
            return response

        def validate_response(
            self,
            response: Response,
            case: Case[Any],
            **settings: Any,  # noqa: ANN401 - the tool's
        ) -> None:
            case.validate_response(response, headers=key(case), transport_kwargs=settings)

    examples = -(-part.examples // CASES_PER_WALK)
    Walk.run(settings=hypothesis.settings(AMOUNT, max_examples=examples, stateful_step_count=STEPS))
