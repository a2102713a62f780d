"""Power connectors: the trade's standard ones and any other, with the wires behind them."""

from typing import Annotated

from msgspec import Meta

from loopmargin_wire.part import Part
from loopmargin_wire.quantity import Name, quantity, whole

RelativeUncertainty = Annotated[
    float, quantity("1", 0.0, 0.3, "Standard uncertainty of the power, as a fraction of it")
]
ContactMohm = Annotated[
    float,
    quantity("mohm", 0.1, 1e5, "Contacts at both ends of one live wire; 100000 is an open one"),
]


class ConnectorLoad(Part, frozen=True, kw_only=True):
    """What every connector shares: the power it carries and the wires behind it.

    The power swings between a peak of `peak_over_mean` for `peak_duty_fraction` of the
    time and a lower level that keeps the mean. The drop limit is 3 % of 12 V unless given.
    """

    name: Name
    power_w: Annotated[float, quantity("W", 1.0, 1000.0, "Mean power over any one second")]
    relative_uncertainty: RelativeUncertainty = 0.05
    peak_over_mean: Annotated[float, quantity("1", 1.0, 4.0, "Peak over mean power")] = 1.0
    peak_duty_fraction: Annotated[float, quantity("1", 0.0, 0.25, "Share of time at peak")] = 0.0
    wire_gauge_awg: Annotated[int, whole(10, 24, "American wire gauge of one wire")]
    length_mm: Annotated[float, quantity("mm", 50.0, 3000.0, "Length of the cable, one way")]
    wire_c: Annotated[float, quantity("degC", 0.0, 105.0, "Copper temperature")] = 60.0
    minimum_voltage_v: Annotated[
        float, quantity("V", 10.0, 13.0, "Lowest voltage the load may see; currents are at this")
    ] = 11.2
    drop_limit_v: Annotated[
        float, quantity("V", 0.05, 2.0, "Largest drop allowed, out and back")
    ] = 0.36


class TwelveContactConnector(
    ConnectorLoad, tag_field="kind", tag="twelve_contact", frozen=True, kw_only=True
):
    """The 600 W card connector: six live contacts, six returns and four signal contacts."""

    contacts_mohm: Annotated[tuple[ContactMohm, ...], Meta(min_length=6, max_length=6)] = (6.0,) * 6


class CardEightPinConnector(
    ConnectorLoad, tag_field="kind", tag="card_eight_pin", frozen=True, kw_only=True
):
    """The 150 W card connector: three live contacts."""

    contacts_mohm: Annotated[tuple[ContactMohm, ...], Meta(min_length=3, max_length=3)] = (6.0,) * 3


class CardSixPinConnector(
    ConnectorLoad, tag_field="kind", tag="card_six_pin", frozen=True, kw_only=True
):
    """The 75 W card connector: two live contacts are certain, a third is usual."""

    contacts_mohm: Annotated[tuple[ContactMohm, ...], Meta(min_length=2, max_length=3)] = (6.0,) * 2


PinRatingOfProcessor = Annotated[
    float, quantity("A", 6.0, 8.0, "Current of one contact, all contacts loaded")
]


class ProcessorEightPinConnector(
    ConnectorLoad, tag_field="kind", tag="processor_eight_pin", frozen=True, kw_only=True
):
    """The processor connector with four live contacts, of 6 to 8 A each."""

    pin_rating_a: PinRatingOfProcessor = 6.0
    contacts_mohm: Annotated[tuple[ContactMohm, ...], Meta(min_length=4, max_length=4)] = (6.0,) * 4


class ProcessorFourPinConnector(
    ConnectorLoad, tag_field="kind", tag="processor_four_pin", frozen=True, kw_only=True
):
    """The processor connector with two live contacts, of 6 to 8 A each."""

    pin_rating_a: PinRatingOfProcessor = 6.0
    contacts_mohm: Annotated[tuple[ContactMohm, ...], Meta(min_length=2, max_length=2)] = (6.0,) * 2


class OwnConnector(ConnectorLoad, tag_field="kind", tag="own", frozen=True, kw_only=True):
    """Any other connector; it has one live pin for each contact resistance."""

    pin_rating_a: Annotated[
        float, quantity("A", 0.5, 60.0, "Current of one contact, all contacts loaded")
    ]
    power_limit_w: (
        Annotated[float, quantity("W", 1.0, 2000.0, "Largest mean power allowed")] | None
    ) = None
    contacts_mohm: Annotated[tuple[ContactMohm, ...], Meta(min_length=1, max_length=24)]


Connector = (
    TwelveContactConnector
    | CardEightPinConnector
    | CardSixPinConnector
    | ProcessorEightPinConnector
    | ProcessorFourPinConnector
    | OwnConnector
)
