"""Wire branches and pumps to a physics loop, and element states back."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

import numpy as np

from loopmargin_service.physics import fitting, network
from loopmargin_service.physics.loop import Components, Loop
from loopmargin_service.physics.passage import Passages
from loopmargin_service.questions import curves, parts
from loopmargin_service.questions.conversion import MM, UM, radians
from loopmargin_service.questions.refusals import Fault, Refusal
from loopmargin_wire import part
from loopmargin_wire.pump_head import Branch, Element
from loopmargin_wire.steady_state import (
    FannedRadiator,
    HeatedBlock,
    MachineBranch,
    MachineElement,
)

AnyBranch: TypeAlias = Branch | MachineBranch
AnyElement: TypeAlias = Element | MachineElement
Passage: TypeAlias = part.Tube | part.Bend | part.Adapter | part.Tee | part.ReservoirPorts


class PassageRow(NamedTuple):
    """One tube or fitting: bore [m], relative roughness [-] and its three loss numbers [-]."""

    bore: float
    relative_roughness: float
    friction_length: float
    viscous: float
    inertial: float


@dataclass(frozen=True)
class Piece:
    """One element of a branch and where its row stands among passages or components."""

    branch: int
    name: str
    passage: int | None
    component: int | None
    straight: bool
    exchanges_heat: bool


@dataclass(frozen=True)
class Pipework:
    """A loop and the way back from its rows to the elements of the question."""

    loop: Loop
    nodes: tuple[str, ...]
    pieces: tuple[Piece, ...]


def build(
    branches: Sequence[AnyBranch], pumps: Sequence[part.Pump], reference_node: str
) -> Pipework:
    """Reduce branches and pumps to a loop, refusing one that steady flow cannot pass."""
    nodes = _nodes(branches, pumps)
    if reference_node not in nodes:
        raise Refusal(
            Fault(
                ("reservoir", "node"),
                f"no branch or pump touches the junction {reference_node!r}; "
                f"the loop has {', '.join(sorted(nodes))}",
            )
        )
    number = {name: index for index, name in enumerate(nodes)}
    passages: list[tuple[int, PassageRow]] = []
    components: list[tuple[int, parts.MeasuredDrop]] = []
    pieces = []
    for row, branch in enumerate(branches):
        for place, element in enumerate(branch.elements):
            path = ("branches", row, "elements", place)
            pieces.append(_piece(row, element, path, (passages, components)))
    loop = Loop(
        node_count=len(nodes),
        branch_tail=tuple(number[branch.from_node] for branch in branches),
        branch_head=tuple(number[branch.to_node] for branch in branches),
        pump_tail=tuple(number[pump.from_node] for pump in pumps),
        pump_head=tuple(number[pump.to_node] for pump in pumps),
        reference=number[reference_node],
        passages=_passages(passages),
        components=_components(components),
        curves=tuple(curves.pump_curve(pump, ("pumps", index)) for index, pump in enumerate(pumps)),
    )
    _passable(loop, branches, pumps)
    return Pipework(loop, nodes, tuple(pieces))


def _nodes(branches: Sequence[AnyBranch], pumps: Sequence[part.Pump]) -> tuple[str, ...]:
    """Name every junction once, in the order met."""
    met = [name for item in (*pumps, *branches) for name in (item.from_node, item.to_node)]
    return tuple(dict.fromkeys(met))


def _piece(
    branch: int,
    element: AnyElement,
    path: parts.Path,
    rows: tuple[list[tuple[int, PassageRow]], list[tuple[int, parts.MeasuredDrop]]],
) -> Piece:
    """Add the row of one element and remember where it went."""
    passages, components = rows
    exchanges = isinstance(element, HeatedBlock | FannedRadiator)
    if isinstance(element, Passage):
        passages.append((branch, _passage(element)))
        straight = isinstance(element, part.Tube)
        return Piece(branch, element.name, len(passages) - 1, None, straight, exchanges)
    components.append((branch, _component(element, path)))
    return Piece(
        branch, element.name, None, len(components) - 1, straight=False, exchanges_heat=exchanges
    )


def _component(element: AnyElement, path: parts.Path) -> parts.MeasuredDrop:
    """Give the two terms of a block, a radiator or of couplings in series."""
    if isinstance(element, part.QuickDisconnect):
        one = parts.measured_drop(part.DropKv(kv_m3_per_h=element.kv_m3_per_h), path)
        return one._replace(quadratic=one.quadratic * element.count)
    assert not isinstance(element, Passage)  # noqa: S101 - told apart above
    return parts.measured_drop(element.pressure_drop, (*path, "pressure_drop"))


def _passage(element: Passage) -> PassageRow:
    """Give the bore and the loss numbers of one tube or of fittings in series."""
    bore = element.bore_mm * MM
    if isinstance(element, part.Tube):
        length = element.length_mm / element.bore_mm
        return PassageRow(bore, element.roughness_um * UM / bore, length, 0.0, 0.0)
    if isinstance(element, part.ReservoirPorts):
        ports = float(fitting.exit().inertial) + float(fitting.entrance().inertial)
        return PassageRow(bore, 0.0, 0.0, 0.0, ports)
    roughness = 0.0
    if isinstance(element, part.Bend):
        loss = fitting.bend(radians(element.angle_deg), element.radius_over_bore)
        roughness = element.roughness_um * UM / bore
    elif isinstance(element, part.Adapter):
        tube = bore if element.tube_bore_mm is None else element.tube_bore_mm * MM
        loss = fitting.adapter(radians(element.angle_deg), bore, tube)
    else:
        loss = fitting.tee(element.path, bore)
    count = element.count
    return PassageRow(
        bore,
        roughness,
        float(loss.friction_length) * count,
        float(loss.viscous) * count,
        float(loss.inertial) * count,
    )


def _passages(rows: list[tuple[int, PassageRow]]) -> Passages:
    """Stack the rows of tubes and fittings."""
    table = np.array([row for _, row in rows], dtype=np.float64).reshape(
        -1, len(PassageRow._fields)
    )
    return Passages(np.array([branch for branch, _ in rows], dtype=np.intp), *table.T)


def _components(rows: list[tuple[int, parts.MeasuredDrop]]) -> Components:
    """Stack the rows of blocks, radiators and couplings."""
    table = np.array([row for _, row in rows], dtype=np.float64)
    return Components(
        np.array([branch for branch, _ in rows], dtype=np.intp),
        *table.reshape(-1, len(parts.MeasuredDrop._fields)).T,
    )


def _passable(loop: Loop, branches: Sequence[AnyBranch], pumps: Sequence[part.Pump]) -> None:
    """Refuse branches and pumps that no steady flow can pass."""
    faults = []
    for link in network.links_without_return(loop.topology):
        kind, index = (
            ("branches", link) if link < len(branches) else ("pumps", link - len(branches))
        )
        item = (*branches, *pumps)[link]
        faults.append(
            Fault(
                (kind, index, "to_node"),
                f"{item.name!r} runs from {item.from_node!r} to {item.to_node!r} and there is no "
                "other way back between them; join its ends to the rest of the loop",
            )
        )
    for index, item in enumerate((*branches, *pumps)):
        if item.from_node == item.to_node:
            place = index if index < len(branches) else index - len(branches)
            kind = "branches" if index < len(branches) else "pumps"
            faults.append(Fault((kind, place, "to_node"), _round_trip(item)))
    if not faults:
        faults = _driven(loop, branches)
    if faults:
        raise Refusal(*faults)


def _round_trip(item: AnyBranch | part.Pump) -> str:
    """Say what is wrong with a link that leads nowhere."""
    return (
        f"{item.name!r} begins and ends at one junction, {item.from_node!r}; let it end at "
        "another one, or leave it out"
    )


def _driven(loop: Loop, branches: Sequence[AnyBranch]) -> list[Fault]:
    """Find branches that are not joined to the junctions of any pump."""
    reached = {loop.reference}
    links = list(zip(loop.topology.tail, loop.topology.head, strict=True))
    for _ in links:
        reached |= {end for link in links if reached & set(link) for end in link}
    pumped = {*loop.pump_tail, *loop.pump_head}
    if not pumped <= reached:
        return [Fault(("pumps",), "a pump is not joined to the rest of the loop; check its nodes")]
    return [
        Fault(
            ("branches", row, "from_node"),
            f"branch {branch.name!r} is not joined to the loop of the pump; check its junctions",
        )
        for row, branch in enumerate(branches)
        if loop.branch_tail[row] not in reached
    ]
