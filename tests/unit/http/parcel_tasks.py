"""Answers to parcels for worker processes: they stand in a module that these can import."""

from tests.unit.http.parcel import Counter, ParcelAnswer, ParcelQuestion
from tests.unit.http.worker_tasks import never_end


def answer(mark: str, question: ParcelQuestion) -> ParcelAnswer:
    """Add the edges up; a fragile parcel is worked on for good, having left a mark."""
    if question.fragile:
        never_end(mark)
    return Counter().answer(question)
