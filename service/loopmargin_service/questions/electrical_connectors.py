"""The connectors of a question: currents, sharing between pins, drop, and their margins."""

from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics import connector as contacts
from loopmargin_service.physics import wire
from loopmargin_service.physics.connector import CARD_RATINGS, LARGEST_RISE, Rating
from loopmargin_service.questions.conversion import MM, kelvin
from loopmargin_service.questions.margins import margin
from loopmargin_service.questions.naming import told_apart
from loopmargin_wire.answer import Margin, Note
from loopmargin_wire.connector import (
    CardEightPinConnector,
    CardSixPinConnector,
    Connector,
    OwnConnector,
    ProcessorEightPinConnector,
    ProcessorFourPinConnector,
    TwelveContactConnector,
)
from loopmargin_wire.supply_headroom import ConnectorState

MOHM: Final = 1e-3
NOTABLE_SPREAD: Final = 0.2
PLANNED_SHARE: Final = 0.8

_CARD_RATINGS: Final[dict[type[Connector], Rating]] = {
    TwelveContactConnector: CARD_RATINGS["twelve_contact"],
    CardEightPinConnector: CARD_RATINGS["card_eight_pin"],
    CardSixPinConnector: CARD_RATINGS["card_six_pin"],
}


class Limits(NamedTuple):
    """What a connector may carry; a limit that nobody has published is absent."""

    pin_a: float
    power_w: float
    rms_a: float | None


class Currents(NamedTuple):
    """Connectors side by side; `shares` has one row for each pin, zero where there is none."""

    mean: NDArray[np.float64]
    rms: NDArray[np.float64]
    shares: NDArray[np.float64]
    wire_resistance: NDArray[np.float64]
    resistance: NDArray[np.float64]


def limits(connector: Connector) -> Limits:
    """Look up the published limits, or take the current of all pins at the lowest voltage."""
    if isinstance(connector, OwnConnector | ProcessorEightPinConnector | ProcessorFourPinConnector):
        pins = len(connector.contacts_mohm)
        power = pins * connector.pin_rating_a * connector.minimum_voltage_v
        stated = connector.power_limit_w if isinstance(connector, OwnConnector) else None
        return Limits(connector.pin_rating_a, power if stated is None else stated, None)
    rating = _CARD_RATINGS[type(connector)]
    return Limits(rating.pin, rating.power, rating.rms_current)


def connector_states(connectors: Sequence[Connector]) -> tuple[ConnectorState, ...]:
    """Compute every connector; all of them go through the laws at once."""
    if not connectors:
        return ()
    currents = _currents(connectors)
    return tuple(_state(connector, currents, i) for i, connector in enumerate(connectors))


def connector_margins(
    connectors: Sequence[Connector],
    states: Sequence[ConnectorState],
    confidence: float,
    factors: NDArray[np.float64] | None = None,
) -> Iterator[Margin]:
    """Compare power, RMS current, hottest pin and drop of every connector with its limits.

    All of them go with the power, whose factors in every draw are (connectors, draws).
    """
    names = told_apart([connector.name for connector in connectors])
    for row, (connector, state) in enumerate(zip(connectors, states, strict=True)):
        limit = limits(connector)
        rows = [
            ("power", connector.power_w, limit.power_w, "W"),
            ("hottest pin", state.hottest_pin_rms_current_a, limit.pin_a, "A"),
            ("voltage drop", state.drop_v, connector.drop_limit_v, "V"),
        ]
        if limit.rms_a is not None:
            rows.insert(1, ("RMS current", state.rms_current_a, limit.rms_a, "A"))
        for what, demand, capacity, unit in rows:
            left = None if factors is None else capacity - demand * factors[row]
            name = f"{names[row]}: {what}"
            yield margin(name, demand, capacity, unit, confidence, left)


def connector_notes(
    connectors: Sequence[Connector], states: Sequence[ConnectorState]
) -> Iterator[Note]:
    """Say where a connector is used hard or where its contacts are only assumed."""
    for index, (connector, state) in enumerate(zip(connectors, states, strict=True)):
        here = f"/connectors/{index}"
        yield from _load_note(connector, here)
        yield from _contact_notes(connector, state, f"{here}/contacts_mohm")


def _currents(connectors: Sequence[Connector]) -> Currents:
    """Send all connectors through the laws; missing pins are open branches."""
    pins = max(len(connector.contacts_mohm) for connector in connectors)
    contact = np.full((pins, len(connectors)), np.inf)
    for column, connector in enumerate(connectors):
        contact[: len(connector.contacts_mohm), column] = connector.contacts_mohm
    rows = [
        (c.wire_gauge_awg, c.wire_c, c.length_mm, c.power_w, c.minimum_voltage_v)
        for c in connectors
    ]
    gauge, wire_c, length_mm, power, voltage = np.array(rows).T
    peak, duty = np.array([(c.peak_over_mean, c.peak_duty_fraction) for c in connectors]).T
    wire_each = wire.resistance_per_length(gauge, kelvin(wire_c)) * length_mm * MM
    branch = wire_each + contact * MOHM
    mean = power / voltage
    return Currents(
        mean=mean,
        rms=mean * contacts.rms_over_mean(peak, duty),
        shares=contacts.shares(branch),
        wire_resistance=wire_each / np.isfinite(contact).sum(axis=0),
        resistance=contacts.parallel_resistance(branch),
    )


def _state(connector: Connector, currents: Currents, column: int) -> ConnectorState:
    pins = len(connector.contacts_mohm)
    limit = limits(connector)
    mean, rms = float(currents.mean[column]), float(currents.rms[column])
    shares = currents.shares[:pins, column]
    hottest = int(shares.argmax())
    pin_rms = float(shares[hottest]) * rms
    rise = float(contacts.contact_rise(pin_rms, limit.pin_a))
    spread = float(contacts.branch_spread_allowed(limit.pin_a, rms, pins))
    resistance = float(currents.resistance[column])
    return ConnectorState(
        connector=connector.name,
        live_pins=pins,
        mean_current_a=mean,
        rms_current_a=rms,
        rms_limit_a=limit.rms_a,
        peak_duty_allowed=_duty_allowed(connector, mean, limit),
        pin_mean_currents_a=tuple(float(share) * mean for share in shares),
        hottest_pin=hottest + 1,
        hottest_pin_rms_current_a=pin_rms,
        pin_rating_a=limit.pin_a,
        hottest_pin_rise_k=rise if rise <= LARGEST_RISE else None,
        branch_spread_allowed=spread if np.isfinite(spread) else None,
        wire_drop_v=2.0 * mean * float(currents.wire_resistance[column]),
        drop_v=2.0 * mean * resistance,
        loss_w=2.0 * rms**2 * resistance,
    )


def _duty_allowed(connector: Connector, mean: float, limit: Limits) -> float | None:
    if limit.rms_a is None or connector.peak_over_mean <= 1.0:
        return None
    duty = contacts.duty_allowed(connector.peak_over_mean, mean, limit.rms_a)
    # A longer peak than this would need a negative level between the peaks.
    return min(float(duty), 1.0 / connector.peak_over_mean)


def _load_note(connector: Connector, pointer: str) -> Iterator[Note]:
    planned = PLANNED_SHARE * limits(connector).power_w
    if connector.power_w > planned:
        yield Note(
            code="connector_used_hard",
            text=f"{connector.name} carries {connector.power_w:.0f} W; planning for no more "
            f"than 80 % of its limit, {planned:.0f} W, is common practice (no source).",
            pointer=f"{pointer}/power_w",
        )


def _contact_notes(connector: Connector, state: ConnectorState, pointer: str) -> Iterator[Note]:
    spread = state.branch_spread_allowed
    least, most = min(state.pin_mean_currents_a), max(state.pin_mean_currents_a)
    if len(set(connector.contacts_mohm)) == 1 and state.live_pins > 1 and spread is not None:
        yield Note(
            code="contacts_taken_as_equal",
            text=f"The contacts of {connector.name} are taken as equal, and real ones are not: "
            f"at a ratio of {spread:.3g} between the largest and the smallest resistance of a "
            "wire with its contacts the hottest pin is at its rating.",
            pointer=pointer,
        )
    elif most - least > NOTABLE_SPREAD * state.mean_current_a / state.live_pins:
        yield Note(
            code="pins_share_unequally",
            text=f"The pins of {connector.name} carry between {least:.3g} and {most:.3g} A. Clamp "
            "each wire on the bench, and replace a cable whose wires differ by more than a "
            "fifth (common practice, no source).",
            pointer=pointer,
        )
