"""What cases drawn at random say of a quantity: interval, budget, and how far to trust both.

The interval has equal tails, by the order statistics of the draws (JCGM 101:2008, 7.7). The
linear method (JCGM 100:2008, 5.1) comes from least squares of the quantity on the normal
numbers behind the draws, and is believed where its interval agrees (JCGM 101:2008, 8.1).
"""

import math
from collections.abc import Iterator
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from loopmargin_service.physics.network import Array
from loopmargin_service.questions.draws import Cause, Draws
from loopmargin_wire.answer import Note
from loopmargin_wire.uncertainty import (
    Contribution,
    InputUncertainty,
    Kind,
    Simulation,
    Spread,
)

# Both ends of the linear interval must lie within this share of the interval's width.
AGREEMENT = 0.05
# Fewer draws describe nothing, and an end of an interval wants this many beyond it.
LEAST_SETTLED = 20
BEYOND_AN_END = 10

Which = NDArray[np.bool_]


class Quantity(NamedTuple):
    """A quantity of interest over the draws; where it does not exist it is not finite."""

    name: str
    unit: str
    values: Array


class Interval(NamedTuple):
    """Standard deviation of a quantity and both ends of its interval, each with its error."""

    deviation: float
    deviation_error: float
    low: float
    low_error: float
    high: float
    high_error: float

    @property
    def told(self) -> tuple[float, float, float]:
        """Give deviation and ends, rounded to what the draws support."""
        return (
            rounded(self.deviation, self.deviation_error),
            rounded(self.low, self.low_error),
            rounded(self.high, self.high_error),
        )


class Linear(NamedTuple):
    """A quantity as a sum of its causes: its middle, and what each adds to its deviation."""

    middle: float
    parts: Array

    @property
    def deviation(self) -> float:
        """Standard deviation of the sum."""
        return math.hypot(*self.parts.tolist())


def simulation(
    drawn: Draws, quantities: list[Quantity], confidence: float, settled: Which | None = None
) -> Simulation:
    """Describe what was drawn and what came of it.

    A quantity that some draw does not have, such as an area where none suffices, is left out.
    """
    held = np.ones(drawn.size, dtype=np.bool_) if settled is None else settled
    shown = [one for one in quantities if describable(one.values, held)]
    lines = linearised(drawn.normal[:, held], [one.values[held] for one in shown])
    return Simulation(
        draws=drawn.size,
        seed=drawn.seed,
        confidence=confidence,
        settled_share=float(held.mean()),
        inputs=tuple(_input(cause) for cause in drawn.causes),
        spreads=tuple(
            _spread(drawn, one._replace(values=one.values[held]), line, confidence)
            for one, line in zip(shown, lines, strict=True)
        ),
    )


def describable(values: Array, settled: Which) -> bool:
    """Tell whether draws have a spread: enough of them settled, and those that did have values."""
    return int(settled.sum()) >= LEAST_SETTLED and bool(np.isfinite(values[settled]).all())


def support_notes(shown: Simulation | None) -> tuple[Note, ...]:
    """Say what so many draws cannot tell, if it is asked for."""
    if shown is None:
        return (
            Note(
                code="not_drawn",
                text="No uncertainty was drawn: verdicts are those of the best estimate, and no "
                "chance is stated.",
                pointer="/uncertainty",
            ),
        )
    notes = list(rough_ends(shown.draws, shown.confidence, "/uncertainty/draws"))
    if shown.settled_share < 1.0:
        notes.append(
            Note(
                code="draws_without_answer",
                text=f"{1.0 - shown.settled_share:.2%} of the draws have no answer inside the "
                "range of the laws; chances count them as failing, spreads leave them out.",
            )
        )
    return tuple(notes)


def rough_ends(draws: int, confidence: float, pointer: str) -> Iterator[Note]:
    """Say that so many draws leave the ends of an interval rough, if they do."""
    wanted = math.ceil(2.0 * BEYOND_AN_END / (1.0 - confidence) - 1e-6)
    if draws < wanted:
        yield Note(
            code="draws_support_less",
            text=f"{draws} draws leave fewer than {BEYOND_AN_END} beyond each end of an "
            f"interval of {confidence:g}: its ends are rough. Ask for at least "
            f"{wanted} draws, or for less confidence.",
            pointer=pointer,
        )


def rounded(value: float, error: float) -> float:
    """Round a number to the place of the first digit of its standard error."""
    if error <= 0.0 or not math.isfinite(error):
        return float(value)
    return round(float(value), -math.floor(math.log10(error)))


def standard_uncertainty(values: Array) -> float:
    """Give the standard deviation of draws, rounded to what they support."""
    deviation = float(values.std(ddof=1))
    return rounded(deviation, _deviation_error(deviation, values.size))


def _deviation_error(deviation: float, count: int) -> float:
    """Give the standard error of a standard deviation, as if the draws were normal."""
    return deviation / math.sqrt(2.0 * count)


def kind_of(cause: Cause) -> Kind:
    """Name whether a cause is of the form of a law or of what is stated."""
    return "law" if cause.law else "input"


def _input(cause: Cause) -> InputUncertainty:
    """Describe one cause."""
    return InputUncertainty(
        cause=cause.name,
        kind=kind_of(cause),
        standard_uncertainty=cause.uncertainty,
        unit=cause.unit,
        source=cause.source,
    )


def _spread(drawn: Draws, quantity: Quantity, linear: Linear, confidence: float) -> Spread:
    """Describe one quantity by its draws, and check the linear method against them."""
    values = quantity.values
    found = interval(values, confidence)
    half = NormalDist().inv_cdf(1.0 - _tail(confidence)) * linear.deviation
    straight = linear.middle - half, linear.middle + half
    deviation, low, high = found.told
    return Spread(
        quantity=quantity.name,
        unit=quantity.unit,
        best_estimate=rounded(float(np.median(values)), found.deviation / math.sqrt(values.size)),
        standard_uncertainty=deviation,
        standard_uncertainty_error=two_digits(found.deviation_error),
        low=low,
        low_error=two_digits(found.low_error),
        high=high,
        high_error=two_digits(found.high_error),
        linear_low=rounded(straight[0], found.low_error),
        linear_high=rounded(straight[1], found.high_error),
        linear_agrees=_agrees(straight, (found.low, found.high)),
        budget=_budget(drawn.causes, linear, values),
    )


def interval(values: Array, confidence: float) -> Interval:
    """Give the deviation of draws and the interval that holds the confidence asked for."""
    (low, low_error), (high, high_error) = _ends(np.sort(values), _tail(confidence))
    deviation = float(values.std(ddof=1))
    own_error = _deviation_error(deviation, values.size)
    return Interval(deviation, own_error, low, low_error, high, high_error)


def _tail(confidence: float) -> float:
    """Give the share that lies beyond each end of an interval."""
    return 0.5 * (1.0 - confidence)


def two_digits(error: float) -> float:
    """Round a standard error to two digits, which is what any uncertainty deserves.

    JCGM 100:2008, 7.2.6.
    """
    return rounded(error, 0.1 * error)


def _ends(ordered: Array, tail: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Give both ends of the interval, each with its standard error.

    An end at the share p of n draws has as many draws below it as a binomial count, whose
    standard deviation, in ranks, spans two standard errors.
    """
    count = ordered.size
    reach = math.sqrt(tail * (1.0 - tail) / count)
    near = np.add.outer([tail, 1.0 - tail], [-reach, 0.0, reach]).clip(0.0, 1.0)
    low, high = np.quantile(ordered, near, method="weibull").tolist()
    return (low[1], 0.5 * (low[2] - low[0])), (high[1], 0.5 * (high[2] - high[0]))


def linearised(normal: Array, values: list[Array]) -> list[Linear]:
    """Write quantities as sums of their causes, by least squares on their normal numbers.

    The normal equations are as good here as any: the rows are nearly at right angles.
    """
    columns = np.vstack([np.ones(normal.shape[1]), normal])
    middles = [float(row.mean()) for row in values]
    apart = [columns @ (row - middle) for row, middle in zip(values, middles, strict=True)]
    square = columns @ columns.T
    found = [np.linalg.lstsq(square, side, rcond=None)[0] for side in apart]
    return [
        Linear(middle + float(row[0]), np.asarray(row[1:]))
        for middle, row in zip(middles, found, strict=True)
    ]


def _agrees(straight: tuple[float, float], drawn: tuple[float, float]) -> bool:
    """Compare the ends of the linear interval with those of the draws."""
    allowed = AGREEMENT * (drawn[1] - drawn[0])
    return all(abs(line - end) <= allowed for line, end in zip(straight, drawn, strict=True))


def _budget(causes: tuple[Cause, ...], linear: Linear, values: Array) -> tuple[Contribution, ...]:
    """Give the causes by the share of the variance they explain, the largest first.

    Chance alone gives every cause a share; what it is expected to give is taken off, and a
    cause that has no more than that is left out.
    """
    variance = float(values.var(ddof=1))
    if variance <= 0.0:
        return ()
    square = np.square(linear.parts)
    by_chance = max(variance - float(square.sum()), 0.0) / values.size
    shares = np.round(np.clip((square - by_chance) / variance, 0.0, 1.0), 3)
    return tuple(
        Contribution(cause=causes[row].name, kind=kind_of(causes[row]), share=float(shares[row]))
        for row in np.argsort(-shares, kind="stable")
        if shares[row] > 0.0
    )
