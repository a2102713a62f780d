"""Branches and pumps of the wire as one loop, and what steady flow cannot pass."""

from collections.abc import Mapping, Sequence
from typing import Any

import msgspec
import numpy as np
import pytest

from loopmargin_service.questions import pipework
from loopmargin_service.questions.refusals import Fault, Refusal
from loopmargin_wire.part import Pump
from loopmargin_wire.pump_head import Branch
from tests.unit.questions.asked import pointer

TUBE = {"kind": "tube", "bore_mm": 10, "length_mm": 500}
PUMP = {
    "name": "pump",
    "curve": [{"flow_l_per_min": 0, "head_m": 4}, {"flow_l_per_min": 10, "head_m": 0}],
    "curve_speed_rpm": 3000,
    "speed_rpm": 3000,
}
ROUND = ("delivery", "suction")
THROUGH = ("suction", "delivery")


def build(
    branches: Sequence[tuple[str, str]],
    pumps: Sequence[tuple[str, str]] = (THROUGH,),
    elements: Sequence[Mapping[str, Any]] = (TUBE,),
    reservoir: str = "suction",
) -> pipework.Pipework:
    """Join branches of the same elements, and equal pumps, between junctions."""
    rows = [
        {"name": f"branch {n}", "from_node": a, "to_node": b, "elements": elements}
        for n, (a, b) in enumerate(branches)
    ]
    motors = [
        {**PUMP, "name": f"pump {n}", "from_node": a, "to_node": b}
        for n, (a, b) in enumerate(pumps)
    ]
    return pipework.build(
        msgspec.convert(rows, tuple[Branch, ...]),
        msgspec.convert(motors, tuple[Pump, ...]),
        reservoir,
    )


def refused(
    branches: Sequence[tuple[str, str]],
    pumps: Sequence[tuple[str, str]] = (THROUGH,),
    reservoir: str = "suction",
) -> tuple[Fault, ...]:
    """Give the faults of a loop that is refused."""
    with pytest.raises(Refusal) as caught:
        build(branches, pumps, reservoir=reservoir)
    return caught.value.faults


def test_junctions_are_named_once_and_links_join_them() -> None:
    """Two branches in series, two parallel to one of them: three junctions, four branches."""
    built = build([("delivery", "middle"), *[("middle", "suction")] * 3])
    loop = built.loop

    assert built.nodes == ("suction", "delivery", "middle")
    assert (loop.branch_tail, loop.branch_head) == ((1, 2, 2, 2), (2, 0, 0, 0))
    assert (loop.pump_tail, loop.pump_head, loop.reference) == ((0,), (1,), 0)


def test_rows_and_the_way_back_to_the_elements() -> None:
    """Tubes and fittings are passages, the others components, in the order of the question."""
    elements = [
        {**TUBE, "name": "hose"},
        {"kind": "quick_disconnect", "name": "pair", "kv_m3_per_h": 1, "count": 2},
        {"kind": "bend", "name": "bends", "bore_mm": 8, "count": 3},
    ]
    built = build([ROUND], elements=elements)

    pieces = [(p.name, p.passage, p.component, p.straight) for p in built.pieces]
    expected = [("hose", 0, None, True), ("pair", None, 0, False), ("bends", 1, None, False)]
    assert expected == pieces
    assert not any(piece.exchanges_heat for piece in built.pieces)
    assert built.loop.passages.bore == pytest.approx([0.010, 0.008])


def test_tube_as_a_passage() -> None:
    """500 mm of 10 mm bore are 50 diameters, and 1.5 um of roughness are 1.5e-4 of them."""
    passages = build([ROUND]).loop.passages

    assert passages.friction_length == pytest.approx([50.0])
    assert passages.relative_roughness == pytest.approx([1.5e-4])
    assert (passages.viscous[0], passages.inertial[0]) == (0.0, 0.0)


@pytest.mark.parametrize(
    "element",
    [
        {"kind": "bend", "bore_mm": 10},
        {"kind": "adapter", "bore_mm": 8, "tube_bore_mm": 10},
        {"kind": "tee", "bore_mm": 10, "path": "branch"},
    ],
)
def test_fittings_in_series_add_up(element: dict[str, Any]) -> None:
    """Five of a kind cost five times as much as one."""
    one = build([ROUND], elements=[element]).loop.passages
    five = build([ROUND], elements=[{**element, "count": 5}]).loop.passages

    losses = np.stack([one.friction_length, one.viscous, one.inertial])
    assert np.allclose(
        5.0 * losses, [five.friction_length, five.viscous, five.inertial], rtol=1e-12
    )
    assert losses.sum() > 0.0


def test_couplings_in_series_add_up() -> None:
    """Two pairs of Kv 1 cost 2 bar at 1 m3/h."""
    element = {"kind": "quick_disconnect", "kv_m3_per_h": 1, "count": 2}
    components = build([ROUND], elements=[element]).loop.components

    assert components.quadratic[0] * (1.0 / 3600.0) ** 2 == pytest.approx(2e5)


def test_adapter_without_a_tube_bore_has_no_steps() -> None:
    """An adapter as wide as its tube costs its corner alone, and a straight one nothing."""
    adapter = {"kind": "adapter", "bore_mm": 10, "angle_deg": 0}
    assert build([ROUND], elements=[adapter]).loop.passages.inertial[0] == pytest.approx(0.0)


@pytest.mark.parametrize(("bore_mm", "tube_bore_mm"), [(50, 2), (2, 50)])
def test_adapter_on_a_tube_of_another_size(bore_mm: float, tube_bore_mm: float) -> None:
    """Both ends of what the wire allows cost more than the corner alone."""
    adapter = {"kind": "adapter", "bore_mm": bore_mm}
    stepped = build([ROUND], elements=[{**adapter, "tube_bore_mm": tube_bore_mm}])
    plain = build([ROUND], elements=[adapter])

    losses = stepped.loop.passages.inertial
    assert np.isfinite(losses).all()
    assert losses[0] > plain.loop.passages.inertial[0]


def test_reservoir_at_a_junction_that_is_not_there() -> None:
    """The refusal names the junction and lists those that the loop has."""
    (fault,) = refused([ROUND], reservoir="attic")

    assert pointer(fault) == "reservoir/node"
    assert all(words in fault.detail for words in ("'attic'", "delivery, suction"))


def test_branch_without_a_way_back() -> None:
    """A branch to a dead end is refused at the end that leads nowhere."""
    (fault,) = refused([ROUND, ("delivery", "nowhere")])

    assert pointer(fault) == "branches/1/to_node"
    words = ("'branch 1'", "'delivery'", "'nowhere'", "join its ends")
    assert [part for part in words if part not in fault.detail] == []


def test_pump_without_a_way_back() -> None:
    """A pump that nothing returns to is refused as a branch is."""
    (fault,) = refused([ROUND], [THROUGH, ("suction", "attic")])

    assert pointer(fault) == "pumps/1/to_node"
    assert all(words in fault.detail for words in ("'pump 1'", "'attic'", "join its ends"))


def test_a_loop_that_is_nowhere_closed_names_every_link() -> None:
    """A pump and a branch in a line are both refused, at once."""
    faults = refused([("delivery", "away")])
    assert [pointer(fault) for fault in faults] == ["branches/0/to_node", "pumps/0/to_node"]


@pytest.mark.parametrize(
    ("branches", "pumps", "where"),
    [
        ([ROUND, ("suction", "suction")], [THROUGH], "branches/1/to_node"),
        ([ROUND], [THROUGH, ("delivery", "delivery")], "pumps/1/to_node"),
    ],
)
def test_link_that_begins_and_ends_at_one_junction(
    branches: list[tuple[str, str]], pumps: list[tuple[str, str]], where: str
) -> None:
    """The refusal names the link, the junction and what to do about it."""
    (fault,) = refused(branches, pumps)

    assert where == pointer(fault)
    node = (*branches, *pumps)[1 if where.startswith("branches") else -1][0]
    wrong, _, remedy = fault.detail.partition("; ")
    assert all(words in wrong for words in ("one junction", node))
    assert remedy


def test_branches_beside_the_loop() -> None:
    """A ring of branches that no pump drives is refused, branch by branch."""
    faults = refused([ROUND, ("attic", "cellar"), ("cellar", "attic")])

    assert [pointer(f) for f in faults] == ["branches/1/from_node", "branches/2/from_node"]
    assert all("not joined to the loop of the pump" in fault.detail for fault in faults)


def test_pump_beside_the_loop() -> None:
    """A second loop with a pump of its own is refused."""
    faults = refused([ROUND, ("attic", "cellar")], [THROUGH, ("cellar", "attic")])
    assert {"pumps"} == {str(fault.path[0]) for fault in faults}


def test_reservoir_away_from_the_pump() -> None:
    """A reservoir on a ring that the pump does not drive leaves the pump without a pressure."""
    faults = refused([ROUND, ("attic", "cellar"), ("cellar", "attic")], reservoir="attic")
    assert "joined" in faults[0].detail
