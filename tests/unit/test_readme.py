"""The README shows what the code answers."""

import json
import re
from pathlib import Path

import msgspec

from loopmargin.table import margins_table
from loopmargin_service.questions import pump_head, radiator_area
from loopmargin_wire.pump_head import PumpHeadQuestion
from loopmargin_wire.radiator_area import RadiatorAreaQuestion

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text()


def example(name: str) -> bytes:
    """Read one example question."""
    return (ROOT / "openapi" / "examples" / f"{name}.question.json").read_bytes()


def block(language: str) -> str:
    """Give the first fenced block of a language."""
    found = re.search(rf"```{language}\n(.*?)```", README, re.DOTALL)
    assert found is not None
    return found.group(1)


def test_the_answer_shown_is_the_answer_given() -> None:
    """The excerpt after the curl command is how the real answer begins, to eight digits."""
    question = msgspec.json.decode(example("radiator-area"), type=RadiatorAreaQuestion)
    margin = msgspec.to_builtins(radiator_area.answer(question).margins[0])
    shown = json.loads(block("json").split("[\n", 1)[1].rsplit(", ...", 1)[0])

    assert shown.keys() == margin.keys()
    for name, value in shown.items():
        printed = margin[name]
        same = f"{printed:.8g}" == f"{value:.8g}" if isinstance(value, float) else printed == value
        assert same, name


def test_the_table_shown_is_the_table_printed() -> None:
    """The table in the README is what the client prints for the example."""
    question = msgspec.json.decode(example("pump-head"), type=PumpHeadQuestion)

    assert block("text").rstrip("\n") == margins_table(pump_head.answer(question))


def test_output_stands_by_line_30() -> None:
    """A newcomer sees real output without scrolling."""
    lines = README.splitlines()[:30]

    assert any('"margins"' in line for line in lines)
