"""The contract again: every bound of every field, and very many random questions."""

from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings
from schemathesis.generation.case import Case

from tests.fuzz.contract import WHOLE, served

SCHEMA = served(WHOLE)


@pytest.mark.long
@SCHEMA.parametrize()
@settings(
    max_examples=1000,
    deadline=None,
    print_blob=True,
    phases=(Phase.explicit, Phase.generate),
    suppress_health_check=list(HealthCheck),
)
def test_the_service_keeps_its_contract_for_long(case: Case[Any]) -> None:
    """Other questions each time; how to draw them again is printed on a failure."""
    case.call_and_validate()
