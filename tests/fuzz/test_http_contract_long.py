"""The contract again: every bound of every field, and very many random questions.

Every second seed asks a service that wants a key, and sends one.
"""

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings
from schemathesis.generation.case import Case

from loopmargin_service.http.settings import Settings
from tests.fuzz.amount import EXAMPLES, SEEDS, Progress
from tests.fuzz.contract import NO_KEYS, WHOLE, served, wanted_media
from tests.unit.http.test_keys import SECRET, line

PROGRESS = Progress()
# The widest quota there is: what happens beyond a quota has tests of its own.
KEY_LINE = line("fuzz", units_per_min=600_000, burst_units=600_000)
KEY = {"authorization": f"Bearer fuzz.{SECRET}"}


def keyed() -> Settings:
    """Set the service to want a key."""
    path = Path(tempfile.mkdtemp()) / "keys.jsonl"
    path.write_text(KEY_LINE)
    return Settings(keys_file=str(path), worker_processes=0)


def contract(seed: int) -> Callable[[Case[Any]], None]:
    """Make the test of one seed; the bounds of every field are the same for all seeds."""
    wants_key = (seed - SEEDS[0]) % 2 == 1
    asked, key = (keyed(), KEY) if wants_key else (NO_KEYS, {})
    once = {} if seed == SEEDS[0] else {"phases": {"coverage": {"enabled": False}}}

    @pytest.mark.long
    @served({**WHOLE, **once, "seed": seed}, settings=asked).parametrize()
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
        case.call_and_validate(headers={**wanted_media(case), **key})

    return keeps


for _seed in SEEDS:
    globals()[f"test_the_service_keeps_its_contract_{_seed}"] = contract(_seed)
