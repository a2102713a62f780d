"""Answers shared between replicas in Redis, never trusted blindly, and whose turn it is.

A value carries our mark, the edition and a checksum over key and bytes: whatever else
stands under the key is a miss. A lease says which replica computes an answer just now;
it expires by itself, and nothing but time is lost when it is lost.
"""

import math
import secrets
from hashlib import blake2b

from loopmargin_service.http.redis_link import WRONG_TYPE, RedisLink
from loopmargin_service.http.store import Unavailable

MARK = b"loopmargin/1\n"
CHECKSUM_BYTES = 16
# Only the holder gives a lease back: what has expired may be another's by now.
_RELEASE = 'if redis.call("get", KEYS[1]) == ARGV[1] then return redis.call("del", KEYS[1]) end'


class RedisStore:
    """The shared store on one Redis or Valkey server."""

    def __init__(self, link: RedisLink, edition: str, ttl_s: int) -> None:
        self._link = link
        self._head = MARK + edition.encode() + b"\n"
        self._ttl_s = ttl_s

    async def fetch(self, digest: str) -> bytes | None:
        """Return the answer, or nothing when what stands there is not ours."""
        try:
            value = await self._link.call(lambda redis: redis.get(_key(digest)))
        except Unavailable as error:
            if str(error).startswith(WRONG_TYPE):
                return None
            raise
        return self._opened(digest, value) if isinstance(value, bytes) else None

    async def keep(self, digest: str, answer: bytes) -> None:
        """Store an answer for its time to live."""
        value = self._head + _checksum(digest, answer) + answer
        kept = await self._link.call(lambda redis: redis.set(_key(digest), value, ex=self._ttl_s))
        if not kept:
            raise Unavailable("what was stored is not acknowledged")

    async def lease(self, digest: str, for_s: float) -> str | None:
        """Take the turn to compute an answer; give what it is given back with, if it was free."""
        token = secrets.token_hex(16)
        milliseconds = max(1, math.ceil(1000.0 * for_s))
        taken = await self._link.call(
            lambda redis: redis.set(_lease_key(digest), token, nx=True, px=milliseconds)
        )
        return token if taken else None

    async def release(self, digest: str, token: str) -> None:
        """Give the turn back, unless it has become another's."""
        await self._link.call(lambda redis: redis.eval(_RELEASE, 1, _lease_key(digest), token))

    async def usable(self) -> bool:
        """Tell whether the server reads and writes."""
        return await self._link.usable()

    async def close(self) -> None:
        """Close every connection."""
        await self._link.close()

    def _opened(self, digest: str, value: bytes) -> bytes | None:
        start = len(self._head) + CHECKSUM_BYTES
        answer = value[start:]
        if value[:start] == self._head + _checksum(digest, answer):
            return answer
        self._link.failed("foreign")
        return None


def _key(digest: str) -> str:
    return f"loopmargin:answer:{digest}"


def _lease_key(digest: str) -> str:
    return f"loopmargin:lease:{digest}"


def _checksum(digest: str, answer: bytes) -> bytes:
    return blake2b(answer, digest_size=CHECKSUM_BYTES, key=digest.encode()).digest()
