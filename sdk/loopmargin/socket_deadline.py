"""Blocking sockets that honour one instant for a whole attempt.

The HTTP library limits each single read, so a peer that sends a byte now and then keeps
a blocking call alive for as long as it likes, in the header as in the body. Here every
step on the socket gets no more than what is left until the end of the attempt. Looking
up a host name is left out, which the operating system does not let us limit, and a host
with several addresses gets the time for connecting at each of them.

The asynchronous client needs none of this: there the event loop cancels the attempt.
"""

import ssl
import time
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

import httpcore
import httpx

_ENDS: ContextVar[float | None] = ContextVar("ends", default=None)


@contextmanager
def attempt_of(seconds: float) -> Iterator[None]:
    """End whatever this thread does on a socket after some seconds."""
    token = _ENDS.set(time.monotonic() + seconds)
    try:
        yield
    finally:
        _ENDS.reset(token)


def left(timeout: float | None, late: type[Exception]) -> float | None:
    """Time for the next step: that of the step itself or what is left of the attempt."""
    ends = _ENDS.get()
    if ends is None:
        return timeout
    remaining = ends - time.monotonic()
    if remaining <= 0.0:
        raise late("the time for this attempt is over")
    return remaining if timeout is None else min(timeout, remaining)


class DeadlineStream(httpcore.NetworkStream):
    """A connection whose every step is limited by the attempt that it serves."""

    def __init__(self, stream: httpcore.NetworkStream) -> None:
        self._stream = stream

    def read(self, max_bytes: int, timeout: float | None = None) -> bytes:
        """Read what has come in."""
        return self._stream.read(max_bytes, left(timeout, httpcore.ReadTimeout))

    def write(self, buffer: bytes, timeout: float | None = None) -> None:
        """Write a buffer."""
        self._stream.write(buffer, left(timeout, httpcore.WriteTimeout))

    def close(self) -> None:
        """Close the connection."""
        self._stream.close()

    def start_tls(
        self,
        ssl_context: ssl.SSLContext,
        server_hostname: str | None = None,
        timeout: float | None = None,
    ) -> httpcore.NetworkStream:
        """Agree on encryption."""
        limit = left(timeout, httpcore.ConnectTimeout)
        return DeadlineStream(self._stream.start_tls(ssl_context, server_hostname, limit))

    def get_extra_info(self, info: str) -> Any:  # noqa: ANN401 - the signature is httpcore's
        """Describe the connection."""
        return self._stream.get_extra_info(info)


class DeadlineBackend(httpcore.SyncBackend):
    """Opens connections that are limited by the attempt that they serve."""

    def connect_tcp(self, *args: Any, **kwargs: Any) -> httpcore.NetworkStream:  # noqa: ANN401 - handed through
        """Open a connection."""
        kwargs["timeout"] = left(kwargs.get("timeout"), httpcore.ConnectTimeout)
        return DeadlineStream(super().connect_tcp(*args, **kwargs))


class DeadlineTransport(httpx.HTTPTransport):
    """The library's own transport over such connections."""

    def __init__(self, context: ssl.SSLContext, limits: httpx.Limits) -> None:
        super().__init__(verify=context, limits=limits)
        self._pool = httpcore.ConnectionPool(
            ssl_context=context,
            max_connections=limits.max_connections,
            max_keepalive_connections=limits.max_keepalive_connections,
            keepalive_expiry=limits.keepalive_expiry,
            network_backend=DeadlineBackend(),
        )
