"""A whole machine of the question as the physics machine and its setting."""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np

from loopmargin_service.physics.air_path import CASE, ROOM, AirPath
from loopmargin_service.physics.heat_balance import HeatElement, HeatLayout
from loopmargin_service.physics.machine import Equilibrium, Machine, Setting
from loopmargin_service.physics.radiator import AirStream
from loopmargin_service.physics.sites import Place
from loopmargin_service.questions import block, curves, parts
from loopmargin_service.questions.conversion import CM2, kelvin
from loopmargin_service.questions.operating_point import POWER_EXPONENT, pump_power
from loopmargin_service.questions.pipework import Piece, Pipework
from loopmargin_service.questions.refusals import Fault, Refusal
from loopmargin_wire.part import Fans
from loopmargin_wire.steady_state import (
    CaseFans,
    FannedRadiator,
    HeatedBlock,
    SteadyStateQuestion,
)

# An opening without any grille still loses the velocity head of the air that leaves it.
LEAST_OPENING_LOSS = 1.0
ENDS = {"intake": (ROOM, CASE), "exhaust": (CASE, ROOM), "outside": (ROOM, ROOM)}


class BlockAt(NamedTuple):
    """A block, the branch it is in, its place along the stacked profiles and its field's path."""

    wire: HeatedBlock
    branch: int
    place: int
    path: parts.Path
    law: block.Law

    def holding(self, wire: HeatedBlock) -> "BlockAt":
        """Give the same place with the block at another power."""
        return self._replace(wire=wire)


class RadiatorAt(NamedTuple):
    """A radiator, the branch it is in, its place along the profiles and its field's path."""

    wire: FannedRadiator
    branch: int
    place: int
    path: parts.Path

    def holding(self, wire: FannedRadiator) -> "RadiatorAt":
        """Give the same place with the fans at another speed."""
        return self._replace(wire=wire)


class Built(NamedTuple):
    """The physics machine with the way back to the parts of the question.

    `before` and `after` give, for each element in order, its place along the profiles.
    """

    machine: Machine
    blocks: tuple[BlockAt, ...]
    radiators: tuple[RadiatorAt, ...]
    fans: tuple[Fans | None, ...]
    before: tuple[int, ...]
    after: tuple[int, ...]


class _Walk(NamedTuple):
    """What is met on the way along the branches."""

    blocks: list[BlockAt]
    radiators: list[RadiatorAt]
    elements: list[tuple[HeatElement, ...]]
    before: list[int]
    after: list[int]


def build(question: SteadyStateQuestion, plumbing: Pipework) -> Built:
    """Lay out heat, air and liquid of a machine."""
    walk = _walk(question)
    if not walk.radiators:
        raise Refusal(
            Fault(("branches",), "the loop has no radiator; add one so that heat can leave it")
        )
    faults = [fault for item in walk.blocks for fault in _excursion_faults(item)]
    if faults:
        raise Refusal(*faults)
    paths, fans = _air_paths(question, walk.radiators)
    loop = plumbing.loop
    heat = HeatLayout(
        node_count=loop.node_count,
        branch_tail=loop.branch_tail,
        branch_head=loop.branch_head,
        pump_tail=loop.pump_tail,
        pump_head=loop.pump_head,
        elements=tuple(walk.elements),
        radiator_path=tuple(range(len(walk.radiators))),
    )
    mix = parts.mix(question.coolant)
    sections = tuple(path.section for path in paths if path.section is not None)
    at = np.array([radiator.place for radiator in walk.radiators], dtype=np.intp)
    machine = Machine(
        fluid=mix.fluid,
        mass_fraction=mix.mass_fraction,
        loop=loop,
        heat=heat,
        passage_place=_place(plumbing.pieces, walk, passages=True),
        component_place=_place(plumbing.pieces, walk, passages=False),
        radiator_place=Place(at, at + 1),
        radiator_branch=np.array([item.branch for item in walk.radiators], dtype=np.intp),
        sections=sections,
        paths=paths,
    )
    return Built(
        machine,
        tuple(walk.blocks),
        tuple(walk.radiators),
        fans,
        tuple(walk.before),
        tuple(walk.after),
    )


def turned(built: Built, question: SteadyStateQuestion) -> Built:
    """Give a machine whose settings alone differ from the one that was built.

    Settings are powers, speeds and the room: nothing that coolant or air passes.
    """
    elements = [element for branch in question.branches for element in branch.elements]
    heated = [element for element in elements if isinstance(element, HeatedBlock)]
    cooled = [element for element in elements if isinstance(element, FannedRadiator)]
    blown = (*(item.fans for item in cooled), *(item.fans for item in question.case.fans))
    return built._replace(
        blocks=tuple(map(BlockAt.holding, built.blocks, heated)),
        radiators=tuple(map(RadiatorAt.holding, built.radiators, cooled)),
        fans=(*blown, *(None for _ in question.case.openings)),
    )


def _walk(question: SteadyStateQuestion) -> _Walk:
    """Give blocks and radiators numbers, and every element its place along the profiles."""
    walk = _Walk([], [], [], [], [])
    place = 0
    for number, branch in enumerate(question.branches):
        order = []
        for step, element in enumerate(branch.elements):
            path = ("branches", number, "elements", step)
            walk.before.append(place)
            if isinstance(element, HeatedBlock):
                order.append(HeatElement(is_block=True, index=len(walk.blocks)))
                law = block.law(element.resistance)
                walk.blocks.append(BlockAt(element, number, place, path, law))
                place += 1
            elif isinstance(element, FannedRadiator):
                order.append(HeatElement(is_block=False, index=len(walk.radiators)))
                walk.radiators.append(RadiatorAt(element, number, place, path))
                place += 1
            walk.after.append(place)
        walk.elements.append(tuple(order))
        place += 1
    return walk


def _excursion_faults(item: BlockAt) -> Iterator[Fault]:
    """Find an excursion of something that is no card."""
    if item.wire.excursion is not None and item.wire.load != "card":
        yield Fault(
            (*item.path, "excursion"),
            f"{item.wire.name!r} is no card, and only cards have an excursion; say its peak with "
            "peak_over_sustained, or call its load a card",
        )


def _place(pieces: tuple[Piece, ...], walk: _Walk, *, passages: bool) -> Place:
    """Give the places of all passages, or of all components."""
    chosen = [
        number for number, piece in enumerate(pieces) if (piece.passage is not None) == passages
    ]
    return Place(
        np.array([walk.before[number] for number in chosen], dtype=np.intp),
        np.array([walk.after[number] for number in chosen], dtype=np.intp),
    )


def _air_paths(
    question: SteadyStateQuestion, radiators: list[RadiatorAt]
) -> tuple[tuple[AirPath, ...], tuple[Fans | None, ...]]:
    """List the ways of the air: radiators first, then case fans, then openings."""
    paths: list[AirPath] = []
    fans: list[Fans | None] = []
    for item in radiators:
        section = parts.section(item.wire.radiator, (*item.path, "radiator"))
        tail, head = ENDS[item.wire.air_path]
        loss = parts.loss_coefficient(item.wire.grille)
        curve = curves.fan_curve(item.wire.fans.fan, (*item.path, "fans", "fan"))
        count = item.wire.fans.count
        paths.append(AirPath(section.face_area, tail, head, loss, section, curve, count))
        fans.append(item.wire.fans)
    for number, given in enumerate(question.case.fans):
        paths.append(_case_fan_path(given, ("case", "fans", number, "fans", "fan")))
        fans.append(given.fans)
    for opening in question.case.openings:
        loss = parts.loss_coefficient(opening.grille)
        paths.append(AirPath(opening.area_cm2 * CM2, ROOM, CASE, max(loss, LEAST_OPENING_LOSS)))
        fans.append(None)
    return tuple(paths), tuple(fans)


def _case_fan_path(given: CaseFans, path: parts.Path) -> AirPath:
    """Give the path of fans on the bare case."""
    tail, head = ENDS[given.air_path]
    return AirPath(
        area=given.area_cm2 * CM2,
        tail=tail,
        head=head,
        loss_coefficient=parts.loss_coefficient(given.grille) + LEAST_OPENING_LOSS,
        curve=curves.fan_curve(given.fans.fan, path),
        fan_count=given.fans.count,
    )


def fan_power(fans: Fans) -> float:
    """Give the electrical power of equal fans at their speed. [W]"""
    ratio = fans.speed_rpm / fans.fan.curve_speed_rpm
    return float(fans.count * fans.fan.electrical_power_w * ratio**POWER_EXPONENT)


def fans_power(built: Built, *, in_case: bool) -> float:
    """Give the power of all fans whose air passes the case, or of all others. [W]"""
    return sum(
        fan_power(fans)
        for fans, path in zip(built.fans, built.machine.paths, strict=True)
        if fans is not None and (CASE in (path.tail, path.head)) == in_case
    )


def case_heat(question: SteadyStateQuestion, built: Built) -> float:
    """Give the heat of all but the pumps to the case air: rest, missed by blocks, fans. [W]"""
    missed = sum(item.wire.power_w * (1.0 - item.wire.captured_fraction) for item in built.blocks)
    return float(question.rest_w + missed + fans_power(built, in_case=True))


def setting(
    question: SteadyStateQuestion, built: Built, fan_factors: np.ndarray, pump_factors: np.ndarray
) -> Setting:
    """Set heats, speeds and room; one case for each pair of speed factors."""
    batch = fan_factors.size

    def cases(values: Iterable[float]) -> np.ndarray:
        column = np.array(list(values), dtype=np.float64).reshape(-1, 1)
        return np.repeat(column, batch, axis=1)

    heats = (item.wire.power_w * item.wire.captured_fraction for item in built.blocks)
    taken, motors = zip(*(pump_power(pump, 0.0) for pump in question.pumps), strict=True)
    pumps = (pump.speed_rpm / pump.curve_speed_rpm for pump in question.pumps)
    fans = (1.0 if f is None else f.speed_rpm / f.fan.curve_speed_rpm for f in built.fans)
    return Setting(
        block_heat=cases(heats),
        pump_heat=cases(motors),
        pump_power=cases(taken),
        pump_ratio=cases(pumps) * pump_factors,
        fan_ratio=cases(fans) * fan_factors,
        room_temperature=np.full(batch, kelvin(question.room.air_c)),
        room_pressure=np.full(batch, parts.room_pressure(question.room)),
        case_heat=np.full(batch, case_heat(question, built)),
    )


def air_stream(state: Equilibrium, path: int, number: int) -> AirStream:
    """Give the air of one path in one case, with a batch axis of one."""
    take = slice(number, number + 1)
    return AirStream(
        np.abs(state.air_flows.flow[path, take]),
        state.air_density[path, take],
        state.air_temperature[path, take],
    )
