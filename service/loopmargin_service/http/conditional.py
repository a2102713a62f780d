"""Entity tags and If-None-Match, for everything that is served by GET and HEAD."""

import re
from hashlib import blake2b

from litestar.types import Scope

from loopmargin_service.http.reply import Header, Reply, length

_TAG = re.compile(rb'(?:W/)?("[\x21\x23-\x7e\x80-\xff]*")')
# What a 304 repeats of the headers that the 200 would have had (RFC 9110, section 15.4.5).
_REPEATED = frozenset(
    {b"etag", b"cache-control", b"vary", b"content-location", b"date", b"expires", b"cache-status"}
)


def entity_tag(body: bytes) -> bytes:
    """Strong tag of one representation: equal bytes, equal tag."""
    return b'"' + blake2b(body, digest_size=16).hexdigest().encode() + b'"'


def matches(if_none_match: bytes, tag: bytes) -> bool:
    """Compare weakly, as If-None-Match asks, with a list of tags or with `*`."""
    if if_none_match.strip() == b"*":
        return True
    return tag in _TAG.findall(if_none_match)


def representation(scope: Scope, body: bytes, tag: bytes, headers: tuple[Header, ...]) -> Reply:
    """Answer a GET or HEAD with the body, or with 304 when the caller has it already."""
    told = (*headers, (b"etag", tag))
    condition = b",".join(value for name, value in scope["headers"] if name == b"if-none-match")
    if condition and matches(condition, tag):
        return Reply(304, tuple(header for header in told if header[0] in _REPEATED), b"")
    return Reply(200, (*told, length(body)), body)
