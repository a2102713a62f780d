"""The key of a client: where it comes from, where it goes, and that it shows nowhere."""

import logging
import traceback

import httpx
import pytest

import loopmargin
from loopmargin.options import Options
from tests.unit.sdk.standin import Ask, Service, answered, client_of, example, refused

KEY = "bench.0123456789-abcdefghij_KLMNOPQRST"


@pytest.fixture(autouse=True)
def _no_variable(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("LOOPMARGIN_API_KEY", raising=False)


def sent(service: Service) -> list[str]:
    """Read what was sent as authorization."""
    return service.headers("authorization")


def test_a_key_goes_with_every_request_as_the_bearer(ask: Ask) -> None:
    """RFC 6750, section 2.1; also when the request is tried again."""
    service = Service(refused(503), refused(429, retry_after="0"), answered())
    ask(service, api_key=KEY)

    assert sent(service) == [f"Bearer {KEY}"] * 3


def test_without_a_key_nothing_is_sent(ask: Ask) -> None:
    """A service without keys is asked as before."""
    service = Service()
    ask(service)

    assert sent(service) == [""]


def test_the_argument_comes_before_the_variable(monkeypatch: pytest.MonkeyPatch) -> None:
    """An empty argument sends none, and line ends of a file are no part of a key."""
    monkeypatch.setenv("LOOPMARGIN_API_KEY", f" {KEY}\n")

    assert Options("http://x").api_key == KEY
    assert Options("http://x", api_key="other.key").api_key == "other.key"
    assert Options("http://x", api_key=None).api_key == KEY
    assert Options("http://x", api_key="").api_key == ""


def test_a_header_of_the_callers_own_comes_before_both() -> None:
    """Some proxies want something else there."""
    service = Service()
    client = client_of(service, api_key=KEY, headers={"Authorization": "Basic abc"})
    client.radiator_area(example())

    assert sent(service) == ["Basic abc"]


def test_a_variant_keeps_the_key_or_has_another() -> None:
    """Like every other option."""
    service = Service()
    client = client_of(service, api_key=KEY)
    client.with_options(timeout=3.0).radiator_area(example())
    client.with_options(api_key="other.key").radiator_area(example())

    assert sent(service) == [f"Bearer {KEY}", "Bearer other.key"]


@pytest.mark.parametrize("key", ["two words", "line\nend", "naïve", "tab\t"])
def test_what_no_key_can_be_is_refused_and_not_repeated(key: str) -> None:
    """It may be most of a key that is right."""
    with pytest.raises(ValueError, match="api_key, or LOOPMARGIN_API_KEY") as caught:
        client_of(Service(), api_key=key)

    assert key not in str(caught.value)


@pytest.mark.parametrize("status", [400, 401, 403, 408, 414, 429, 431, 500, 503])
def test_a_key_shows_nowhere(ask: Ask, status: int, caplog: pytest.LogCaptureFixture) -> None:
    """Neither in an error nor in its trace, its log, its request or its causes."""
    caplog.set_level(logging.DEBUG)
    with pytest.raises(loopmargin.Refused) as caught:
        ask(Service(*[refused(status)] * 3), api_key=KEY, max_retries=0)
    shown = traceback.TracebackException.from_exception(caught.value, capture_locals=True)
    # Frames of the client only: the test itself holds the key in a name.
    frames = [frame for frame in shown.stack if "/sdk/loopmargin/" in frame.filename]
    told = "".join(traceback.StackSummary.from_list(frames).format())

    assert frames
    for text in (told, repr(caught.value), str(vars(caught.value)), caplog.text):
        assert KEY.partition(".")[2] not in text


def test_a_key_shows_in_no_repr() -> None:
    """Of the client, of its options, of an exchange that broke."""
    client = client_of(Service(httpx.ConnectError("no")), api_key=KEY, max_retries=0)
    with pytest.raises(loopmargin.NoAnswer) as caught:
        client.radiator_area(example())

    assert "0123456789" not in repr(client) + repr(Options("http://x", api_key=KEY))
    assert "0123456789" not in repr(caught.value) + repr(caught.value.cause)


@pytest.mark.parametrize("status", [401, 403, 414, 431])
def test_asking_again_with_the_same_key_is_no_use(ask: Ask, status: int) -> None:
    """These refusals are final; one request was sent."""
    service = Service(*[refused(status, retry_after="0")] * 3)
    with pytest.raises(loopmargin.Refused):
        ask(service, api_key=KEY)

    assert len(service.requests) == 1


@pytest.mark.parametrize("status", [408, 429])
def test_a_wait_that_is_told_is_carried_by_the_error(ask: Ask, status: int) -> None:
    """Where it is too long to be waited out."""
    with pytest.raises(loopmargin.Refused) as caught:
        ask(Service(refused(status, retry_after="90")))

    assert caught.value.retry_after_s == 90.0
