"""What the blocking and the asynchronous client share."""

import os
import re
from typing import NoReturn, TypeVar

import httpx

from loopmargin.body import checked, encoded
from loopmargin.clock import Clock
from loopmargin.exchange import Exchange, exchange
from loopmargin.message import Arrival, Call, Send
from loopmargin.options import CallOptions, Options
from loopmargin.retry import RetryBudget
from loopmargin.routes import Route
from loopmargin.streaming import Steps, Streaming
from loopmargin_wire.answer import Answer, Question
from loopmargin_wire.sweep import SweepQuestion

Q = TypeVar("Q", bound=Question)
A = TypeVar("A", bound=Answer)

# Idle connections go before the shortest keep-alive that servers commonly have, 5 s.
POOL = httpx.Limits(max_connections=100, max_keepalive_connections=20, keepalive_expiry=4.0)
LONGEST_ANSWER_BYTES = 64 * 2**20
DIGEST = re.compile(r"(?:.*/v1/answers/)?([A-Za-z0-9_-]{8,128})")


class Session:
    """Options, retry budget and clock of a client; it belongs to one process."""

    def __init__(self, options: Options, budget: RetryBudget | None, clock: Clock) -> None:
        self._options = options
        self._budget = budget or RetryBudget()
        self._clock = clock
        self._process = os.getpid()

    def __repr__(self) -> str:
        """Show the options, header values excepted."""
        return f"<loopmargin.{type(self).__name__} {self._options!r}>"

    def __reduce__(self) -> NoReturn:
        """Refuse to be copied or pickled: connections cannot be, and headers may hold a key."""
        name = type(self).__name__
        raise TypeError(
            f"{name} holds open connections and cannot be copied or pickled: make one in each"
            " process, or use with_options() for a variant."
        )

    def _asking(self, route: Route[Q, A], question: Q, limits: CallOptions) -> Exchange[A]:
        """Check and encode a question; the result is to be driven."""
        options = self._for_call(limits)
        content = encoded(checked(question), options.encoding)
        return self._exchange(Call("POST", f"/v1/{route.name}", content, route.answer), options)

    def _fetching(self, location: str, answer: type[A], limits: CallOptions) -> Exchange[A]:
        """Point at a stored answer of this service, never at another host."""
        digest = DIGEST.fullmatch(location)
        if digest is None:
            raise ValueError(f"{location!r} is no digest of an answer, nor its /v1/answers/ path.")
        call = Call("GET", f"/v1/answers/{digest[1]}", None, answer)
        return self._exchange(call, self._for_call(limits))

    def _streaming(self, question: SweepQuestion, limits: CallOptions) -> Steps[None]:
        """Check a question whose answer is to be driven as a stream."""
        options = self._for_call(limits)
        return Streaming(checked(question), options, self._budget, self._clock).steps()

    def _exchange(self, call: Call[A], options: Options) -> Exchange[A]:
        return exchange(call, options, self._budget, self._clock)

    def _for_call(self, limits: CallOptions) -> Options:
        self._require_own_process()
        return self._options.changed(**limits)

    def _require_own_process(self) -> None:
        if os.getpid() != self._process:
            raise RuntimeError(
                f"This {type(self).__name__} was made in process {self._process}, and a fork must"
                " not use its connections: make one in each process."
            )


class Intake:
    """Collects a body, within a time and a length."""

    def __init__(self, send: Send, clock: Clock) -> None:
        self._clock = clock
        self._ends = clock.monotonic() + send.limit_s
        self._body = bytearray()

    def add(self, chunk: bytes) -> None:
        """Take one piece of the body."""
        self._body += chunk
        if len(self._body) > LONGEST_ANSWER_BYTES:
            raise httpx.DecodingError(f"the body is longer than {LONGEST_ANSWER_BYTES} bytes")
        if self._clock.monotonic() > self._ends:
            raise httpx.ReadTimeout("the body was still coming in")

    def arrival(self, response: httpx.Response) -> Arrival:
        """Close the body and put the header to it."""
        return Arrival(response.status_code, response.headers, bytes(self._body))
