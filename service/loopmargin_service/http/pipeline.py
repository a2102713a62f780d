"""The order in which a request passes the layers.

    Watch        times, counts, and tells of every response
    Traced       shows each request as a span, where traces are kept
    Identity     Request-Id, security headers; around it the last catch
    Guards       origins, keys, quotas: what the settings want of them
    Repeats      a request equal to an earlier one is answered here
    Admission    turns questions away, unread, while their like find no room
    the router   everything else

Each layer is a plain object that is told of a request and refuses it by an exception; only
here is known what comes after what. A layer that nobody asked for is not there and costs
nothing. All but Admission also hold for repeated requests, which it lets pass.
"""

from collections.abc import Callable
from typing import NamedTuple

from litestar.enums import ScopeType
from litestar.types import ASGIApp, HTTPScope, Receive, Scope, Send

from loopmargin_service.http.admission import Admission
from loopmargin_service.http.guards import Guards
from loopmargin_service.http.identity import Identity
from loopmargin_service.http.media import ClientGoneError
from loopmargin_service.http.passing import Passing
from loopmargin_service.http.repeats import Repeats
from loopmargin_service.http.reply import Reply, head
from loopmargin_service.http.responding import reply_to
from loopmargin_service.http.watch import Watch


class Layers(NamedTuple):
    """The layers of one application, outermost first; the router is behind the last."""

    watch: Watch
    identity: Identity
    guards: Guards
    repeats: Repeats
    admission: Admission


class Pipeline:
    """Leads each request through the layers, and its response back."""

    def __init__(
        self, router: ASGIApp, layers: Layers, traced: Callable[[ASGIApp], ASGIApp]
    ) -> None:
        self.router = router
        self.watch, self.identity, self.guards, self.repeats, self.admission = layers
        self._inner = traced(self._caught)
        self._targets = frozenset(path.encode() for path in self.repeats.paths)

    def concerns(self, target: bytes) -> bool:
        """Tell whether a question at this target may be answered at once."""
        return target in self._targets and not self.identity.closing

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != ScopeType.HTTP:
            await self.router(scope, receive, send)
            return
        one = scope["state"].get("passing") or self._begun(scope)
        scope["state"]["passing"] = one
        one.send = send
        try:
            await self._inner(scope, receive, one.pass_on)
        finally:
            # Scope and request hold each other; what the collector need not find costs less.
            del scope["state"]["passing"]
            self.watch.finish(one)

    async def _caught(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer for what goes wrong with a request before its response begins."""
        one: Passing = scope["state"]["passing"]
        try:
            await self._guarded(one, receive, send)
        except ClientGoneError:
            return
        except Exception as error:
            # The router wraps what happens once a response has begun.
            if isinstance(error.__cause__, ClientGoneError):
                return
            if one.status:
                raise
            await reply_to(error, scope)(scope, receive, send)
        finally:
            if one.allowance is not None:
                one.allowance.close()

    async def _guarded(self, one: Passing, receive: Receive, send: Send) -> None:
        if one.refused is not None:
            refused, one.refused = one.refused, None
            raise refused
        reply = None if one.entered else self.guards.enter(one)
        if one.allowance is not None and not one.charged:
            await one.allowance.charge(1)
        if reply is None and not one.looked_up:
            reply, receive = await self._looked_up(one, receive)
        if reply is None:
            await self.admission.admit(one, receive, send)
        else:
            await reply(one.scope, receive, send)

    async def _looked_up(self, one: Passing, receive: Receive) -> tuple[Reply | None, Receive]:
        """Look for a repeat, or for room; what was read of the body can be read again."""
        if self.repeats.possible(one):
            reply, receive = await self.repeats.read(one, receive)
            if reply is not None:
                return reply, receive
        self.admission.require(one.path)
        return None, receive

    def awaits(self, scope: HTTPScope) -> bool:
        """Lead a question through the layers as far as its head goes.

        Tells whether to wait for its body. Otherwise the request goes on as an application's
        call with the same scope, which also raises what has refused it.
        """
        one = scope["state"]["passing"] = self._begun(scope)
        try:
            return self.repeats.possible(one) and self._let_in(one)
        except Exception as error:  # noqa: BLE001 - raised again where it is answered
            one.refused = error
            return False

    def at_once(self, scope: HTTPScope, body: bytes) -> tuple[bytes, ...]:
        """Answer a whole question that needs no waiting; give the pieces of the response.

        There are none when it has to wait. The request then goes on as an application's call
        with the same scope, from where it has come to here.
        """
        one: Passing = scope["state"].pop("passing", None) or self._begun(scope)
        try:
            reply = self._known(one, body)
        except Exception as error:  # noqa: BLE001 - the last catch, as for every other request
            reply = reply_to(error, scope)
        if reply is None:
            scope["state"]["passing"] = one
            return ()
        if one.allowance is not None:
            one.allowance.close()
        one.begin(reply.status, reply.headers)
        one.body_bytes = len(reply.body)
        pieces = (reply.head or head(reply.status, reply.headers), one.said_lines(), reply.body)
        self.watch.finish(one)
        return pieces

    def _known(self, one: Passing, body: bytes) -> Reply | None:
        """Lead a request through the layers for as long as nothing has to be waited for."""
        if not one.charged and not (self.repeats.possible(one) and self._let_in(one)):
            return None
        reply = self.repeats.ready(one, body)
        if reply is None:
            self.admission.require(one.path)
        one.looked_up = True
        return reply

    def _let_in(self, one: Passing) -> bool:
        """Lead a request past the guards; tell whether they are done with it."""
        self.guards.enter(one)
        one.entered = True
        one.charged = one.allowance is None or one.allowance.charge_now(1)
        return one.charged

    def _begun(self, scope: HTTPScope) -> Passing:
        one = self.watch.begin(scope)
        self.identity.enter(one)
        return one
