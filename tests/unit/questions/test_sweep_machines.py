"""The machines of a sweep: set as if built anew, built once, and only so many kept."""

import msgspec
import numpy as np
import pytest

from loopmargin_service.questions import sweep_cases, sweep_machines, sweep_plan
from loopmargin_service.questions.refusals import Refusal
from loopmargin_service.questions.sweep_axes import SETTINGS, applied, changes
from loopmargin_wire.sweep import SweepQuestion
from tests.unit.questions.swept import BORE, FANS, asked, radiators


def pointers() -> list[str]:
    """List every field of the example machine, with a fan on the case, that is a setting."""
    document = with_case_fan()
    found: list[str] = []

    def walk(piece: object, pointer: str) -> None:
        if isinstance(piece, dict):
            for name, member in piece.items():
                walk(member, f"{pointer}/{name}")
        elif isinstance(piece, list):
            for number, member in enumerate(piece):
                walk(member, f"{pointer}/{number}")
        elif SETTINGS.fullmatch(pointer):
            found.append(pointer)

    walk(document, "")
    return found


def with_case_fan() -> dict[str, object]:
    """Write the example machine with fans on its case."""
    document = msgspec.json.decode(msgspec.json.encode(asked(FANS).machine))
    fans = next(e for e in document["branches"][0]["elements"] if e["kind"] == "radiator")["fans"]
    document["case"]["fans"] = [{"air_path": "exhaust", "area_cm2": 100.0, "fans": fans}]
    return document  # type: ignore[no-any-return]


@pytest.mark.parametrize("pointer", pointers())
def test_a_setting_is_what_a_machine_built_with_it_has(pointer: str) -> None:
    """Every field that counts as a setting, to the last digit, and another value than before."""
    value = 912.0 if pointer.endswith("speed_rpm") else 7.0
    axis = {"kind": "field", "pointer": pointer, "values": [value]}
    question = msgspec.convert({"machine": with_case_fan(), "axes": [axis]}, SweepQuestion)
    built = sweep_plan.build(question.machine)
    there = applied(question.machine, changes(question)[0], value)

    anew = sweep_plan.setting_of(there, sweep_plan.build(there))
    quick = sweep_plan.turned(there, built)
    before = sweep_plan.setting_of(question.machine, built)

    for old, new, was in zip(anew, quick, before, strict=True):
        np.testing.assert_array_equal(old, new)
        assert np.shape(new) == np.shape(was)
    assert any(not np.array_equal(new, was) for new, was in zip(quick, before, strict=True))


def test_every_kind_of_setting_is_among_them() -> None:
    """Room, rest, pump, block, fans of a radiator and of the case."""
    kinds = {pointer.split("/")[1] for pointer in pointers()}

    assert kinds == {"room", "rest_w", "pumps", "branches", "case"}
    assert any(pointer.endswith("/power_w") for pointer in pointers())
    assert any(pointer.startswith("/branches") and "/fans/" in pointer for pointer in pointers())


def test_a_room_in_which_the_coolant_freezes_is_refused_as_before() -> None:
    """Nothing is built, and it is still refused."""
    question = asked({"kind": "field", "pointer": "/room/air_c", "values": [-15.0]})
    there = applied(question.machine, changes(question)[0], -15.0)
    built = sweep_plan.build(question.machine)

    with pytest.raises(Refusal, match="freezing"):
        sweep_plan.turned(there, built)


def test_each_machine_is_built_once_whatever_runs_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """Chunk after chunk, in which each of them occurs."""
    builds = counted(monkeypatch)
    question = asked(FANS, {**BORE, "values": [8.0 + 0.01 * number for number in range(200)]})
    for first in range(0, 800, 200):
        sweep_cases.solve(question, first, first + 2)

    assert builds == [8.0, 8.01]


def test_machines_too_large_to_keep_are_built_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """The oldest one makes room; the numbers are the same."""
    kept = sweep_cases.solve(asked(FANS, radiators()), 0, 8)
    monkeypatch.setattr(sweep_machines, "KEPT_BYTES", sweep_machines.MACHINE_BYTES * 3 // 2)
    sweep_machines.machines.cache_clear()
    again = sweep_cases.solve(asked(FANS, radiators()), 0, 8)

    np.testing.assert_array_equal(kept.numbers, again.numbers)


def counted(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """Note the bore of every machine that is built."""
    builds: list[float] = []
    build = sweep_machines.build
    sweep_machines.machines.cache_clear()

    def noted(question: object) -> object:
        builds.append(question.branches[0].elements[0].bore_mm)  # type: ignore[attr-defined]
        return build(question)  # type: ignore[arg-type]

    monkeypatch.setattr(sweep_machines, "build", noted)
    return builds
