"""What is only collected when it is going to be run."""

from pathlib import Path

import pytest


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Leave the long contract out of a short run: laying out its cases takes half a minute."""
    short = "not long" in str(config.option.markexpr)
    return True if short and collection_path.name == "test_http_contract_long.py" else None
