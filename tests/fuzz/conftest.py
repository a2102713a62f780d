"""What is only collected when it is going to be run, and what the long contract says at the end."""

from pathlib import Path

import pytest

from tests.fuzz import ledger

LONG = {"test_http_contract_long.py", "test_http_contract_every_bound.py"}


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Leave the long contract out of a short run: laying out its cases takes minutes."""
    short = "not long" in str(config.option.markexpr)
    return True if short and collection_path.name in LONG else None


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    """Say what the long contract has done with this code, in this run and before."""
    said = "" if "not long" in str(config.option.markexpr) else ledger.summary()
    if said:
        terminalreporter.section(f"contract kept by code {ledger.code()}")
        terminalreporter.write_line(said)
