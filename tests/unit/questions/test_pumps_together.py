"""`pump-head` with several pumps: in parallel, in series, and with one that is shut."""

import pytest

from tests.unit.questions.asked import changed
from tests.unit.questions.test_operating_point import bare
from tests.unit.questions.test_pump_head import COUPLING, PUMP, TUBE, ask


def test_parallel_pumps_share_and_series_pumps_stack() -> None:
    """Side by side each carries half at one head; behind each other the heads add up."""
    beside = bare({"pumps/1": PUMP})
    stacked = bare({"pumps": [{**PUMP, "to_node": "middle"}, {**PUMP, "from_node": "middle"}]})

    half = [0.5 * beside.flow_l_per_min] * 2
    assert [pump.flow_l_per_min for pump in beside.pumps] == pytest.approx(half, rel=1e-8)
    heads = [pump.head_m for pump in stacked.pumps]
    assert (sum(heads), heads[0]) == pytest.approx((stacked.head_m, heads[1]), rel=1e-7)


def test_weak_pump_beside_a_strong_one_is_shut() -> None:
    """Its check valve holds: nothing runs back, the strong pump runs as if alone, a note tells."""
    actual = ask({"pumps/1": {**PUMP, "name": "weak", "speed_rpm": 1500}})
    state = actual.state

    assert state is not None
    strong, weak = state.pumps
    assert (weak.flow_l_per_min, weak.hydraulic_power_w) == (0.0, 0.0)
    assert strong.flow_l_per_min == pytest.approx(bare().flow_l_per_min, rel=1e-5)
    (note,) = [note for note in actual.notes if note.code == "pump_shut"]
    assert (note.pointer, "weak" in note.text) == ("/pumps/1", True)


@pytest.mark.parametrize(
    ("others", "bore_mm", "length_mm", "kv"),
    [
        ([(5.23, 5.7, 2500)], 16, 2000, 0.3),
        ([(3.16, 8.3, 2500)], 13, 2000, 0.9),
        ([(5.26, 4.4, 2500)], 10, 2000, 0.3),
        ([(0.51, 17.5, 2000), (7.5, 19.8, 1500)], 10, 500, 0.9),
        ([(6.16, 13.2, 2500), (7.41, 10.7, 2500)], 6, 500, 0.9),
        ([(1.73, 12.8, 2000), (1.9, 12.1, 3000)], 8, 2000, 20),
    ],
)
def test_pumps_side_by_side_settle(
    others: list[tuple[float, float, float]], bore_mm: float, length_mm: float, kv: float
) -> None:
    """Ordinary pumps in parallel have one operating point, with or without one that is shut."""
    pumps = [
        {
            **changed(PUMP, {"curve/0/head_m": head, "curve/1/flow_l_per_min": flow}),
            "speed_rpm": speed,
        }
        for head, flow, speed in others
    ]
    elements = [{**TUBE, "bore_mm": bore_mm, "length_mm": length_mm}]
    actual = ask(
        {
            "pumps": [PUMP, *pumps],
            "branches/0/elements": [*elements, {**COUPLING, "kv_m3_per_h": kv}],
        }
    )

    assert actual.outcome.status == "solved"
    assert actual.state is not None
    total = sum(pump.flow_l_per_min for pump in actual.state.pumps)
    assert total == pytest.approx(actual.state.branches[0].flow_l_per_min, rel=1e-6)
