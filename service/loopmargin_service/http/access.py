"""The layer that lets in who has a key, where keys are asked for.

Health, documents and problem pages stay open, because supervisors, balancers and people
who read need no quota and learn nothing about anybody. Everything else wants a key, also
paths at which nothing is served.
"""

from collections.abc import Callable

from loopmargin_service.http.keys import Key, Keyring
from loopmargin_service.http.passing import Passing
from loopmargin_service.http.problems import KEY_REFUSED, ProblemError

OPEN_PATHS = frozenset({"/livez", "/readyz", "/openapi.json", "/docs", "/docs/style.css"})
OPEN_BELOW = "/problems/"
_CHALLENGE = b'Bearer realm="loopmargin"'
_WRONG = b'Bearer realm="loopmargin", error="invalid_token"'
_HOW = "send `Authorization: Bearer <id>.<secret>`"


class Access:
    """Refuses a request without a valid key; notes the key of one that has it."""

    def __init__(
        self, keyring: Keyring, refused: Callable[[str], None] = lambda _reason: None
    ) -> None:
        self._keyring = keyring
        self._refused = refused

    def enter(self, one: Passing) -> None:
        """Let one request in, or refuse it."""
        key = self._holder(one)
        outside = self._keyring.outside(key)
        if outside:
            self._refused("expired")
            raise _refusal(f"The key {key.id} {outside}; ask for a new one.", _WRONG)
        one.key = key
        one.state["key_id"] = key.id

    def _holder(self, one: Passing) -> Key:
        given = one.fields.get(b"authorization")
        if given is None:
            self._refused("missing")
            raise _refusal(f"This service asks for a key: {_HOW}.", _CHALLENGE)
        scheme, _, credentials = given.partition(b" ")
        if scheme.lower() != b"bearer" or len(one.every(b"authorization")) > 1:
            self._refused("missing")
            raise _refusal(f"One key of the Bearer scheme is wanted: {_HOW}.", _CHALLENGE)
        key = self._keyring.holder(credentials.strip())
        if key is None:
            self._refused("unknown")
            raise _refusal("No key has this id and this secret; look for a typing error.", _WRONG)
        return key


def is_open(path: str) -> bool:
    """Tell whether a path is served without a key."""
    return path in OPEN_PATHS or path.startswith(OPEN_BELOW)


def _refusal(detail: str, challenge: bytes) -> ProblemError:
    return ProblemError(KEY_REFUSED, detail, headers=((b"www-authenticate", challenge),))
