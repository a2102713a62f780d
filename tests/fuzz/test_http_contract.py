"""The served document against the service, by every check of schemathesis 4.32.5."""

from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from schemathesis.generation.case import Case

from tests.fuzz.contract import served

SCHEMA = served()
SHORT = settings(
    max_examples=50,
    deadline=None,
    derandomize=True,
    # Drawing a whole machine inside its limits is slow, and that is not what is tested.
    suppress_health_check=list(HealthCheck),
)
LONG = settings(SHORT, max_examples=2000, derandomize=False)


@SCHEMA.parametrize()
@SHORT
def test_the_service_keeps_its_contract(case: Case[Any]) -> None:
    """Documented statuses, types, headers and bodies; wrong bodies refused; no fault of ours."""
    case.call_and_validate()


@pytest.mark.long
@SCHEMA.parametrize()
@LONG
def test_the_service_keeps_its_contract_for_long(case: Case[Any]) -> None:
    """The same with other questions each time; the seed is printed on a failure."""
    case.call_and_validate()
