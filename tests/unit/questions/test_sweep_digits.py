"""A case of a sweep has the digits that the machine has when it is asked alone."""

import pytest

from tests.unit.questions.test_sweep import alone, column, field, grid, machine

ROOMS, REST = [18.0, 25.0, 30.0], [0.0, 60.0]


@pytest.mark.parametrize("orders", [(1, 1), (-1, -1)])
def test_a_case_is_the_machine_alone(orders: tuple[int, int]) -> None:
    """Hottest coolant and flow are equal to the last bit, whatever the order of the grid."""
    rooms, rest = ROOMS[:: orders[0]], REST[:: orders[1]]

    found = grid(field("/room/air_c", *rooms), field("/rest_w", *rest))

    hottest, flow = column(found, "coolant_hottest"), column(found, "flow")
    for row, room in enumerate(rooms):
        for place, watts in enumerate(rest):
            changed = machine()
            changed["room"]["air_c"], changed["rest_w"] = room, watts
            assert alone(changed)[:2] == (hottest[row, place], flow[row, place])
