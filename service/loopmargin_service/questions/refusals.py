"""Why a well-typed question cannot be computed.

    Refusal            carries one or more faults, each with the place and what to change

A refusal is for contradictions in the question. A machine that does not work is no
refusal: it is answered, with an outcome that says so.
"""

from typing import NamedTuple


class Fault(NamedTuple):
    """One contradiction: the place as path steps, and a sentence with value, limit and remedy."""

    path: tuple[str | int, ...]
    detail: str


class Refusal(Exception):  # noqa: N818 - it is the trade word for what happened, not a mishap
    """The question contradicts itself; HTTP turns it into a 422."""

    def __init__(self, *faults: Fault) -> None:
        super().__init__("; ".join(fault.detail for fault in faults))
        self.faults = faults

    def __reduce__(self) -> tuple[type["Refusal"], tuple[Fault, ...]]:
        """Travel to another process with the faults, which the message alone would lose."""
        return Refusal, self.faults
