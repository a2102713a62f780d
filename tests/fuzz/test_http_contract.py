"""The served document against the service, by every check of schemathesis 4.32.5."""

from typing import Any

from hypothesis import HealthCheck, Phase, settings
from schemathesis.generation.case import Case

from tests.fuzz.contract import BRIEF, served

SCHEMA = served(BRIEF, keep_one_in=8)


@SCHEMA.parametrize()
@settings(
    max_examples=15,
    deadline=None,
    derandomize=True,
    # A failure is shown as it was drawn; making it smaller takes minutes.
    phases=(Phase.explicit, Phase.generate),
    # Drawing a whole machine inside its limits is slow, and that is not what is tested.
    suppress_health_check=list(HealthCheck),
)
def test_the_service_keeps_its_contract(case: Case[Any]) -> None:
    """Documented statuses, types, headers and bodies; wrong bodies refused; no fault of ours."""
    case.call_and_validate()
