"""The contract again: every bound of every field, and very many random questions."""

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings
from schemathesis.generation.case import Case

from tests.fuzz.amount import EXAMPLES, SEEDS, Progress
from tests.fuzz.contract import WHOLE, served, wanted_media

PROGRESS = Progress()


def contract(seed: int) -> Callable[[Case[Any]], None]:
    """Make the test of one seed; the bounds of every field are the same for all seeds."""
    once = {} if seed == SEEDS[0] else {"phases": {"coverage": {"enabled": False}}}

    @pytest.mark.long
    @served({**WHOLE, **once, "seed": seed}).parametrize()
    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        print_blob=True,
        phases=(Phase.explicit, Phase.generate),
        suppress_health_check=list(HealthCheck),
    )
    def keeps(case: Case[Any]) -> None:
        """How to draw them again is printed on a failure."""
        PROGRESS.count(f"seed {seed}, {case.method} {case.operation.path}")
        case.call_and_validate(headers=wanted_media(case))

    return keeps


for _seed in SEEDS:
    globals()[f"test_the_service_keeps_its_contract_{_seed}"] = contract(_seed)
