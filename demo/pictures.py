"""Draw the pump against the loop, and the coolant's rise against fan speed."""

from pathlib import Path
from typing import NamedTuple

import matplotlib as mpl
import msgspec
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from loopmargin import Client
from loopmargin_wire.pump_head import PumpHeadAnswer
from loopmargin_wire.steady_state import FannedRadiator, SteadyStateQuestion

SPEEDS_RPM = (500.0, 600.0, 700.0, 800.0, 900.0, 1000.0, 1100.0, 1200.0, 1300.0, 1400.0, 1500.0)
BLUE, RED, GREY = "#1f5a8a", "#b03a2e", "#777777"


class Rise(NamedTuple):
    """Rise of the hottest coolant over the room at fan speeds, and what is allowed."""

    speeds_rpm: tuple[float, ...]
    rises_k: tuple[float, ...]
    allowed_k: float
    now_rpm: float


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


def draw(path: Path, pump: PumpHeadAnswer, rise: Rise) -> None:
    """Save both pictures side by side as SVG, text kept as text."""
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "loopmargin", "font.size": 10}):
        figure = Figure(figsize=(11, 4.4), layout="constrained")
        left, right = figure.subplots(1, 2)
        head_over_flow(left, pump)
        rise_of_coolant(right, rise)
        for axes in (left, right):
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
