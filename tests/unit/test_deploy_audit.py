"""The audit tells what is found from what could not be asked for.

The reports have the layout that pip-audit 2.10 and npm 9 write; what is in them is invented.
"""

import json
import sys

import pytest

from tests.unit.test_deploy_written import script

audit = script("audit")

CLEAR = {"name": "one", "version": "1.0", "vulns": []}
WEAK = {"name": "two", "version": "2.0", "vulns": [{"id": "X-1", "fix_versions": ["2.1"]}]}
UNKNOWN = {"name": "three", "skip_reason": "three not found"}
NPM_WEAK = {"vulnerabilities": {"four": {"range": "<4.1", "severity": "high"}}}


def pip_report(*rows: object) -> str:
    """Write a report as pip-audit does."""
    return json.dumps({"dependencies": rows, "fixes": []})


def test_a_vulnerability_is_found() -> None:
    """With its version, its name, and the version that mends it."""
    assert audit.read_pip_audit(pip_report(CLEAR, WEAK)).found == ("two 2.0: X-1, mended in 2.1",)
    assert audit.read_npm_audit(json.dumps(NPM_WEAK)).found == ("four <4.1: high",)


def test_what_could_not_be_asked_for_is_not_cleared() -> None:
    """Neither a package that is not known there, nor a database that is not reached."""
    assert audit.read_pip_audit(pip_report(CLEAR, UNKNOWN)).unasked == ("three not found",)
    assert audit.read_npm_audit('{"message": "405"}').unasked == ("405",)
    assert "NOT CLEARED" in audit.told(audit.read_pip_audit(pip_report(UNKNOWN)))


def test_what_is_clear_says_so() -> None:
    """Both reports without findings."""
    for found in (
        audit.read_pip_audit(pip_report(CLEAR)),
        audit.read_npm_audit('{"vulnerabilities": {}}'),
    ):
        assert (found.found, found.unasked) == ((), ())
        assert "nothing known" in audit.told(found)


def test_an_auditor_that_breaks_clears_nothing() -> None:
    """Whether it is missing, or writes no report."""
    broken = (sys.executable, "-c", "raise SystemExit('no route')")

    assert audit.asked(broken, audit.read_pip_audit).unasked == ("no route",)
    assert len(audit.asked(("there-is-no-such-auditor",), audit.read_npm_audit).unasked) == 1


@pytest.mark.parametrize(
    ("row", "arguments", "status"),
    [
        (CLEAR, [], 0),
        (UNKNOWN, ["--found-only"], 0),
        (UNKNOWN, [], 1),
        (WEAK, ["--found-only"], 1),
    ],
)
def test_the_status_is_that_of_the_worst(
    monkeypatch: pytest.MonkeyPatch, row: object, arguments: list[str], status: int
) -> None:
    """Findings always fail; what was not asked for fails unless findings alone are wanted."""
    clear = audit.read_npm_audit('{"vulnerabilities": {}}')
    mine = audit.read_pip_audit(pip_report(row))
    monkeypatch.setattr(
        audit, "asked", lambda _, read: mine if read is audit.read_pip_audit else clear
    )

    assert audit.main(arguments) == status
