"""A Redis client in memory, on the clock of the event loop, whose server can be ill."""

import asyncio
from collections.abc import Callable
from typing import Literal, get_args

from redis.exceptions import ConnectionError as ConnectionFailed
from redis.exceptions import OutOfMemoryError, ReadOnlyError

from tests.virtual_time import now_s

Illness = Literal["well", "hangs", "slow", "very slow", "resets", "read only", "full", "loses"]
ILLNESSES: tuple[Illness, ...] = get_args(Illness)
DELAYS = {"slow": 0.03, "very slow": 0.2}


class ServerInMemory:
    """The commands that the service uses, as the server does them."""

    def __init__(self) -> None:
        self.illness: Illness = "well"
        self.values: dict[str, tuple[bytes, float]] = {}
        self.connection_pool = self

    async def get(self, key: str) -> bytes | None:
        """Read a value."""
        await self._reached(writes=False)
        return self._value(key)

    async def set(
        self,
        key: str,
        value: bytes | str,
        ex: float | None = None,
        px: float | None = None,
        *,
        nx: bool = False,
    ) -> bool | None:
        """Write a value; with `nx` only where none stands."""
        await self._reached(writes=True)
        if nx and self._value(key) is not None:
            return None
        ttl_s = ex if ex is not None else (px or 0.0) / 1000.0
        stored = value.encode() if isinstance(value, str) else value
        self.values[key] = (stored, now_s() + ttl_s)
        return True

    async def eval(self, _script: str, _keys: int, key: str, token: str) -> int:
        """Delete a lease that is still one's own, the only script there is."""
        await self._reached(writes=True)
        if self._value(key) != token.encode():
            return 0
        del self.values[key]
        return 1

    async def disconnect(self, *, inuse_connections: bool) -> None:
        """Have nothing to drop."""

    async def aclose(self) -> None:
        """Have nothing to close."""

    def damage(self, change: Callable[[bytes], bytes]) -> None:
        """Change every value that stands here."""
        self.values = {key: (change(value), end) for key, (value, end) in self.values.items()}

    def _value(self, key: str) -> bytes | None:
        value, until_s = self.values.get(key, (b"", 0.0))
        return value if now_s() < until_s else None

    async def _reached(self, *, writes: bool) -> None:
        """Let a command arrive, if the server is well enough."""
        await asyncio.sleep(DELAYS.get(self.illness, 0.0))
        match self.illness:
            case "hangs":
                await asyncio.Event().wait()
            case "resets":
                raise ConnectionFailed
            case "read only" if writes:
                raise ReadOnlyError
            case "full" if writes:
                raise OutOfMemoryError
            case "loses":
                self.values.clear()
