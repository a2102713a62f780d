"""Whole machines on the bench: branches with blocks and fanned radiators, a case. Invented data."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from hypothesis import strategies as st

from loopmargin_service.physics import machine as machines
from loopmargin_service.physics.air_path import CASE, ROOM, AirPath
from loopmargin_service.physics.coolant import Fluid
from loopmargin_service.physics.curve import Curve
from loopmargin_service.physics.heat_balance import HeatElement, HeatLayout
from loopmargin_service.physics.machine import Equilibrium, Machine, Setting
from loopmargin_service.physics.network import Array
from loopmargin_service.physics.radiator import Section
from loopmargin_service.physics.sites import Place
from tests.unit.physics import bench_loop
from tests.unit.physics.bench_air import CORE, case_fan, fan, opening, rated
from tests.unit.physics.bench_loop import Part, Pump, Tube

ROOM_TEMPERATURE = 298.15
WAYS = {"outside": (ROOM, ROOM), "intake": (ROOM, CASE), "exhaust": (CASE, ROOM)}


class Block(NamedTuple):
    """A block: its heat [W] and what it loses."""

    heat: float = 200.0
    part: Part = Part(5e6, 8e11)


class Radiator(NamedTuple):
    """A radiator with its fans, and which way its air goes."""

    section: Section = rated()
    way: str = "outside"
    curve: Curve = fan()
    fans: int = 1
    loss: float = 0.0
    part: Part = Part(2e6, 2e11)


Element = Tube | Part | Block | Radiator


class Branch(NamedTuple):
    """What stands in a row between two nodes."""

    tail: int
    head: int
    elements: Sequence[Element]


class Plan(NamedTuple):
    """A machine to build: branches, pumps, further air paths, coolant."""

    branches: Sequence[Branch]
    pumps: Sequence[Pump] = (Pump(bench_loop.parabola()),)
    paths: Sequence[AirPath] = ()
    fluid: Fluid = "water"
    mass_fraction: float = 0.0


def one_loop(*elements: Element, **changes: object) -> Plan:
    """Give a plan of one pump and one branch."""
    return Plan([Branch(1, 0, elements)])._replace(**changes)  # type: ignore[arg-type]


def _gather(plan: Plan, kind: type[Element]) -> list[Element]:
    flat = (element for branch in plan.branches for element in branch.elements)
    return [element for element in flat if isinstance(element, kind)]


def _hydraulic(element: Element) -> Tube | Part:
    return element.part if isinstance(element, Block | Radiator) else element


def build(plan: Plan) -> Machine:
    """Build the machine of a plan; air paths of radiators come before the others."""
    plumbing = [
        bench_loop.Branch(branch.tail, branch.head, [_hydraulic(item) for item in branch.elements])
        for branch in plan.branches
    ]
    loop = bench_loop.loop(plumbing, plan.pumps)
    elements, places = _walk(plan)
    radiators = [item for item in _gather(plan, Radiator) if isinstance(item, Radiator)]
    heat = HeatLayout(
        loop.node_count,
        loop.branch_tail,
        loop.branch_head,
        loop.pump_tail,
        loop.pump_head,
        elements,
        tuple(range(len(radiators))),
    )
    return Machine(
        fluid=plan.fluid,
        mass_fraction=plan.mass_fraction,
        loop=loop,
        heat=heat,
        passage_place=_place(places, (Tube,)),
        component_place=_place(places, (Part, Block, Radiator)),
        radiator_place=_place(places, (Radiator,)),
        radiator_branch=np.array(
            [at.branch for at in places if isinstance(at.element, Radiator)], dtype=np.intp
        ),
        sections=tuple(radiator.section for radiator in radiators),
        paths=(*(_path(radiator) for radiator in radiators), *plan.paths),
    )


class _At(NamedTuple):
    """An element, its branch, and its place before and after along the stacked profiles."""

    element: Element
    branch: int
    before: int
    after: int


def _walk(plan: Plan) -> tuple[tuple[tuple[HeatElement, ...], ...], list[_At]]:
    """Give what exchanges heat its number, and everything its place along the profiles."""
    rows, places, place = [], [], 0
    counts = {True: 0, False: 0}
    for number, branch in enumerate(plan.branches):
        row = []
        for element in branch.elements:
            before = place
            if isinstance(element, Block | Radiator):
                is_block = isinstance(element, Block)
                row.append(HeatElement(is_block=is_block, index=counts[is_block]))
                counts[is_block] += 1
                place += 1
            places.append(_At(element, number, before, place))
        rows.append(tuple(row))
        place += 1
    return tuple(rows), places


def _place(places: Sequence[_At], kinds: tuple[type, ...]) -> Place:
    chosen = [at for at in places if isinstance(at.element, kinds)]
    return Place(
        np.array([at.before for at in chosen], dtype=np.intp),
        np.array([at.after for at in chosen], dtype=np.intp),
    )


def _path(radiator: Radiator) -> AirPath:
    return AirPath(
        radiator.section.face_area,
        *WAYS[radiator.way],
        radiator.loss,
        radiator.section,
        radiator.curve,
        radiator.fans,
    )


def setting(plan: Plan, batch: int = 1, **changes: Array | float) -> Setting:
    """Give the setting of a plan at full speed in a room of 25 degC at sea level.

    A change is broadcast over all rows and cases of its field.
    """
    blocks = [item.heat for item in _gather(plan, Block) if isinstance(item, Block)]
    paths = len(_gather(plan, Radiator)) + len(plan.paths)
    base = Setting(
        block_heat=np.repeat(np.array(blocks).reshape(-1, 1), batch, axis=1),
        pump_heat=np.full((len(plan.pumps), batch), 6.0),
        pump_ratio=np.ones((len(plan.pumps), batch)),
        fan_ratio=np.ones((paths, batch)),
        room_temperature=np.full(batch, ROOM_TEMPERATURE),
        room_pressure=np.full(batch, 101325.0),
        case_heat=np.full(batch, 60.0),
    )
    wide = {
        name: np.broadcast_to(value, getattr(base, name).shape).astype(np.float64)
        for name, value in changes.items()
    }
    return base._replace(**wide)


def settled(plan: Plan, batch: int = 1, **changes: Array | float) -> Equilibrium:
    """Solve a machine, and insist that it has settled."""
    state = machines.solve(build(plan), setting(plan, batch, **changes))
    assert state.converged.all()
    return state


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    """Draw a machine with two parallel branches, two or three radiators and an aired case."""
    way = st.sampled_from(["outside", "intake", "exhaust"])
    section = st.sampled_from([rated(30.0), rated(18.0), CORE])
    radiator = st.builds(
        lambda kind, way, fans: Radiator(kind, way, fan(), fans), section, way, st.integers(1, 3)
    )
    block = st.floats(0.0, 400.0).map(Block)
    tube = st.floats(0.1, 2.0).map(Tube)
    branches = [
        Branch(1, 2, [draw(tube), draw(block)]),
        Branch(1, 2, [draw(tube), draw(block), draw(radiator)]),
        Branch(2, 0, [draw(radiator), draw(tube), draw(st.one_of(block, radiator))]),
    ]
    fans = [case_fan(CASE, 0)] if draw(st.booleans()) else []
    return Plan(branches, paths=[opening(), case_fan(), *fans])
