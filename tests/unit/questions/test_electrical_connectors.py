"""The connectors of `supply-headroom`: currents, sharing, drop, margins and notes."""

from statistics import NormalDist
from typing import Any

import msgspec
import numpy as np
import pytest

from loopmargin_service.questions.electrical_connectors import (
    connector_margins,
    connector_notes,
    connector_states,
    limits,
)
from loopmargin_wire.answer import Margin
from loopmargin_wire.connector import Connector
from loopmargin_wire.supply_headroom import ConnectorState

# Cold copper and a round 12 V make the hand calculations exact.
LEAD: dict[str, Any] = {
    "kind": "twelve_contact",
    "name": "lead",
    "power_w": 600,
    "wire_gauge_awg": 16,
    "length_mm": 650,
    "wire_c": 20,
    "minimum_voltage_v": 12,
}


def lead(**changes: object) -> Connector:
    """Decode the lead above with some of its fields replaced."""
    decoded: Connector = msgspec.convert({**LEAD, **changes}, Connector)
    return decoded


def state_of(**changes: object) -> ConnectorState:
    """Compute the lead by itself."""
    (state,) = connector_states((lead(**changes),))
    return state


def margins_of(**changes: object) -> dict[str, Margin]:
    """Give the margins of the lead by what they are about, its power drawn at even chances."""
    leads = (lead(**changes),)
    chances = [NormalDist().inv_cdf((number + 0.5) / 1000) for number in range(1000)]
    factors = 1.0 + leads[0].relative_uncertainty * np.array([chances])
    rows = connector_margins(leads, connector_states(leads), 0.95, factors)
    return {row.criterion.removeprefix("lead: "): row for row in rows}


def note_codes(**changes: object) -> set[str]:
    """Collect the codes of the notes on the lead."""
    leads = (lead(**changes),)
    return {note.code for note in connector_notes(leads, connector_states(leads))}


def test_mean_current_is_at_the_minimum_voltage() -> None:
    """A load of constant power draws most at the lowest voltage: 54.348 A at 11.04 V."""
    assert state_of(minimum_voltage_v=11.04).mean_current_a == pytest.approx(54.348, abs=5e-4)


def test_one_bad_contact() -> None:
    """Regression: five contacts of 6 and one of 26 mohm put 9.223 A on the good pins."""
    state = state_of(contacts_mohm=[6, 6, 6, 6, 6, 26])

    assert state.hottest_pin_rms_current_a == pytest.approx(9.223, abs=5e-4)
    assert state.pin_mean_currents_a[5] == pytest.approx(3.886, abs=5e-4)
    assert state.drop_v == pytest.approx(2 * 0.13431, abs=1e-5)


def test_the_best_contact_overloads() -> None:
    """Among worn contacts the good one takes 16.534 A; its rise is near the end of the law."""
    state = state_of(contacts_mohm=[20, 20, 20, 20, 20, 3])

    assert (state.hottest_pin, state.live_pins) == (6, 6)
    assert state.hottest_pin_rms_current_a == pytest.approx(16.534, abs=5e-4)
    assert state.hottest_pin_rise_k == pytest.approx(96.89, abs=0.01)


def test_rise_beyond_its_law_is_not_stated() -> None:
    """No temperature is given where the square law has nothing to say."""
    assert state_of(contacts_mohm=[100000] * 5 + [1]).hottest_pin_rise_k is None


def test_wire_drop_out_and_back() -> None:
    """Regression: 600 W over six pairs of gauge 16 and 0.6 m drop 131.742 mV in the wires."""
    state = state_of(length_mm=600)

    assert state.wire_drop_v == pytest.approx(0.131742, abs=5e-7)
    assert state.drop_v == pytest.approx(0.131742 + 2 * 50 * 0.001, abs=1e-6)
    assert state.loss_w == pytest.approx(50 * state.drop_v)


def test_warm_wires_drop_more() -> None:
    """At 80 degC copper has 1.2358 times the resistance of 20 degC; the contacts have not."""
    cold, warm = state_of(), state_of(wire_c=80)

    assert warm.wire_drop_v == pytest.approx(1.2358 * cold.wire_drop_v)
    assert warm.drop_v - warm.wire_drop_v == pytest.approx(cold.drop_v - cold.wire_drop_v)


def test_heat_follows_the_rms_and_drop_the_mean() -> None:
    """With 5 % of the time at three times the mean, the RMS is 1.100251 times the mean."""
    steady, swinging = state_of(), state_of(peak_over_mean=3, peak_duty_fraction=0.05)
    ratio = (1 + 4 * 0.05 / 0.95) ** 0.5

    assert swinging.drop_v == steady.drop_v
    assert swinging.loss_w == pytest.approx(ratio**2 * steady.loss_w)
    assert swinging.hottest_pin_rms_current_a == pytest.approx(ratio * 50 / 6)
    assert swinging.branch_spread_allowed == pytest.approx(46 / (50 * ratio - 9.2))


@pytest.mark.parametrize(
    ("power", "kind", "gauge", "length_mm", "pins", "expected"),
    [
        (150, "card_eight_pin", 18, 600, 3, 0.104739),
        (312, "processor_eight_pin", 18, 650, 4, 0.177009),
    ],
)
def test_wire_drop_of_other_connectors(
    power: float, kind: str, gauge: int, length_mm: float, pins: int, expected: float
) -> None:
    """Regression: 12.5 A on three and 26 A on four pairs of gauge 18."""
    state = state_of(power_w=power, kind=kind, wire_gauge_awg=gauge, length_mm=length_mm)

    assert pins == state.live_pins
    assert expected == pytest.approx(state.wire_drop_v, abs=5e-7)


def test_mean_and_rms_are_two_limits() -> None:
    """600 W with 5 % of the time at 1800 W: the mean is at its limit, the RMS just beyond."""
    rows = margins_of(peak_over_mean=3, peak_duty_fraction=0.05)

    assert (rows["power"].surplus, rows["power"].verdict) == (0.0, "tight")
    assert rows["RMS current"].demand == pytest.approx(55.012, abs=5e-4)
    assert rows["RMS current"].verdict == "fails"


def test_duty_allowed_at_the_rms_limit() -> None:
    """Regression: 4.988 % of the time at three times 600 W; no duty where there is no peak."""
    assert state_of(peak_over_mean=3).peak_duty_allowed == pytest.approx(0.04988, abs=5e-6)
    assert state_of().peak_duty_allowed is None
    assert state_of(power_w=10, peak_over_mean=4).peak_duty_allowed == 0.25


def test_every_margin_of_a_connector() -> None:
    """Power, RMS current, hottest pin and drop; no RMS limit where none is published."""
    card = set(margins_of())
    own = set(margins_of(kind="own", pin_rating_a=9, contacts_mohm=[6, 6]))

    assert card == {"power", "RMS current", "hottest pin", "voltage drop"}
    assert own == card - {"RMS current"}


def test_uncertainty_follows_the_power() -> None:
    """Ten per cent on the power are ten per cent on each demand."""
    for row in margins_of(power_w=300, relative_uncertainty=0.1).values():
        assert row.standard_uncertainty == pytest.approx(0.1 * row.demand, rel=0.02)


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, (9.2, 600.0, 55.0)),
        ({"kind": "card_eight_pin"}, (7.0, 150.0, 13.5)),
        ({"kind": "card_six_pin"}, (8.0, 75.0, 6.75)),
        ({"kind": "processor_eight_pin", "pin_rating_a": 8}, (8.0, 4 * 8 * 12.0, None)),
        ({"kind": "processor_four_pin"}, (6.0, 2 * 6 * 12.0, None)),
        ({"kind": "own", "pin_rating_a": 5, "contacts_mohm": [6]}, (5.0, 60.0, None)),
        (
            {"kind": "own", "pin_rating_a": 5, "contacts_mohm": [6], "power_limit_w": 40},
            (5.0, 40.0, None),
        ),
    ],
)
def test_limits(changes: dict[str, Any], expected: tuple[float, float, float | None]) -> None:
    """Published limits where there are any, else all pins at their rating."""
    assert expected == tuple(limits(lead(**changes)))


def test_connectors_do_not_mix() -> None:
    """Computed together, connectors of unequal size are what they are by themselves."""
    leads = (lead(), lead(kind="card_six_pin", power_w=70), lead(power_w=100, wire_gauge_awg=20))
    apart = [connector_states((one,))[0] for one in leads]

    for alone, together in zip(apart, connector_states(leads), strict=True):
        assert alone.hottest_pin == together.hottest_pin
        assert alone.pin_mean_currents_a == pytest.approx(together.pin_mean_currents_a)
        assert alone.drop_v == pytest.approx(together.drop_v)


def test_no_connectors() -> None:
    """A question without connectors has none in its state."""
    assert connector_states(()) == ()


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"power_w": 50}, set()),
        ({"power_w": 490}, {"connector_used_hard", "contacts_taken_as_equal"}),
        ({"power_w": 300}, {"contacts_taken_as_equal"}),
        ({"power_w": 300, "contacts_mohm": [6, 6, 6, 6, 6, 7]}, set()),
        ({"power_w": 300, "contacts_mohm": [6, 6, 6, 6, 6, 30]}, {"pins_share_unequally"}),
        ({"power_w": 300, "contacts_mohm": [20, 20, 20, 20, 20, 3]}, {"pins_share_unequally"}),
    ],
)
def test_notes_of_a_connector(changes: dict[str, Any], expected: set[str]) -> None:
    """Hard use, assumed contacts and unequal sharing are said, and nothing else."""
    assert expected == note_codes(**changes)
