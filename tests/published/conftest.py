"""Tells the register which laws a test is of."""

import importlib
from collections.abc import Iterator

import pytest

from loopmargin_service import physics
from tests.published.register import register


@pytest.fixture(autouse=True)
def laws_of_the_test(request: pytest.FixtureRequest) -> Iterator[None]:
    """Open the register for the laws of the nearest mark `law`."""
    mark = request.node.get_closest_marker("law")
    register.laws = mark.args if mark else ()
    for name in register.laws:
        module, _, attribute = name.partition(".")
        assert hasattr(importlib.import_module(f"{physics.__name__}.{module}"), attribute), name
    yield
    register.laws = ()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let the page of laws be compared when every row has been noted."""
    items.sort(key=lambda item: item.path.name == "test_laws_page.py")
