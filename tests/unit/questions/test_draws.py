"""Draws: the same on every replica, refined by more, shared by name, disturbed by nothing else."""

import msgspec
import numpy as np
import pytest
from scipy import stats

from loopmargin_service.questions.draws import Cause, Draws, draw, seed_of
from loopmargin_wire.part import Water
from loopmargin_wire.radiator_area import RadiatorAreaQuestion
from loopmargin_wire.uncertainty import Drawing
from tests.unit.questions.asked import example

replace = msgspec.structs.replace
CAUSES = (
    Cause("heat", 0.05, "here"),
    Cause("air", 0.2, "here"),
    Cause("level", 2.0, "here", unit="dB"),
)


def question() -> RadiatorAreaQuestion:
    """Decode the example question."""
    return msgspec.convert(example("radiator-area"), RadiatorAreaQuestion)


def drawn(asked: Drawing | None = None, causes: tuple[Cause, ...] = CAUSES) -> Draws:
    """Draw some causes of the example."""
    return draw(question(), asked or Drawing(), causes)


def test_the_same_question_draws_the_same() -> None:
    """Twice the same numbers to the last bit, and a seed of 32 digits."""
    np.testing.assert_array_equal(drawn().normal, drawn().normal)
    assert len(drawn().seed) == 32


def test_more_draws_only_refine() -> None:
    """The first draws of many are those of fewer."""
    few, many = drawn(Drawing(draws=300)), drawn(Drawing(draws=5000))
    np.testing.assert_array_equal(few.normal, many.normal[:, :300])


def test_another_cause_disturbs_none() -> None:
    """The numbers of a cause follow from the seed and its name, wherever it stands."""
    alone = drawn(causes=CAUSES[1:2])
    np.testing.assert_array_equal(alone.normal[0], drawn().normal[1])


def test_another_question_draws_other_numbers_unless_it_is_given_the_seed() -> None:
    """What is wrong in both alike cancels when two questions share a seed."""
    other = replace(question(), heat_w=question().heat_w + 1.0)
    apart = draw(other, Drawing(), CAUSES)
    together = draw(other, Drawing(seed=drawn().seed), CAUSES)

    assert apart.seed != drawn().seed
    np.testing.assert_array_equal(together.normal, drawn().normal)


def test_the_seed_is_of_what_is_said_beyond_the_defaults() -> None:
    """Confidence and the number of draws leave it alone; so would a field added with a default."""
    plain = question()
    spelled = replace(plain, confidence=0.8, uncertainty=replace(plain.uncertainty, draws=5000))

    assert seed_of(spelled) == seed_of(plain)
    assert seed_of(replace(plain, coolant=Water())) != seed_of(plain)


def test_factors_are_lognormal_about_one() -> None:
    """Median one, and a deviation over the mean that is the relative uncertainty."""
    factor = np.asarray(drawn(Drawing(draws=20_000)).factor("air"))

    assert np.median(factor) == pytest.approx(1.0, abs=4 * 0.25 / np.sqrt(20_000))
    assert factor.std() / factor.mean() == pytest.approx(0.2, rel=0.03)
    assert stats.kstest(np.log(factor) / np.sqrt(np.log1p(0.04)), "norm").pvalue > 1e-3


def test_offsets_are_normal_in_their_unit() -> None:
    """About zero, with the stated deviation."""
    offset = np.asarray(drawn(Drawing(draws=20_000)).offset("level"))
    assert stats.kstest(offset / 2.0, "norm").pvalue > 1e-3


def test_what_is_certain_is_not_drawn() -> None:
    """A cause of no uncertainty has a factor of one and an offset of nothing."""
    some = drawn(causes=(*CAUSES, Cause("sure", 0.0, "here")))

    assert len(some.causes) == len(CAUSES)
    assert (some.factor("sure"), some.offset("sure")) == (1.0, 0.0)
    np.testing.assert_array_equal(some.factors(["sure"]), np.ones((1, 1000)))
