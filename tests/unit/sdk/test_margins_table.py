"""The table of margins: aligned, honest about chance, safe for a terminal."""

import msgspec
import pytest

from loopmargin import margins_table
from loopmargin_wire.answer import Margin, Outcome
from loopmargin_wire.radiator_area import RadiatorAreaAnswer
from tests.unit.sdk.standin import sample_answer


def margin(**changes: object) -> Margin:
    """Margin of the sample, with changes."""
    return msgspec.structs.replace(sample_answer().margins[0], **changes)


def with_margins(*margins: Margin) -> RadiatorAreaAnswer:
    """Sample answer with other margins."""
    return msgspec.structs.replace(sample_answer(), margins=margins)


def cells(answer: RadiatorAreaAnswer, row: int = 0) -> list[str]:
    """Words of one line of the table."""
    return margins_table(answer).splitlines()[2 + row].split()


def test_table_is_aligned() -> None:
    """Words stand to the left, numbers to the right, under their headings."""
    answer = with_margins(
        margin(),
        margin(
            criterion="flow through the block",
            demand=2.0,
            capacity=1.5,
            surplus=-0.5,
            unit="L/min",
            verdict="fails",
            chance=None,
        ),
    )

    expected = """\
criterion               demand  capacity  surplus  unit   verdict  chance
----------------------  ------  --------  -------  -----  -------  ------
conductance              28.25     31.50     3.25  W/K    meets     0.970
flow through the block   2.000     1.500   -0.500  L/min  fails         -"""
    assert expected == margins_table(answer)


@pytest.mark.parametrize(
    ("capacity", "shown"),
    [
        (0.0, "0"),
        (12345.678, "12346"),
        (1234.5, "1234"),
        (0.0012345, "0.001234"),
        (-31.5, "-31.50"),
        (9.9999, "10.00"),
        (1e12, "1000000000000"),
        (1e-9, "0.000000"),
    ],
)
def test_numbers_have_four_significant_digits(capacity: float, shown: str) -> None:
    """No exponents; large numbers keep their digits before the point."""
    answer = with_margins(margin(demand=0.0, capacity=capacity, surplus=capacity))

    assert [shown, shown] == cells(answer)[2:4]


def test_numbers_of_a_line_share_their_decimals() -> None:
    """Capacity less demand can be checked on the printed digits."""
    answer = with_margins(margin(demand=100.0, capacity=100.25, surplus=0.25))

    assert cells(answer)[1:4] == ["100.0", "100.2", "0.2"]


@pytest.mark.parametrize(
    ("share", "shown"),
    [
        (None, "-"),
        (0.0, "0.000"),
        (0.0001, "<0.001"),
        (0.0005, "0.001"),
        (0.5, "0.500"),
        (0.9994, "0.999"),
        (0.9996, ">0.999"),
        (1.0, "1.000"),
    ],
)
def test_chance_is_never_rounded_to_certainty(share: float | None, shown: str) -> None:
    """Only a chance of exactly one is shown as one."""
    assert shown == cells(with_margins(margin(chance=share)))[-1]


def test_reason_and_advice_follow_when_nothing_was_found() -> None:
    """A machine that does not work has no table to show but a reason."""
    outcome = Outcome(
        status="no_operating_point", reason="The fans are too weak.", advice=("Add a fan.",)
    )
    answer = msgspec.structs.replace(sample_answer(), margins=(), outcome=outcome)

    lines = margins_table(answer).splitlines()

    assert lines[0].startswith("criterion  demand")
    assert lines[2:] == ["", "no_operating_point: The fans are too weak.", "Add a fan."]


def test_terminal_is_safe_from_texts() -> None:
    """Control characters in what a service says are not passed on."""
    answer = with_margins(margin(criterion="\x1b[2Jgone\nnext", unit="\x07"))

    assert cells(answer)[0] == "?[2Jgone?next"
    assert "\x07" not in margins_table(answer)
