"""Draw pump against loop, rise against fan speed, and the chance over fan speed and room."""

from pathlib import Path
from typing import NamedTuple

import matplotlib as mpl
import msgspec
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from loopmargin import Client
from loopmargin_wire.pump_head import PumpHeadAnswer
from loopmargin_wire.steady_state import FannedRadiator, SteadyStateQuestion
from loopmargin_wire.sweep import FactorAxis, FieldAxis, SweepQuestion

SPEEDS_RPM = (500.0, 600.0, 700.0, 800.0, 900.0, 1000.0, 1100.0, 1200.0, 1300.0, 1400.0, 1500.0)
ROOMS_C = (18.0, 20.0, 22.0, 24.0, 26.0, 28.0, 30.0, 32.0, 34.0)
DRAWS = 400
BLUE, RED, GREY = "#1f5a8a", "#b03a2e", "#777777"


class Rise(NamedTuple):
    """Rise of the hottest coolant over the room at fan speeds, and what is allowed."""

    speeds_rpm: tuple[float, ...]
    rises_k: tuple[float, ...]
    allowed_k: float
    now_rpm: float


class Chances(NamedTuple):
    """Chance that coolant, flow and parts keep their limits, by room temperature and fan speed."""

    chance: np.ndarray
    wanted: float
    now: tuple[float, float]


def rise_over_speed(client: Client, question: SteadyStateQuestion) -> Rise:
    """Ask the whole machine at a range of fan speeds."""
    speeds, rises = [], []
    for speed in SPEEDS_RPM:
        state = client.steady_state(at_fan_speed(question, speed)).state
        if state is not None:
            speeds.append(speed)
            rises.append(state.rise_over_room_k)
    allowed = question.coolant_limit_c - question.room.air_c
    return Rise(tuple(speeds), tuple(rises), allowed, fan_speed(question))


def chance_over_speed_and_room(client: Client, question: SteadyStateQuestion) -> Chances:
    """Ask for a sweep of all fans and the room, drawn about every case."""
    now_rpm = fan_speed(question)
    rooms = FieldAxis(pointer="/room/air_c", values=ROOMS_C)
    fans = FactorAxis(of="fan_speeds", values=tuple(speed / now_rpm for speed in SPEEDS_RPM))
    state = client.sweep(SweepQuestion(machine=question, axes=(rooms, fans), draws=DRAWS)).state
    values = next(column.values for column in state.columns if column.name == "holds chance")
    # A case that has no state cannot hold.
    chance = np.array([value or 0.0 for value in values]).reshape(state.shape)
    return Chances(chance, question.confidence, (now_rpm, question.room.air_c))


def fan_speed(question: SteadyStateQuestion) -> float:
    """Give the speed of the first radiator's fans."""
    return next(
        element.fans.speed_rpm
        for branch in question.branches
        for element in branch.elements
        if isinstance(element, FannedRadiator)
    )


def at_fan_speed(question: SteadyStateQuestion, speed: float) -> SteadyStateQuestion:
    """Give the question with all radiator fans at one speed."""
    replace = msgspec.structs.replace
    branches = tuple(
        replace(
            branch,
            elements=tuple(
                replace(element, fans=replace(element.fans, speed_rpm=speed))
                if isinstance(element, FannedRadiator)
                else element
                for element in branch.elements
            ),
        )
        for branch in question.branches
    )
    return replace(question, branches=branches)


def draw(path: Path, pump: PumpHeadAnswer, rise: Rise, chances: Chances) -> None:
    """Save the pictures side by side as SVG, text kept as text."""
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "loopmargin", "font.size": 10}):
        figure = Figure(figsize=(16, 4.4), layout="constrained")
        left, middle, right = figure.subplots(1, 3)
        head_over_flow(left, pump)
        rise_of_coolant(middle, rise)
        chance_of_all(right, chances)
        for axes in (left, middle):
            axes.spines[["top", "right"]].set_visible(False)
            axes.grid(color="#e4e4e4", linewidth=0.8)
            axes.set_axisbelow(True)
        figure.savefig(path, metadata={"Date": None})


def head_over_flow(axes: Axes, answer: PumpHeadAnswer) -> None:
    """Draw pump and loop, where they meet, and the flow that is required."""
    state = answer.state
    if state is None:
        return
    flow = [point.flow_l_per_min for point in state.curve]
    axes.plot(flow, [point.pump_head_m for point in state.curve], color=BLUE, label="pump")
    axes.plot(flow, [point.loop_head_m for point in state.curve], color=RED, label="loop")
    axes.plot([state.flow_l_per_min], [state.head_m], "o", color="black", zorder=3)
    axes.annotate(
        f"{state.flow_l_per_min:.2f} L/min\n{state.head_m:.2f} m",
        (state.flow_l_per_min, state.head_m),
        xytext=(14, -34),
        textcoords="offset points",
    )
    required = answer.question.required_flow_l_per_min
    axes.axvline(required, color=GREY, linestyle="--", label=f"required {required:g} L/min")
    shutoff = max(point.pump_head_m for point in state.curve)
    axes.set(
        title="Pump against loop",
        xlabel="coolant flow [L/min]",
        ylabel="head [m]",
        xlim=(0, 2.2 * state.flow_l_per_min),
        ylim=(0, 1.6 * shutoff),
    )
    axes.legend(frameon=False, loc="upper right")


def rise_of_coolant(axes: Axes, rise: Rise) -> None:
    """Draw the rise over fan speed, with the limit and the speed asked about."""
    axes.plot(rise.speeds_rpm, rise.rises_k, color=BLUE, marker=".", label="hottest coolant")
    axes.axhline(rise.allowed_k, color=RED, linestyle="--", label=f"allowed {rise.allowed_k:g} K")
    axes.axvline(rise.now_rpm, color=GREY, linestyle=":", label=f"asked {rise.now_rpm:g} rpm")
    axes.set(
        title="Coolant over room air",
        xlabel="fan speed [rpm]",
        ylabel="rise [K]",
        ylim=(0, 1.15 * max((*rise.rises_k, rise.allowed_k))),
    )
    axes.legend(frameon=False, loc="upper right")


def chance_of_all(axes: Axes, chances: Chances) -> None:
    """Draw lines of equal chance, the wanted one thick, and where the machine stands."""
    steps = (0.05, 0.2, 0.5, 0.8, chances.wanted)
    rows = SPEEDS_RPM, ROOMS_C, chances.chance
    axes.contourf(*rows, levels=(0.0, *steps, 1.0), cmap="RdYlBu", alpha=0.6)
    lines = axes.contour(*rows, levels=steps, colors="black", linewidths=(0.8,) * 4 + (2.2,))
    axes.clabel(lines, fmt="%.2g")
    axes.plot(*chances.now, "o", color="black")
    axes.annotate("asked", chances.now, xytext=(6, -12), textcoords="offset points")
    axes.set(
        title=f"Chance for coolant, flow and parts (wanted {chances.wanted:g})",
        xlabel="speed of the radiator's fans, all fans alike [rpm]",
        ylabel="room air [degC]",
    )
