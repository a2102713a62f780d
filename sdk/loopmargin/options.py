"""What a client may be told: where to ask, how patiently, in which encoding."""

import math
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, TypedDict, Unpack, get_args

import httpx

BASE_URL_VARIABLE = "LOOPMARGIN_BASE_URL"
API_KEY_VARIABLE = "LOOPMARGIN_API_KEY"
DEFAULT_BASE_URL = "http://127.0.0.1:8000"
LONGEST_TIME_S = 86_400.0
MOST_RETRIES = 10

Encoding = Literal["json", "msgpack"]


class CallOptions(TypedDict, total=False):
    """What a single call may override.

    `timeout` is the time for one attempt and `deadline` that for the whole call,
    retries and waits included, both in seconds.
    """

    timeout: float
    deadline: float


class OptionChanges(CallOptions, total=False):
    """What a client may be given, and `with_options` may change.

    `connect_timeout` is the time for opening a connection within an attempt, in seconds.
    `encoding` is that of question and answer: JSON can be read by whoever watches, msgpack
    is a little shorter and quicker. `api_key` is sent with every request and shown nowhere;
    it defaults to LOOPMARGIN_API_KEY, as does None, and "" sends none.
    """

    connect_timeout: float
    max_retries: int
    encoding: Encoding
    headers: Mapping[str, str]
    api_key: str | None


class Headers(dict[str, str]):
    """Header fields under lower-case names; the values never show, for one may be a key."""

    def __init__(self, fields: Mapping[str, str] | None = None) -> None:
        super().__init__({name.lower(): value for name, value in (fields or {}).items()})
        for name, value in self.items():
            if not re.fullmatch(r"[a-z0-9!#$%&'*+.^_`|~-]+", name):
                raise ValueError(f"headers: {name!r} is not the name of a header field.")
            if not re.fullmatch(r"[\x20-\x7e]*", value):
                raise ValueError(f"headers: the value of {name} may hold printable ASCII only.")

    def __repr__(self) -> str:
        """Show the names only."""
        return f"Headers({', '.join(sorted(self))})"

    __str__ = __repr__


@dataclass(frozen=True)
class Options:
    """Checked options of a client."""

    base_url: str
    timeout: float = 30.0
    connect_timeout: float = 2.0
    deadline: float = 60.0
    max_retries: int = 2
    encoding: Encoding = "json"
    headers: Mapping[str, str] = field(default_factory=Headers)
    api_key: str | None = field(default=None, repr=False)

    def __post_init__(self) -> None:
        """Refuse what cannot be meant, and hide the header values."""
        object.__setattr__(self, "headers", Headers(self.headers))
        if self.api_key is None:
            object.__setattr__(self, "api_key", os.environ.get(API_KEY_VARIABLE, "").strip())
        if not re.fullmatch(r"[\x21-\x7e]*", self.api_key or ""):
            raise ValueError(
                f"api_key, or {API_KEY_VARIABLE}, holds characters that no key has; give it as it"
                " was handed out, <id>.<secret>."
            )
        for name in ("timeout", "connect_timeout", "deadline"):
            seconds = getattr(self, name)
            if not (math.isfinite(seconds) and 0.0 < seconds <= LONGEST_TIME_S):
                raise ValueError(
                    f"{name} is {seconds!r}; give seconds above 0, at most {LONGEST_TIME_S:g}."
                )
        if not 0 <= self.max_retries <= MOST_RETRIES:
            raise ValueError(f"max_retries is {self.max_retries!r}; give 0 to {MOST_RETRIES}.")
        if self.encoding not in get_args(Encoding):
            raise ValueError(f'encoding is {self.encoding!r}; give "json" or "msgpack".')

    def changed(self, **changes: Unpack[OptionChanges]) -> "Options":
        """Copy with some options changed; headers are added to those that are there."""
        if "headers" in changes:
            changes["headers"] = Headers({**self.headers, **Headers(changes["headers"])})
        return replace(self, **changes)


def resolve_base_url(given: str | None, http_base_url: str = "") -> str:
    """Take the first of: argument, base URL of the injected client, environment, default."""
    url = given or http_base_url or os.environ.get(BASE_URL_VARIABLE) or DEFAULT_BASE_URL
    try:
        parsed = httpx.URL(url)
    except httpx.InvalidURL as error:
        raise ValueError(f"base_url cannot be read: {error}. {ADVICE}") from error
    if parsed.userinfo:
        raise ValueError("base_url holds a user name or password; give credentials in headers=.")
    if parsed.scheme not in {"http", "https"} or not parsed.host or parsed.query or parsed.fragment:
        raise ValueError(f"base_url is {url!r}. {ADVICE}")
    return url.rstrip("/")


ADVICE = f"Give base_url or {BASE_URL_VARIABLE} as http(s)://host:port, such as {DEFAULT_BASE_URL}."
