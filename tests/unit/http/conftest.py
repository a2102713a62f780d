"""An application with the parcel question alone, and a client inside the process."""

from collections.abc import Iterator

import pytest
from litestar import Litestar
from litestar.testing import TestClient

from loopmargin_service.http.app import create_app
from loopmargin_service.http.settings import Settings
from tests.unit.http.parcel import Counter, parcel_routes

JSON = {"content-type": "application/json"}


@pytest.fixture
def counter() -> Counter:
    """Count the calculations."""
    return Counter()


@pytest.fixture
def client(counter: Counter) -> Iterator[TestClient[Litestar]]:
    """Talk to a private application; a bug in it is a response, as it is for a caller."""
    app = create_app(Settings(body_bytes=4096), parcel_routes(counter))
    with TestClient(app, raise_server_exceptions=False) as inside:
        yield inside
