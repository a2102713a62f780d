"""How a sweep is cut into chunks, each of which is solved as one task.

It follows from the question alone, so that replicas on whatever machines cut alike and find
what others have stored. Chunks begin where blocks begin, or divide a block evenly.
"""

from collections.abc import Iterator

from loopmargin_service.questions import work
from loopmargin_wire.steady_state import HeatedBlock
from loopmargin_wire.sweep import LONGEST_BLOCK, AlternativeAxis, SweepQuestion

# What a chunk is estimated to take, and what it may take where machines are met on the way. [s]
CHUNK_S, LONGEST_S = 0.4, 1.6
# What it may hold. [byte]
CHUNK_BYTES = 4 * 2**20
# A small sweep is cut into so many chunks, unless they take less, so that several processes
# share it. [s]
SHARES, SHORT_S = 16, 0.03
# Machines that are met in each chunk anew take at most such a part of what the cases take.
MOST_AGAIN = 0.35
# The first chunk is so many times smaller than the others, so that its caller hears early.
EARLIER = 8
NUMBERS_OF_A_CASE = 6
PARTS_OF_A_BLOCK = tuple(n for n in range(1, LONGEST_BLOCK) if LONGEST_BLOCK % n == 0)


def ranges(question: SweepQuestion) -> Iterator[tuple[int, int]]:
    """Give the first case of each chunk and the one after its last.

    They begin with the chunk that holds the first case that is asked for.
    """
    cases, size = work.sweep_cases(question), chunk_cases(question)
    if question.first_case >= cases:
        return
    early = min(size, LONGEST_BLOCK * max(1, size // EARLIER // LONGEST_BLOCK))
    if question.first_case < early:
        yield 0, min(early, cases)
    passed = max(question.first_case - early, 0) // size
    for first in range(early + passed * size, cases, size):
        yield first, min(first + size, cases)


def first_s(question: SweepQuestion) -> float:
    """Estimate the work of the chunk with which a stream begins. [s]"""
    first, last = next(ranges(question), (0, 0))
    return work.sweep_chunk(question, last - first)


def chunk_cases(question: SweepQuestion) -> int:
    """Tell how many cases are solved as one task.

    A machine that is met costs as much as some hundred cases, in each chunk anew. Where an axis
    that changes it runs fast, longer chunks are worth that.
    """
    share = work.sweep_cases(question) // SHARES
    found = 1
    for size in _sizes(CHUNK_BYTES // _case_bytes(question)):
        takes_s = work.sweep_chunk(question, size)
        fair = takes_s <= SHORT_S or (size <= share and takes_s <= CHUNK_S)
        if not fair and not (takes_s <= LONGEST_S and _meets_many(question, found)):
            break
        found = size
    return found


def _meets_many(question: SweepQuestion, size: int) -> bool:
    """Tell whether machines that other chunks meet too take much of the work of each chunk."""
    cases = work.sweep_cases(question)
    own = size * work.machines_met(question, cases) / cases
    again = work.machines_met(question, size) - own
    again_s = again * work.machine(question.machine)
    return MOST_AGAIN * size * work.sweep_case(question) < again_s


def _sizes(most: int) -> Iterator[int]:
    """Give parts that divide a block, then whole blocks."""
    yield from (part for part in PARTS_OF_A_BLOCK if part <= most)
    yield from range(LONGEST_BLOCK, most + 1, LONGEST_BLOCK)


def _case_bytes(question: SweepQuestion) -> int:
    """Tell what a case takes at most; of drawn ones, which take more, a chunk holds few anyway."""
    elements = [element for branch in question.machine.branches for element in branch.elements]
    blocks = sum(isinstance(element, HeatedBlock) for element in elements)
    further = sum(isinstance(axis, AlternativeAxis) for axis in question.axes)
    return 8 * (NUMBERS_OF_A_CASE + blocks + further) + 2
