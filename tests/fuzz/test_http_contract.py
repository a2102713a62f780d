"""The served document against the service, by every check of schemathesis 4.32.5."""

from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings
from schemathesis.generation.case import Case

from tests.fuzz.contract import served

SHORT_FORM = served(keep_one_in=5)
LONG_FORM = served()
SHORT = settings(
    max_examples=25,
    deadline=None,
    derandomize=True,
    # A failure is shown as it was drawn; making it smaller takes minutes.
    phases=(Phase.explicit, Phase.generate),
    # Drawing a whole machine inside its limits is slow, and that is not what is tested.
    suppress_health_check=list(HealthCheck),
)
LONG = settings(SHORT, max_examples=2000, derandomize=False)


@SHORT_FORM.parametrize()
@SHORT
def test_the_service_keeps_its_contract(case: Case[Any]) -> None:
    """Documented statuses, types, headers and bodies; wrong bodies refused; no fault of ours."""
    case.call_and_validate()


@pytest.mark.long
@LONG_FORM.parametrize()
@LONG
def test_the_service_keeps_its_contract_for_long(case: Case[Any]) -> None:
    """The same with other questions each time; the seed is printed on a failure."""
    case.call_and_validate()
