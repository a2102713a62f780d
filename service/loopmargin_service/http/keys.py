"""Who may ask: the keys of a file, read again when it changes.

One key a line, as JSON; empty lines and lines that begin with # are passed over. The file
holds no secret, only the SHA-256 of each: a secret has 256 random bits, so no slower hash
is needed. Several keys are valid at once, which is how one is replaced by the next.
"""

import hashlib
import hmac
import logging
import os
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, NamedTuple

import msgspec
from msgspec import Meta, Struct

LOG = logging.getLogger("loopmargin")
LONGEST_FILE_BYTES = 2**20
LOOK_EVERY_S = 1.0
# Long enough for every key that is made here, short enough to be hashed without thought.
LONGEST_CREDENTIALS = 256

Moment = Annotated[datetime, Meta(tz=True)]


class Key(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One key: its name, the hash of its secret, when it is valid, and limits of its own."""

    id: Annotated[str, Meta(pattern=r"^[a-z0-9][a-z0-9-]{0,31}(?![\s\S])")]
    sha256: Annotated[str, Meta(pattern=r"^[0-9a-f]{64}(?![\s\S])")]
    not_before: Moment | None = None
    not_after: Moment | None = None
    units_per_min: Annotated[int, Meta(ge=1, le=600_000)] | None = None
    burst_units: Annotated[int, Meta(ge=2, le=600_000)] | None = None
    at_once: Annotated[int, Meta(ge=1, le=10_000)] | None = None

    def outside(self, now: datetime) -> str:
        """Say why the key is not valid at a moment; nothing when it is."""
        if self.not_before is not None and now < self.not_before:
            return f"is valid only from {self.not_before.isoformat()}"
        if self.not_after is not None and now >= self.not_after:
            return f"was valid until {self.not_after.isoformat()}"
        return ""


class KeysError(ValueError):
    """The file of keys cannot be used; the text says why and names the line."""


class _Held(NamedTuple):
    key: Key
    hashed: bytes


# Stands in for a key that is not there, so that looking for one takes as long as for another.
_NOBODY = _Held(Key(id="nobody", sha256="0" * 64), bytes(32))


class Keyring:
    """The keys of a file; a file that turns bad leaves the keys that were read before."""

    def __init__(
        self,
        path: Path,
        wall: Callable[[], float] = time.time,
        clock: Callable[[], float] = time.monotonic,
        failed: Callable[[], None] = lambda: None,
    ) -> None:
        self._failed = failed
        self._path = path
        self._wall = wall
        self._clock = clock
        self._looked_s = clock()
        self._seen = _signature(path)
        self._held = read_keys(path)
        self.failing = False

    def __len__(self) -> int:
        """Count the keys."""
        return len(self._held)

    def holder(self, credentials: bytes) -> Key | None:
        """Find the key that `id.secret` belongs to; unknown and wrong take the same work."""
        self.look()
        name, _, secret = credentials[:LONGEST_CREDENTIALS].partition(b".")
        held = self._held.get(name, _NOBODY)
        same = hmac.compare_digest(hashlib.sha256(secret).digest(), held.hashed)
        return held.key if same else None

    def outside(self, key: Key) -> str:
        """Say why a key is not valid now; nothing when it is."""
        if key.not_before is None and key.not_after is None:
            return ""
        return key.outside(datetime.fromtimestamp(self._wall(), UTC))

    def look(self) -> None:
        """Read the file again if it has changed, at most once a second."""
        now_s = self._clock()
        if now_s - self._looked_s < LOOK_EVERY_S:
            return
        self._looked_s = now_s
        signature = _signature(self._path)
        if signature != self._seen:
            self._seen = signature
            self.reload()

    def looked_failing(self) -> bool:
        """Look, and tell whether the file of now cannot be used."""
        self.look()
        return self.failing

    def reload(self) -> None:
        """Read the file now; when it cannot be used, keep the keys and say so."""
        try:
            self._held = read_keys(self._path)
        except KeysError as error:
            self._failed()
            self.failing = True
            LOG.error("the keys of before stay valid: %s", error)  # noqa: TRY400 - no bug of ours
            return
        self.failing = False
        LOG.warning("%d keys read from %s", len(self._held), self._path.name)


def hash_of(secret: str) -> str:
    """Hash a secret as the file holds it."""
    return hashlib.sha256(secret.encode()).hexdigest()


def read_keys(path: Path) -> dict[bytes, _Held]:
    """Read every key of a file, or refuse the file whole."""
    try:
        with path.open("rb") as opened:
            content = opened.read(LONGEST_FILE_BYTES + 1)
        lines = content.decode().splitlines()
    except OSError as error:
        raise KeysError(f"the file of keys cannot be read: {error.strerror}.") from None
    except UnicodeDecodeError:
        raise KeysError("the file of keys is not UTF-8.") from None
    if len(content) > LONGEST_FILE_BYTES:
        raise KeysError(f"the file of keys is longer than {LONGEST_FILE_BYTES} bytes.")
    held: dict[bytes, _Held] = {}
    for number, line in enumerate(lines, start=1):
        if line.strip() and not line.lstrip().startswith("#"):
            key = _key(line, number)
            if key.id.encode() in held:
                raise KeysError(f"line {number}: the id {key.id} is there twice; rename one.")
            held[key.id.encode()] = _Held(key, bytes.fromhex(key.sha256))
    if not held:
        raise KeysError("the file of keys holds no key; nobody could ask.")
    return held


def _key(line: str, number: int) -> Key:
    try:
        key = msgspec.json.decode(line, type=Key)
    except msgspec.DecodeError as error:
        # What stands in the line is not shown: it may be a secret that was pasted by mistake.
        raise KeysError(f"line {number}: {error}.") from None
    if key.not_before and key.not_after and key.not_before >= key.not_after:
        raise KeysError(f"line {number}: not_before is not before not_after.")
    return key


def _signature(path: Path) -> tuple[int, int, int] | None:
    """Tell one state of a file from another; a mounted secret changes by its inode."""
    try:
        found = os.stat(path)  # noqa: PTH116 - the same, in a third of the time
    except OSError:
        return None
    return found.st_ino, found.st_mtime_ns, found.st_size
