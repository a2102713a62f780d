"""Both clients under one name."""

import pytest

from tests.unit.sdk.standin import Ask, ask_asynchronous, ask_blocking
from tests.unit.sdk.stream_standin import Take, take_asynchronous, take_blocking


@pytest.fixture(params=[ask_blocking, ask_asynchronous], ids=["blocking", "asynchronous"])
def ask(request: pytest.FixtureRequest) -> Ask:
    """Ask a stand-in through one client, then through the other."""
    chosen: Ask = request.param
    return chosen


@pytest.fixture(params=[take_blocking, take_asynchronous], ids=["blocking", "asynchronous"])
def take(request: pytest.FixtureRequest) -> Take:
    """Read a stream through one client, then through the other."""
    chosen: Take = request.param
    return chosen
