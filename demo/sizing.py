"""Size the demo machine: start the service, ask the sizing questions, print and draw.

A fictional workshop quotes a near-silent machine that renders the sky for the dome of a
small planetarium and stands in a warm projection booth. Every part and every number of
it is invented. The service runs as a separate process on a free loopback port and is
stopped at the end; the questions go over real HTTP through the Python client.
"""

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

import msgspec
import pictures

from loopmargin import Client
from loopmargin.table import margins_table
from loopmargin_wire.answer import Answer, Question
from loopmargin_wire.pump_head import PumpHeadQuestion
from loopmargin_wire.radiator_area import RadiatorAreaQuestion
from loopmargin_wire.steady_state import SteadyStateAnswer, SteadyStateQuestion
from loopmargin_wire.supply_headroom import SupplyHeadroomQuestion

HERE = Path(__file__).parent
EXAMPLES = HERE.parent / "openapi" / "examples"
OUTPUT = HERE / "output"
STOP_LIMIT_S = 40.0

Q = TypeVar("Q", bound=Question)


@contextmanager
def service() -> Iterator[str]:
    """Run the service on a free port, with the answer store in its own memory."""
    environment = {k: v for k, v in os.environ.items() if not k.startswith("LOOPMARGIN_")}
    environment["LOOPMARGIN_LOG_LEVEL"] = "error"
    command = [sys.executable, "-m", "loopmargin_service.http", "--port", "0"]
    # The command is this interpreter and our own module; nothing comes from outside.
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment) as process:  # noqa: S603
        try:
            address = process.stdout.readline().strip() if process.stdout else ""
            if not address.startswith("http://"):
                raise SystemExit("the service did not start; its message stands above")
            yield address
        finally:
            process.terminate()
            process.wait(timeout=STOP_LIMIT_S)


def question(name: str, kind: type[Q]) -> Q:
    """Read one of the example questions."""
    return msgspec.json.decode((EXAMPLES / f"{name}.question.json").read_bytes(), type=kind)


def say(text: str = "") -> None:
    """Print a line."""
    sys.stdout.write(text + "\n")


def section(title: str, answer: Answer) -> None:
    """Print the margins of one answer under a title, with what it advises."""
    say(f"\n{title}\n")
    say(margins_table(answer))
    for sentence in (answer.outcome.reason, *answer.outcome.advice):
        if sentence:
            say(f"  {sentence}")


def at_equilibrium(answer: SteadyStateAnswer) -> None:
    """Print temperatures, flow and power of the settled machine."""
    state = answer.state
    if state is None:
        return
    room = answer.question.room.air_c
    say("\nTHE MACHINE AT EQUILIBRIUM\n")
    say(f"  room air              {room:6.1f} degC")
    say(f"  coolant, hottest      {state.coolant_hottest_c:6.1f} degC")
    say(f"  coolant, mean         {state.coolant_mean_c:6.1f} degC")
    say(f"  coolant flow          {state.flow_l_per_min:6.2f} L/min")
    say(f"  air in the case       {state.case.air_c:6.1f} degC")
    say(f"  power from the mains  {state.wall_power_w or state.dc_power_w:6.0f} W")
    listener, noise = answer.question.listener, state.noise
    if listener is not None and noise is not None:
        say(
            f"  level at {listener.distance_m:g} m         {noise.level_dba:7.1f} dBA, "
            f"loudest {noise.dominating_source}, allowed {listener.allowed_dba:g} dBA"
        )
    say("\n  part           block coolant in   heat    K/W     part     limit")
    for part in state.components:
        say(
            f"  {part.component:14s} {part.coolant_in_c:11.1f} degC {part.heat_to_coolant_w:5.0f} W"
            f"  {part.resistance_k_per_w:5.3f} {part.component_c:7.1f}"
            f"  {part.limit_c:5.0f} degC"
        )
    say("\n  radiator       air through        air in    air out    heat")
    for radiator in state.radiators:
        say(
            f"  {radiator.radiator:14s} {radiator.air_flow_m3_per_h:6.0f} m3/h"
            f" {radiator.air_in_c:10.1f} {radiator.air_out_c:10.1f} degC {radiator.heat_w:6.0f} W"
        )
    balance = state.heat
    say(
        f"\n  heat balance: parts {balance.parts_to_coolant_w:.1f} W + pump "
        f"{balance.pumps_to_coolant_w:.1f} W - radiators {balance.radiators_to_air_w:.1f} W"
        f" = {balance.residual_w:+.6f} W"
    )


def notes(answers: list[Answer]) -> None:
    """Print what was assumed, and what stands near or outside the range of its law."""
    say("\nNOTES\n")
    for text in dict.fromkeys(note.text for answer in answers for note in answer.notes):
        say(f"  - {text}")


def cautions(answers: list[Answer]) -> None:
    """Print every caution once."""
    say("\nCAUTIONS\n")
    for caution in dict.fromkeys(text for answer in answers for text in answer.cautions):
        say(f"  - {caution}")


def main() -> None:
    """Ask, print and draw."""
    began = time.monotonic()
    say("Demo machine: a near-silent dome renderer in a warm projection booth.")
    say("Fictional workshop, invented parts, invented numbers.")
    with service() as address, Client(address) as client:
        say(f"service on {address}, answer store in memory")
        radiator = client.radiator_area(question("radiator-area", RadiatorAreaQuestion))
        pump = client.pump_head(question("pump-head", PumpHeadQuestion))
        supply = client.supply_headroom(question("supply-headroom", SupplyHeadroomQuestion))
        machine_question = question("steady-state", SteadyStateQuestion)
        machine = client.steady_state(machine_question)
        section("RADIATOR AREA", radiator)
        section("PUMP HEAD", pump)
        section("SUPPLY HEADROOM", supply)
        section("WHOLE MACHINE", machine)
        at_equilibrium(machine)
        notes([radiator, pump, supply, machine])
        cautions([radiator, pump, supply, machine])
        OUTPUT.mkdir(exist_ok=True)
        picture = OUTPUT / "sizing.svg"
        rise = pictures.rise_over_speed(client, machine_question)
        chances = pictures.chance_over_speed_and_room(client, machine_question)
        pictures.draw(picture, pump, rise, chances)
    say(f"\npicture: {picture.relative_to(HERE.parent)}")
    say(f"edition {machine.edition}, done in {time.monotonic() - began:.1f} s")


if __name__ == "__main__":
    main()
