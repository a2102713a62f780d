"""How much work an answer is, told from its question before anything is computed.

Seconds on one core of the machine that `tests/performance/bench_work.py` last measured, which
prints estimate and measurement side by side. What a case costs follows from the parts that are
solved: elements of the loop and paths of the air.
"""

import math

from loopmargin_service.questions.sweep_axes import is_setting
from loopmargin_wire.answer import Question
from loopmargin_wire.noise import NoiseQuestion
from loopmargin_wire.solve_for import AlternativeRange, SolveForQuestion
from loopmargin_wire.steady_state import SteadyStateQuestion
from loopmargin_wire.sweep import AlternativeAxis, Axis, SweepQuestion
from loopmargin_wire.uncertainty import Drawing
from loopmargin_wire.warm_up import WarmUpQuestion

# A question of one part of the machine, and one draw about it. [s]
PART_S, PART_DRAW_S = 1e-3, 3e-6
# The levels of a machine's sources, and one draw about them. [s]
NOISE_S, NOISE_DRAW_S = 3e-4, 7e-7
# One machine: read, built, solved, described. [s]
MACHINE_S, ELEMENT_S = 3e-3, 1e-4
# One case more in a batch; its first iterations cost as if these were many. [s]
CASE_S, CASE_ELEMENT_S = 6e-6, 7e-7
# One case of a sweep, cut out, written and sent.
SENT_CASE_S = 1e-6
# What drawing takes beside solving: the factors, the spreads, the budget; at all and for each draw.
DRAWN_S, DRAW_S = 5e-3, 3e-6
# Drawing about one case of a sweep, beside solving: the machine, the factors, the spreads.
DRAWN_CASE_S = 1.5e-3
# One machine set at one value of an axis. [s]
SET_S, SET_ELEMENT_S = 6e-5, 5e-6
# Values that are tried to find a boundary: 17 where it lies open, up to 29 where a window hides.
TRIED = 20


def part(question: Question) -> float:
    """Work of a question about one part of the machine, and of what is drawn about it. [s]"""
    return PART_S + _draws(question) * PART_DRAW_S


def noise(question: NoiseQuestion) -> float:
    """Work of adding up levels, and of what is drawn about them. [s]"""
    return NOISE_S + _draws(question) * NOISE_DRAW_S


def steady_state(question: SteadyStateQuestion) -> float:
    """Work of one machine, and of those that are drawn about it. [s]"""
    once_s = machine(question)
    if question.uncertainty is None:
        return once_s
    draws = question.uncertainty.draws
    return once_s + DRAWN_S + draws * DRAW_S + cases(question, draws)


def warm_up(question: WarmUpQuestion) -> float:
    """Work of one machine and its course in time. [s]"""
    return 3.0 * machine(question.machine)


def sweep(question: SweepQuestion) -> float:
    """Work of all cases, and of each machine that is built and set for them. [s]"""
    number = min(sweep_cases(question), question.case_limit)
    once_s = machine(question.machine) + sweep_set(question, number)
    return once_s + sweep_chunk(question, number)


def sweep_set(question: SweepQuestion, number: int) -> float:
    """Work of setting the machines of so many cases at every value, once in a process. [s]"""
    turned = sum(_values(axis) for axis in question.axes if is_setting(axis))
    each_s = SET_S + elements(question.machine) * SET_ELEMENT_S
    return machines_met(question, number) * turned * each_s


def sweep_cases(question: SweepQuestion) -> int:
    """Count the cases of a sweep."""
    return math.prod(map(_values, question.axes))


def sweep_sent(number: int) -> float:
    """Work of sending cases that were solved before. [s]"""
    return number * SENT_CASE_S


def sweep_chunk(question: SweepQuestion, number: int) -> float:
    """Work of so many cases that follow each other, on machines that are set. [s]"""
    met_s = machines_met(question, number) * machine(question.machine)
    return met_s + number * sweep_case(question)


def machines_met(question: SweepQuestion, number: int) -> int:
    """Count the machines that so many cases stand for which follow each other."""
    apart = sweep_cases(question)
    machines = 1
    for axis in question.axes:
        apart //= _values(axis)
        machines *= 1 if is_setting(axis) else min(_values(axis), math.ceil(number / apart))
    return machines


def sweep_case(question: SweepQuestion) -> float:
    """Work of one case among many of a sweep, and of the machines drawn about it. [s]"""
    once_s = cases(question.machine, 1)
    if question.draws is None:
        return once_s
    return once_s + DRAWN_CASE_S + cases(question.machine, question.draws)


def machine(question: SteadyStateQuestion) -> float:
    """Work of one machine about which nothing is drawn. [s]"""
    return MACHINE_S + elements(question) * ELEMENT_S


def _values(axis: Axis) -> int:
    """Count what an axis runs through."""
    return len(axis.elements if isinstance(axis, AlternativeAxis) else axis.values)


def solve_for(question: SolveForQuestion) -> float:
    """Work of every value that may be tried. [s]"""
    unknown = question.unknown
    tried = len(unknown.elements) if isinstance(unknown, AlternativeRange) else TRIED
    return tried * steady_state(question.machine)


def cases(question: SteadyStateQuestion, number: int) -> float:
    """Work of solving a machine in so many cases together. [s]"""
    return number * (CASE_S + elements(question) * CASE_ELEMENT_S)


def elements(question: SteadyStateQuestion) -> int:
    """Count what coolant and air pass."""
    loop = sum(len(branch.elements) for branch in question.branches)
    return loop + len(question.pumps) + len(question.case.fans if question.case else ())


def _draws(question: Question) -> int:
    asked = getattr(question, "uncertainty", None)
    return asked.draws if isinstance(asked, Drawing) else 0
