"""A connection that answers at once what needs no waiting.

A question that is answered from this process's store, or refused, has its answer before the call
that brought the last of it returns: no task is made for it. It passes the same layers as every
other request; what has to wait goes on from there as a task.
"""

import asyncio
import math
from typing import ClassVar, Protocol, cast

from litestar.types import HTTPScope

from loopmargin_service.http.connection import Connection
from loopmargin_service.http.problems import ProblemError


class Front(Protocol):
    """What may answer a question at once."""

    def concerns(self, target: bytes) -> bool:
        """Tell whether a question at this target may be answered at once."""

    def awaits(self, scope: HTTPScope) -> bool:
        """Lead a question as far as its head goes; tell whether to wait for its body."""

    def at_once(self, scope: HTTPScope, body: bytes) -> tuple[bytes, ...]:
        """Give the response in pieces; there are none when it has to wait."""


class PromptConnection(Connection):
    """A connection that asks its front first."""

    front: ClassVar[Front]

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a connection."""
        self._held = self._answered = False
        self._awaited = False
        self._body: list[bytes] = []
        self._answered_s = -math.inf
        super().connection_made(transport)

    def data_received(self, data: bytes) -> None:
        """Keep a question whose body is not whole yet, if it may still be answered at once.

        The timer of an idle connection goes on through answers at once, and looks at their time
        when it rings: setting it anew for each would cost more than half of the answer.
        """
        self._answered = False
        timer, self.timeout_keep_alive_task = self.timeout_keep_alive_task, None
        super().data_received(data)
        if self._held and not self._awaited:
            self._awaited = self.front.awaits(self._asked())
            if not self._awaited:
                self._let_go()
        rests = self._answered and not self._in_message and self._is_idle()
        if rests and timer is None:
            self._keep_alive(self.timeout_keep_alive)
        elif rests:
            self.timeout_keep_alive_task = timer
        elif timer is not None:
            timer.cancel()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the timer, however the connection ended; end what is held back as a request."""
        self._unset_keepalive_if_required()
        if self._held:
            self._let_go()
        super().connection_lost(exc)

    def shutdown(self) -> None:
        """Stop after what has begun, which is also what is held back."""
        if self._held:
            self._let_go()
        super().shutdown()

    def timeout_keep_alive_handler(self) -> None:
        """Close an idle connection, or wait for as long as it has not been idle."""
        left_s = self._answered_s + self.timeout_keep_alive - self.loop.time()
        if left_s > 0:
            self._keep_alive(left_s)
        else:
            super().timeout_keep_alive_handler()

    def begin(self) -> None:
        """Hold a question back until it is known whether all of it is there."""
        self._held, self._awaited = self._may_be_held(), False
        self._body.clear()
        if not self._held:
            super().begin()

    def on_body(self, body: bytes) -> None:
        """Keep the body of a question that is held back."""
        if self._held:
            self._body_bytes += len(body)
            self._body.append(body)
        else:
            super().on_body(body)

    def on_message_complete(self) -> None:
        """Answer a question that is there as a whole, or let it go on."""
        if self._held and self._answer():
            self._held = self._in_message = False
            self._answered = True
            return
        if self._held:
            self._let_go()
        super().on_message_complete()

    def _may_be_held(self) -> bool:
        """Tell from its head whether a question may be answered at once, on a free way out."""
        return (
            self.front.concerns(self.url)
            and self._is_idle()
            and not self.flow.write_paused
            and not self.expect_100_continue
            and self.parser.get_method() == b"POST"
            and self.parser.get_http_version() == "1.1"
            and self.parser.should_keep_alive()
        )

    def _asked(self) -> HTTPScope:
        """Describe the question, as far as the server has not done so yet."""
        scope = cast("HTTPScope", self.scope)
        scope["method"] = "POST"
        scope["path"] = self.url.decode("ascii")
        scope["query_string"] = b""
        return scope

    def _answer(self) -> bool:
        """Ask the front; send what it answers."""
        pieces = self.front.at_once(self._asked(), b"".join(self._body))
        if pieces:
            self.transport.writelines(pieces)
            self.server_state.total_requests += 1
            self._answered_s = self.loop.time()
        return bool(pieces)

    def _keep_alive(self, for_s: float) -> None:
        self.timeout_keep_alive_task = self.loop.call_later(for_s, self.timeout_keep_alive_handler)

    def _let_go(self) -> None:
        """Begin in the ordinary way, with what has come of the body."""
        self._held = False
        body = b"".join(self._body)
        self._body.clear()
        super().begin()
        if body:
            self._body_bytes -= len(body)
            super().on_body(body)

    def _refuse(self, problem: ProblemError) -> None:
        """Refuse what has begun."""
        if self._held:
            self._let_go()
        super()._refuse(problem)

    def _is_nothing(self) -> bool:
        return not self._answered and super()._is_nothing()
