"""Numbers and words of the wire, each with its unit, both bounds and a meaning.

Every number of a question is one of these aliases or is annotated in place with
`quantity`; both bounds are always given, because a bound on each side is what keeps
infinities and NaN out of a message in any encoding.
"""

from typing import Annotated

from msgspec import Meta


def quantity(unit: str, low: float, high: float, meaning: str) -> Meta:
    """Describe a number with its unit, both bounds and what it stands for."""
    return Meta(
        ge=low,
        le=high,
        description=f"{meaning} [{unit}]",
        extra_json_schema={"x-unit": unit, "format": "double"},
    )


def whole(low: int, high: int, meaning: str) -> Meta:
    """Describe a count with both bounds and what is counted."""
    return Meta(
        ge=low,
        le=high,
        description=f"{meaning} [1]",
        extra_json_schema={"x-unit": "1", "format": "int32"},
    )


def words(meaning: str) -> Meta:
    """Describe a field that takes one word of a closed list."""
    return Meta(description=meaning)


# The negative look-ahead ends the pattern where `$` would let a trailing newline pass.
Name = Annotated[
    str,
    Meta(
        min_length=1,
        max_length=48,
        pattern=r"^[A-Za-z0-9][A-Za-z0-9 _.-]*(?![\s\S])",
        description="Name of a part, as it should appear in answers.",
    ),
]
NodeName = Annotated[
    str,
    Meta(
        min_length=1,
        max_length=24,
        pattern=r"^[a-z][a-z0-9_]*(?![\s\S])",
        description="Name of a junction of the loop.",
    ),
]
Text = Annotated[str, Meta(min_length=1, max_length=2000, description="A sentence for a person.")]

# What a question says.
HeatW = Annotated[float, quantity("W", 1.0, 5000.0, "Heat to be carried away")]
AirTemperatureC = Annotated[float, quantity("degC", -20.0, 60.0, "Air temperature")]
CoolantTemperatureC = Annotated[float, quantity("degC", -40.0, 95.0, "Coolant temperature")]
AltitudeM = Annotated[float, quantity("m", -400.0, 5000.0, "Height above sea level")]
FlowLPerMin = Annotated[float, quantity("L/min", 0.05, 60.0, "Coolant volume flow")]
PointFlowLPerMin = Annotated[float, quantity("L/min", 0.0, 100.0, "Coolant volume flow of a point")]
AirFlowM3PerH = Annotated[float, quantity("m3/h", 1.0, 5000.0, "Air volume flow")]
PointAirFlowM3PerH = Annotated[float, quantity("m3/h", 0.0, 5000.0, "Air flow of a point")]
SpeedRpm = Annotated[float, quantity("rpm", 100.0, 10000.0, "Rotational speed")]
LengthMm = Annotated[float, quantity("mm", 1.0, 20000.0, "Length")]
BoreMm = Annotated[float, quantity("mm", 2.0, 50.0, "Inside diameter")]
FaceLengthMm = Annotated[float, quantity("mm", 30.0, 2000.0, "Edge of a radiator face")]
PressureDropKpa = Annotated[float, quantity("kPa", 0.0, 500.0, "Pressure drop")]
AirPressurePa = Annotated[float, quantity("Pa", 0.0, 2000.0, "Static pressure")]
HeadM = Annotated[float, quantity("m", 0.0, 100.0, "Head")]
KvM3PerH = Annotated[float, quantity("m3/h", 0.02, 100.0, "Flow coefficient Kv (1 bar, water)")]
ResistanceKPerW = Annotated[float, quantity("K/W", 0.0, 5.0, "Thermal resistance")]
MotorPowerW = Annotated[float, quantity("W", 0.0, 500.0, "Electrical power of a motor")]
ElectricalPowerW = Annotated[float, quantity("W", 0.0, 5000.0, "Electrical power")]
Fraction = Annotated[float, quantity("1", 0.0, 1.0, "Fraction")]
Confidence = Annotated[
    float,
    quantity("1", 0.5, 0.999, "Confidence a margin must hold with to be called met"),
]

# What an answer says; the bounds only keep a broken number off the wire.
Number = Annotated[float, quantity("see unit", -1e12, 1e12, "Number in the unit stated beside it")]
Share = Annotated[float, quantity("1", 0.0, 1.0, "Share")]
Temperature = Annotated[float, quantity("degC", -1e12, 1e12, "Temperature")]
Difference = Annotated[float, quantity("K", -1e12, 1e12, "Temperature difference")]
Power = Annotated[float, quantity("W", -1e12, 1e12, "Power")]
Conductance = Annotated[float, quantity("W/K", 0.0, 1e12, "Thermal conductance")]
Resistance = Annotated[float, quantity("K/W", 0.0, 1e12, "Thermal resistance")]
Flow = Annotated[float, quantity("L/min", -1e12, 1e12, "Coolant volume flow")]
AirFlow = Annotated[float, quantity("m3/h", -1e12, 1e12, "Air volume flow")]
Velocity = Annotated[float, quantity("m/s", -1e12, 1e12, "Mean velocity")]
Area = Annotated[float, quantity("cm2", 0.0, 1e12, "Area")]
Pressure = Annotated[
    float, quantity("kPa", -1e12, 1e12, "Pressure or pressure drop of the coolant")
]
AirPressure = Annotated[float, quantity("Pa", -1e12, 1e12, "Pressure or pressure drop of the air")]
Head = Annotated[float, quantity("m", -1e12, 1e12, "Head")]
Speed = Annotated[float, quantity("rpm", 0.0, 1e12, "Rotational speed")]
Current = Annotated[float, quantity("A", 0.0, 1e12, "Electrical current")]
Voltage = Annotated[float, quantity("V", -1e12, 1e12, "Voltage")]
Count = Annotated[int, whole(0, 1_000_000_000, "Count")]
