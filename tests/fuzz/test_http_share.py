"""How many questions that fit the schema are answered, and how the others are refused."""

import sys
from collections import Counter
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.generation import GenerationMode
from schemathesis.generation.case import Case

from loopmargin_service.http.routes import ROUTES, Route
from tests.fuzz.contract import WHOLE, served
from tests.fuzz.mending import mended

SCHEMA = served(WHOLE)
LEAST_SHARE = 0.8
ROWS = pytest.mark.parametrize("row", ROUTES, ids=[row.name for row in ROUTES])


def share(row: Route, examples: int) -> Counter[int]:
    """Ask mended questions and count the statuses."""
    statuses: Counter[int] = Counter()
    operation = SCHEMA[row.path]["POST"]

    @settings(
        max_examples=examples,
        deadline=None,
        derandomize=True,
        database=None,
        phases=(Phase.generate,),
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(generation_mode=GenerationMode.POSITIVE))
    def ask(case: Case[Any]) -> None:
        case.body = mended(case.body)
        statuses[case.call().status_code] += 1

    ask()
    return statuses


def judge(row: Route, statuses: Counter[int], capsys: pytest.CaptureFixture[str]) -> None:
    """Print the share and hold it against the least."""
    total = statuses.total()
    with capsys.disabled():
        sys.stdout.write(
            f"\n{row.name}: {statuses[200] / total:.0%} of {total} answered, {dict(statuses)}\n"
        )
    assert statuses[200] >= LEAST_SHARE * total
    assert set(statuses) <= {200, 422}


@ROWS
def test_most_questions_inside_the_limits_are_answered(
    row: Route, capsys: pytest.CaptureFixture[str]
) -> None:
    """The limits are not a facade behind which everything is refused."""
    judge(row, share(row, 20), capsys)


@pytest.mark.long
@ROWS
def test_most_of_very_many_questions_are_answered(
    row: Route, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same with many more."""
    judge(row, share(row, 2000), capsys)
