"""One connection: what is refused before a request is whole, and who is too slow.

The server below reads heads of any length for as long as a caller likes. Here the parts of
a head are bounded, a head has to be complete in seconds, a body has to keep coming, and
an answer has to be taken. Framing that two servers could read differently is refused:
the parser takes neither two lengths, a length beside chunks, folded lines nor bare line
feeds, and what it lets through is looked at here (RFC 9112, sections 3.2, 6.1 and 6.3).
"""

import asyncio
import secrets
import sys
from collections.abc import Callable
from http import HTTPStatus
from typing import Any, ClassVar, NamedTuple

from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol

from loopmargin_service.http.problems import (
    BAD_REQUEST,
    CROWDED,
    HEAD_TOO_LONG,
    MEDIA_TYPE,
    TARGET_TOO_LONG,
    TOO_SLOW,
    ProblemError,
    encoded,
)

TARGET_BYTES = 2048
MOST_FIELDS = 64
FIELD_BYTES = 8192
HEAD_BYTES = 16_384
# A chunk of one byte comes with five of framing.
FRAMING = 8
DISCARDED_BYTES = 2**18
LINGER_S = 1.0


class Bounds(NamedTuple):
    """What connections may take: how many there are, and how slow one may be.

    A head has `patience_s`; so has a body, and a second more for each `floor_bytes` that
    have come. An answer that is not taken for `taking_s` is given up. `refused` is
    told of each refusal, by one word.
    """

    connections: int = 1000
    patience_s: float = 10.0
    floor_bytes: int = 1024
    taking_s: float = 30.0
    refused: Callable[[str], None] = lambda _reason: None


class Connection(HttpToolsProtocol):
    """The server's own protocol with bounds; `bounded` makes a class with some of one's own."""

    bounds: ClassVar[Bounds] = Bounds()

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a connection, or refuse it when there are too many."""
        super().connection_made(transport)
        self._in_message = self._head_done = self._deaf = False
        self._raw_bytes = self._body_bytes = self._discarded = 0
        self._piece = self._first_bytes = 0
        self._why: ProblemError | None = None
        self._last_words: bytes | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._taking: asyncio.TimerHandle | None = None
        if len(self.connections) > self.bounds.connections:
            self._refuse(ProblemError(CROWDED, CROWDED.meaning, headers=((b"retry-after", b"1"),)))
        else:
            self._start_watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop watching."""
        self._stop_watch()
        if self._taking is not None:
            self._taking.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Feed the parser, then see whether the rest of a message is awaited."""
        if self._deaf:
            self._discard(len(data))
            return
        self._piece = len(data)
        if self._in_message:
            self._raw_bytes += self._piece
        super().data_received(data)
        if self._deaf or self.transport.is_closing():
            return
        if self._raw_bytes > HEAD_BYTES + FRAMING * self._body_bytes and self._in_message:
            begun = self._head_done or self.headers
            self._refuse(_head_too_long() if begun else _target_too_long())
        elif self._in_message or self._is_nothing():
            if self._timer is None:
                self._start_watch()
        elif self._timer is not None:
            self._stop_watch()

    def on_message_begin(self) -> None:
        """Begin to count."""
        super().on_message_begin()
        self._in_message, self._head_done = True, False
        self._first_bytes = self._piece
        self._raw_bytes = self._body_bytes = self._discarded = 0

    def on_headers_complete(self) -> None:
        """Refuse a head that is too long or that another server could read differently."""
        why = self._head_fault()
        if why is not None:
            self._why = why
            raise why
        self._head_done = True
        self.begin()
        # What follows the body goes here and changes nothing.
        self.headers = []

    def begin(self) -> None:
        """Begin to answer, now that the head is there."""
        super().on_headers_complete()

    def on_body(self, body: bytes) -> None:
        """Count; what still comes after the answer is only read for a while."""
        self._body_bytes += len(body)
        if self.cycle.response_complete:
            self._discard(len(body))
        super().on_body(body)

    def on_message_complete(self) -> None:
        """Note that the message is whole."""
        self._in_message = False
        super().on_message_complete()

    def on_response_complete(self) -> None:
        """Say the last words of a connection that was refused while it was answered."""
        last = not self.pipeline
        super().on_response_complete()
        if last and self._last_words is not None:
            self._say_and_close(self._last_words)

    def pause_writing(self) -> None:
        """Wait for a caller who does not take its answer, but not for ever."""
        super().pause_writing()
        self._taking = self.loop.call_later(self.bounds.taking_s, self.transport.abort)

    def resume_writing(self) -> None:
        """Go on with a caller who takes its answer again."""
        if self._taking is not None:
            self._taking.cancel()
            self._taking = None
        super().resume_writing()

    def send_400_response(self, msg: str) -> None:
        """Refuse what the parser, or a bound above, has stopped at."""
        stopped = ascii(str(sys.exc_info()[1] or msg))[1:-1].rstrip(".")[:200]
        self._refuse(self._why or ProblemError(BAD_REQUEST, f"This is not HTTP/1.1: {stopped}."))

    def _is_idle(self) -> bool:
        return self.cycle is None or self.cycle.response_complete

    def _is_nothing(self) -> bool:
        """Tell whether what came just now was no part of a message, such as empty lines."""
        return self._is_idle()

    def _head_fault(self) -> ProblemError | None:
        if len(self.url) > TARGET_BYTES:
            return _target_too_long()
        # Measured field by field only where all that has come is longer than one may be.
        may_be_long = self._first_bytes + self._raw_bytes > FIELD_BYTES
        if len(self.headers) > MOST_FIELDS or (may_be_long and _is_too_long(self.headers)):
            return _head_too_long()
        if self.parser.should_upgrade():
            # The parser would take what follows for another protocol and never see the body.
            fault = "No other protocol is spoken here; send no Upgrade and no CONNECT."
        else:
            fault = framing_fault(self.headers, self.parser.get_http_version())
        return ProblemError(BAD_REQUEST, fault) if fault else None

    def _start_watch(self) -> None:
        self._since = self.loop.time()
        self._timer = self.loop.call_later(self.bounds.patience_s, self._look)

    def _stop_watch(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _look(self) -> None:
        """See how far a message has come; nobody is blamed while the server itself waits."""
        self._timer = None
        if self.flow.read_paused:
            self._start_watch()
            return
        earned_s = self._body_bytes / self.bounds.floor_bytes if self._head_done else 0.0
        left_s = self._since + self.bounds.patience_s + earned_s - self.loop.time()
        if self._in_message and left_s > 0:
            self._timer = self.loop.call_later(left_s, self._look)
        elif self._in_message:
            self._refuse(_too_slow(self.bounds))
        else:
            self._hang_up()

    def _refuse(self, problem: ProblemError) -> None:
        """Say why and close; a response that is under way is let out first."""
        self._deaf = True
        self._stop_watch()
        self.bounds.refused(problem.kind.name.replace("-", "_"))
        own = self._in_message and self._head_done
        if self._is_idle():
            # The caller has its answer already and only goes on sending.
            self._say_and_close(b"" if own else _words(problem))
        elif own and not self.cycle.response_started:
            self.cycle.disconnected = True
            self._say_and_close(_words(problem))
            self.cycle.message_event.set()
        else:
            self._last_words = b"" if own else _words(problem)

    def _say_and_close(self, words: bytes) -> None:
        """Close the way out at once and the way in later: a reset would overtake the words."""
        if self.transport.is_closing():
            return
        self.transport.write(words)
        self.transport.write_eof()
        self._timer = self.loop.call_later(LINGER_S, self._hang_up)

    def _discard(self, size: int) -> None:
        self._discarded += size
        if self._discarded > DISCARDED_BYTES:
            self._hang_up()

    def _hang_up(self) -> None:
        self._deaf = True
        self.transport.close()


def _is_too_long(fields: list[tuple[bytes, bytes]]) -> bool:
    sizes = [len(name) + len(value) for name, value in fields]
    return sum(sizes) > HEAD_BYTES or max(sizes, default=0) > FIELD_BYTES


def framing_fault(fields: list[tuple[bytes, bytes]], version: str) -> str:
    """Say what could be read in two ways in a head that the parser took; nothing if nothing."""
    hosts = 0
    for name, value in fields:
        if name == b"host":
            hosts += 1
        elif name == b"transfer-encoding":
            if version == "1.0":
                return "HTTP/1.0 has no Transfer-Encoding; send a Content-Length."
            if value.strip().lower() != b"chunked":
                return "The only Transfer-Encoding is chunked; send the body without another."
    if hosts > 1:
        return "There is more than one Host field; send one."
    return "" if hosts or version == "1.0" else "There is no Host field; send one."


def _target_too_long() -> ProblemError:
    return ProblemError(
        TARGET_TOO_LONG, f"The path and query are longer than {TARGET_BYTES} bytes; shorten them."
    )


def _head_too_long() -> ProblemError:
    return ProblemError(
        HEAD_TOO_LONG,
        f"The header may have {MOST_FIELDS} fields of {FIELD_BYTES} bytes and {HEAD_BYTES} bytes "
        "together; send less.",
    )


def _too_slow(bounds: Bounds) -> ProblemError:
    return ProblemError(
        TOO_SLOW,
        f"The head has {bounds.patience_s:g} s and the body has to come at {bounds.floor_bytes} "
        "bytes a second; the connection is closed.",
    )


def _words(problem: ProblemError) -> bytes:
    """Write a whole response, as the layers that it never reached would have."""
    request_id = secrets.token_hex(8)
    body = encoded(problem, request_id)
    fields: dict[str, Any] = {
        "content-type": MEDIA_TYPE,
        "content-length": len(body),
        "cache-control": "no-store",
        "request-id": request_id,
        "x-content-type-options": "nosniff",
        "referrer-policy": "no-referrer",
        "content-security-policy": "default-src 'none'; frame-ancestors 'none'",
        **{name.decode(): value.decode() for name, value in problem.headers},
        "connection": "close",
    }
    status = HTTPStatus(problem.kind.status)
    lines = [f"HTTP/1.1 {status.value} {status.phrase}"]
    lines += [f"{name}: {value}" for name, value in fields.items()]
    return "\r\n".join([*lines, "", ""]).encode() + body
