"""The ledger of the long contract: a part is done once, and only what went well counts."""

import pytest

from tests.fuzz import ledger
from tests.fuzz.ledger import Part, Tally, code, done, keep, owed, summary

PART = Part(seed=7, number=0, operation="POST /v1/noise", examples=200)
OTHER = Part(seed=8, number=0, operation="POST /v1/noise", examples=200)


@pytest.fixture(autouse=True)
def elsewhere(tmp_path: object, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the real ledger as it is."""
    monkeypatch.setattr(ledger, "PLACE", tmp_path)


def work(part: Part) -> bool:
    """Do a part if it is owed; tell whether it was."""
    with owed(part) as tally:
        if tally is None:
            return False
        tally.cases += 3
        tally.response("json>json open", 200)
        tally.checked(["status_code_conformance"])
    return True


def test_a_part_is_done_once() -> None:
    """What stands in the ledger is not done again; another seed is another part."""
    assert [work(PART), work(PART), work(OTHER)] == [True, False, True]
    assert {tally.part for tally in done()} == {PART, OTHER}


def test_a_part_that_failed_is_owed_again() -> None:
    """Nothing is kept of it."""
    with pytest.raises(ZeroDivisionError), owed(PART):
        raise ZeroDivisionError
    assert not done()
    assert work(PART)


def test_a_part_under_way_is_left_to_who_does_it() -> None:
    """Two processes never do the same."""
    with owed(PART) as tally:
        assert tally is not None
        assert not work(PART)


def test_what_other_code_has_done_does_not_count(monkeypatch: pytest.MonkeyPatch) -> None:
    """A change of the code begins a new ledger."""
    work(PART)
    monkeypatch.setattr(ledger, "code", lambda: "other")
    assert not done()


def test_the_summary_adds_up_and_names_ways_and_checks() -> None:
    """Cases, responses and checks of all seeds together."""
    work(PART)
    work(OTHER)
    keep(Tally(code(), Part(0, 0, "walks", 200), cases=4))
    first, responses, checks, *rest = summary().splitlines()
    assert first.startswith("POST /v1/noise: 6 cases in ")
    assert responses.strip() == "json>json open 200: 2"
    assert checks.strip() == "checks: status_code_conformance: 2"
    assert rest[0].startswith("walks: 4 cases")
