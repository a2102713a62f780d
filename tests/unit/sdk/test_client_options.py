"""Options: defaults, checks, variants, and what never shows."""

import asyncio
import copy
import math
import pickle
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any

import httpx
import pytest

import loopmargin
from loopmargin.options import Options
from tests.unit.sdk.standin import Ask, Service, client_of, example, refused

KEY = "key-5c1d"


@pytest.fixture(autouse=True)
def _no_variable(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("LOOPMARGIN_BASE_URL", raising=False)


def url_of(client: loopmargin.Client | loopmargin.AsyncClient) -> str:
    """Read the base URL that a client shows."""
    return repr(client).split("base_url='")[1].split("'")[0]


def mocked(base_url: str = "") -> httpx.Client:
    """HTTP client without sockets."""
    return httpx.Client(transport=httpx.MockTransport(Service()), base_url=base_url)


def test_defaults_are_the_stated_ones() -> None:
    """The defaults that the documentation states."""
    options = Options("http://x")

    assert (
        options.timeout,
        options.connect_timeout,
        options.deadline,
        options.max_retries,
        options.encoding,
    ) == (30.0, 2.0, 60.0, 2, "json")


def test_base_url_comes_from_argument_then_client_then_variable_then_default(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The nearest source wins, and an empty variable counts as unset."""
    assert url_of(loopmargin.Client(http_client=mocked())) == "http://127.0.0.1:8000"
    monkeypatch.setenv("LOOPMARGIN_BASE_URL", "")
    assert url_of(loopmargin.Client(http_client=mocked())) == "http://127.0.0.1:8000"
    monkeypatch.setenv("LOOPMARGIN_BASE_URL", "http://variable")
    assert url_of(loopmargin.Client(http_client=mocked())) == "http://variable"
    http = mocked(base_url="http://client")
    assert url_of(loopmargin.Client(http_client=http)) == "http://client"
    assert url_of(loopmargin.Client("http://given", http_client=http)) == "http://given"


def test_base_url_may_have_a_path() -> None:
    """A gateway may serve below a prefix; a slash at the end makes no difference."""
    service = Service()
    http = httpx.Client(transport=httpx.MockTransport(service))

    loopmargin.Client("https://gate.way/loop/", http_client=http).radiator_area(example())

    assert str(service.requests[0].url) == "https://gate.way/loop/v1/radiator-area"


@pytest.mark.parametrize(
    "url",
    ["localhost:8000", "ftp://x", "http://", "/v1", "http://x?y=1", "http://x#y", "http://x:port"],
)
def test_base_url_that_leads_nowhere_is_refused(url: str) -> None:
    """The message says how a base URL looks and where it may be set."""
    with pytest.raises(ValueError, match=r"LOOPMARGIN_BASE_URL as http\(s\)://host:port"):
        loopmargin.Client(url, http_client=mocked())


def test_password_in_base_url_is_refused_unseen() -> None:
    """Credentials belong into headers; the message does not repeat them."""
    with pytest.raises(ValueError, match="headers=") as caught:
        loopmargin.Client(f"http://me:{KEY}@x", http_client=mocked())

    assert KEY not in str(caught.value)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"timeout": 0.0}, "timeout is 0.0"),
        ({"timeout": math.nan}, "timeout is nan"),
        ({"deadline": math.inf}, "deadline is inf"),
        ({"deadline": -1.0}, "deadline is -1.0"),
        ({"connect_timeout": 1e6}, "connect_timeout is"),
        ({"max_retries": -1}, "max_retries is -1"),
        ({"max_retries": 11}, "give 0 to 10"),
        ({"encoding": "xml"}, '"json" or "msgpack"'),
        ({"headers": {"x key": "1"}}, "'x key' is not the name"),
        ({"headers": {"x-key": "a\r\nb"}}, "value of x-key"),
        ({"headers": {"x-key": "naïve"}}, "value of x-key"),
    ],
)
def test_options_that_cannot_be_meant_are_refused(changes: dict[str, Any], said: str) -> None:
    """The message names the option, its value and its limits."""
    with pytest.raises(ValueError, match=r"give|Give|header") as caught:
        client_of(Service(), **changes)

    assert said in str(caught.value)


def test_single_call_can_be_hurried() -> None:
    """`timeout` and `deadline` of one call leave the client as it is."""
    service = Service()
    client = client_of(service)

    client.radiator_area(example(), timeout=3.0)
    client.ask(loopmargin.RADIATOR_AREA, example(), deadline=2.0)
    client.radiator_area(example())

    reads = [request.extensions["timeout"]["read"] for request in service.requests]
    assert reads == [3.0, 2.0, 30.0]


def test_variant_adds_headers_and_keeps_the_rest() -> None:
    """Names are compared without case, and the first client stays as it was."""
    service = Service()
    client = client_of(service, headers={"X-Key": KEY, "Team": "a"}, timeout=5.0)

    variant = client.with_options(headers={"TEAM": "b", "Traceparent": "00-ab-cd-01"})
    variant.radiator_area(example())
    client.radiator_area(example())

    assert service.headers("x-key") == [KEY, KEY]
    assert service.headers("team") == ["b", "a"]
    assert service.headers("traceparent") == ["00-ab-cd-01", ""]
    assert service.requests[0].extensions["timeout"]["read"] == 5.0


def test_headers_cannot_replace_the_encoding() -> None:
    """Content-Type and Accept follow the encoding; the user agent may be replaced."""
    service = Service()
    own = {"Content-Type": "text/plain", "Accept": "text/plain", "User-Agent": "quoting/1"}

    client_of(service, headers=own, encoding="json").radiator_area(example())

    headers = service.requests[0].headers
    assert headers["content-type"] == "application/json"
    assert headers["user-agent"] == "quoting/1"
    assert headers["accept"].startswith("application/json,")


def test_client_introduces_itself() -> None:
    """The user agent is name and version, then Python's."""
    service = Service()

    client_of(service).radiator_area(example())

    python = ".".join(map(str, sys.version_info[:3]))
    agent = f"loopmargin/{loopmargin.__version__} python/{python}"
    assert [agent] == service.headers("user-agent")


def test_version_is_that_of_the_distribution() -> None:
    """The version stands in two files and must be one."""
    root = Path(__file__).parents[3]
    declared = tomllib.loads((root / "pyproject.toml").read_text())["project"]["version"]

    assert declared == loopmargin.__version__


def test_repr_shows_options_without_header_values() -> None:
    """Everything that explains a client's behaviour, and no key."""
    text = repr(client_of(Service(), headers={"X-Key": KEY}, deadline=7.0))

    assert "http://stand.in" in text
    assert "deadline=7.0" in text
    assert "x-key" in text
    assert KEY not in text


def frames_of_ours(traceback: TracebackType | None) -> str:
    """Locals of the package's frames, as a reporter of errors would show them."""
    shown = []
    while traceback is not None:
        if "/sdk/loopmargin/" in traceback.tb_frame.f_code.co_filename:
            shown.append(repr(traceback.tb_frame.f_locals))
        traceback = traceback.tb_next
    return "\n".join(shown)


@pytest.mark.parametrize(
    "service",
    [Service(httpx.ConnectError("refused")), Service(refused(422)), Service(ZeroDivisionError())],
)
def test_key_shows_neither_in_errors_nor_in_our_frames(ask: Ask, service: Service) -> None:
    """Text, pickle and the locals of our frames are free of header values."""
    with pytest.raises((loopmargin.LoopmarginError, ZeroDivisionError)) as caught:
        ask(service, headers={"X-Key": KEY})

    frames = frames_of_ours(caught.value.__traceback__)
    assert "x-key" in frames
    assert KEY not in frames
    assert KEY not in f"{caught.value} {caught.value!r}"
    # A library that teaches pickle about causes and tracebacks finds no header there either.
    cause = caught.value.__cause__
    assert KEY.encode() not in pickle.dumps([caught.value, getattr(cause, "__dict__", None)])
    assert service.headers("x-key")[:1] == [KEY]


@pytest.mark.parametrize("duplicate", [copy.copy, copy.deepcopy, pickle.dumps])
def test_client_refuses_to_be_copied(duplicate: Callable[[object], object]) -> None:
    """Connections cannot be copied; the message says what to do instead."""
    with pytest.raises(TypeError, match=r"make one in each process.*with_options\(\)"):
        duplicate(client_of(Service(), headers={"X-Key": KEY}))


def test_given_http_client_stays_open() -> None:
    """Who opened it closes it."""
    with mocked() as http:
        with loopmargin.Client("http://stand.in", http_client=http):
            pass
        assert not http.is_closed


def test_variant_closes_nothing() -> None:
    """Leaving a variant's block does not take the connections from the client."""
    with loopmargin.Client("http://stand.in") as client:
        with client.with_options(timeout=1.0):
            pass
        assert not client._http.is_closed  # noqa: SLF001 - whether it is open shows nowhere else
    assert client._http.is_closed  # noqa: SLF001 - the same


def test_asynchronous_client_closes_only_what_it_opened() -> None:
    """Variants and clients on a given HTTP client leave it open."""

    async def leave_blocks() -> list[bool]:
        async with loopmargin.AsyncClient("http://stand.in") as client:
            http = client._http  # noqa: SLF001 - whether it is open shows nowhere else
            async with client.with_options(timeout=1.0):
                pass
            open_within = not http.is_closed
        return [open_within, http.is_closed]

    assert asyncio.run(leave_blocks()) == [True, True]


def test_process_of_a_client_is_remembered(monkeypatch: pytest.MonkeyPatch) -> None:
    """In another process nothing is sent, and no variant is made."""
    service = Service()
    client = client_of(service)
    monkeypatch.setattr("os.getpid", lambda: -1)

    with pytest.raises(RuntimeError, match="make one in each process"):
        client.radiator_area(example())
    with pytest.raises(RuntimeError, match="make one in each process"):
        client.with_options(timeout=1.0)

    assert service.requests == []


def test_closed_client_says_so() -> None:
    """Asking after close is a mistake of the caller, not of the service."""
    client = loopmargin.Client("http://stand.in")
    client.close()
    client.close()

    with pytest.raises(RuntimeError, match="closed"):
        client.radiator_area(example())
