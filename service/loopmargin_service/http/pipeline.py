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
from litestar.types import ASGIApp, Receive, Scope, Send

from loopmargin_service.http.admission import Admission
from loopmargin_service.http.guards import Guards
from loopmargin_service.http.identity import Identity
from loopmargin_service.http.media import ClientGoneError
from loopmargin_service.http.passing import Passing
from loopmargin_service.http.repeats import Repeats
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

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != ScopeType.HTTP:
            await self.router(scope, receive, send)
            return
        one = scope["state"]["passing"] = self.watch.begin(scope)
        one.send = send
        try:
            await self._inner(scope, receive, one.pass_on)
        finally:
            self.watch.finish(one)

    async def _caught(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Name a request, and answer for what goes wrong with it before a response begins."""
        one: Passing = scope["state"]["passing"]
        self.identity.enter(one)
        try:
            await self._guarded(one, receive, send)
        except ClientGoneError:
            return
        except Exception as error:
            if one.status:
                raise
            await reply_to(error, scope)(scope, receive, send)
        finally:
            if one.allowance is not None:
                one.allowance.close()

    async def _guarded(self, one: Passing, receive: Receive, send: Send) -> None:
        reply = self.guards.enter(one)
        if one.allowance is not None:
            await one.allowance.charge(1)
        if reply is None and self.repeats.possible(one):
            reply, receive = await self.repeats.read(one, receive)
        if reply is None:
            self.admission.require(one.path)
            await self.admission.admit(one, receive, send)
        else:
            await reply(one.scope, receive, send)
