"""The tree of errors: which one, what it says, what it carries."""

import pickle

import httpx
import msgspec
import pytest

import loopmargin
from loopmargin import errors
from loopmargin_wire.problem import FieldError, Problem
from tests.unit.sdk.standin import Ask, Service, refused

CLASSES = {
    400: loopmargin.InvalidQuestion,
    401: loopmargin.KeyRefused,
    403: loopmargin.KeyRefused,
    404: loopmargin.Refused,
    405: loopmargin.Refused,
    406: loopmargin.Refused,
    408: loopmargin.TooSlow,
    413: loopmargin.InvalidQuestion,
    414: loopmargin.HeadTooLong,
    415: loopmargin.InvalidQuestion,
    422: loopmargin.InvalidQuestion,
    429: loopmargin.OverQuota,
    431: loopmargin.HeadTooLong,
    500: loopmargin.Unavailable,
    502: loopmargin.Unavailable,
    503: loopmargin.Unavailable,
    504: loopmargin.Unavailable,
}

TREE = """\
LoopmarginError
  NoAnswer
    TimedOut
    NotUnderstood
  Refused
    InvalidQuestion
    KeyRefused
    HeadTooLong
    TooSlow
    OverQuota
    Unavailable
"""


@pytest.mark.parametrize("status", CLASSES)
def test_status_chooses_the_class(ask: Ask, status: int) -> None:
    """Classes are named after what a caller does differently; the rest is the status."""
    with pytest.raises(loopmargin.Refused) as caught:
        ask(Service(refused(status)))

    assert (CLASSES[status], status) == (type(caught.value), caught.value.status)
    assert caught.value.problem.detail == "Come back."


def branch(kind: type[BaseException], depth: int = 0) -> str:
    """Draw a class and what derives from it."""
    below = "".join(branch(child, depth + 1) for child in kind.__subclasses__())
    return f"{'  ' * depth}{kind.__name__}\n{below}"


def test_tree_is_the_one_that_is_drawn() -> None:
    """The docstring of the module draws the classes that there are."""
    drawn = [line for line in (errors.__doc__ or "").splitlines() if line.startswith("    ")]
    names = [line.replace("│", " ").strip(" ├└─").split()[0] for line in drawn]

    assert branch(loopmargin.LoopmarginError) == TREE
    assert TREE.split() == names


def test_text_begins_with_the_request_id(ask: Ask) -> None:
    """A line of a log can be matched with the service's own."""
    with pytest.raises(loopmargin.OverQuota) as caught:
        ask(Service(refused(429, retry_after="90")))

    assert str(caught.value) == "ab-1: 429 Not now. Come back. Ask again after 90 s."


def test_text_has_no_request_id_when_there_is_none(ask: Ask) -> None:
    """Without a response there is nothing to begin with."""
    with pytest.raises(loopmargin.NoAnswer) as caught:
        ask(Service(httpx.ConnectError("refused")), max_retries=0)

    assert caught.value.request_id == ""
    assert str(caught.value).startswith("No answer from http://stand.in (ConnectError: refused)")


def test_text_names_the_first_fields_at_fault() -> None:
    """Five fields are spelled out, the others counted."""
    fields = tuple(FieldError(pointer=f"#/f{n}", detail="Too large.") for n in range(7))
    problem = Problem(type="x", title="Limits", status=422, detail="", errors=fields)

    text = str(loopmargin.InvalidQuestion(problem))

    assert text.startswith("422 Limits. #/f0: Too large. #/f1: Too large.")
    assert text.endswith("#/f4: Too large. 2 more fields are at fault.")


def test_exception_of_the_http_library_is_only_the_cause(ask: Ask) -> None:
    """Callers never need to know which HTTP library is underneath."""
    origin = httpx.ConnectError("refused")

    with pytest.raises(loopmargin.NoAnswer) as caught:
        ask(Service(origin), max_retries=0)

    assert not isinstance(caught.value, httpx.HTTPError)
    assert origin is caught.value.__cause__ is caught.value.cause


@pytest.mark.parametrize("error", [httpx.ConnectTimeout("late"), httpx.ReadTimeout("late")])
def test_silence_is_a_time_out(ask: Ask, error: Exception) -> None:
    """Waiting in vain has its own class, and the text names both limits."""
    with pytest.raises(loopmargin.TimedOut, match=r"within 3 s .* 60 s in all.*attempt 3"):
        ask(Service(error), timeout=3.0)


def test_compression_that_cannot_be_undone_is_not_understood(ask: Ask) -> None:
    """A broken Content-Encoding is the peer's fault and not asked again."""
    response = httpx.Response(
        200,
        headers={"content-encoding": "gzip", "content-type": "application/json"},
        stream=httpx.ByteStream(b"not gzip"),
    )
    service = Service(lambda _request: response)

    with pytest.raises(loopmargin.NotUnderstood, match="cannot be read"):
        ask(service)

    assert len(service.requests) == 1


@pytest.mark.parametrize(
    ("document", "said"),
    [
        ({}, "429."),
        ({"title": "Slow down"}, "429 Slow down."),
        ({"title": "Slow down", "balance": 3}, "429 Slow down."),
        ({"detail": "Wait.", "instance": "cd-2"}, "cd-2: 429. Wait."),
    ],
)
def test_members_of_a_problem_may_be_absent(
    ask: Ask, document: dict[str, object], said: str
) -> None:
    """RFC 9457 requires no member, and a gateway may send few."""
    body = msgspec.json.encode(document)
    media = {"content-type": "application/problem+json"}

    with pytest.raises(loopmargin.OverQuota) as caught:
        ask(Service(httpx.Response(429, content=body, headers=media)), max_retries=0)

    assert said == str(caught.value)


@pytest.mark.parametrize("body", [b"", b"[]", b"nonsense", b"\xff", b'{"status": "bad"}'])
def test_problem_that_does_not_decode_is_not_understood(ask: Ask, body: bytes) -> None:
    """A problem document in name only is no refusal."""
    media = {"content-type": "application/problem+json"}

    with pytest.raises(loopmargin.NotUnderstood):
        ask(Service(httpx.Response(422, content=body, headers=media)))


@pytest.mark.parametrize(
    "service",
    [
        Service(refused(422)),
        Service(refused(429, retry_after="90")),
        Service(httpx.ReadTimeout("late")),
        Service(httpx.Response(502, text="oops")),
    ],
)
def test_errors_survive_pickling(ask: Ask, service: Service) -> None:
    """An error raised in a worker process arrives whole."""
    with pytest.raises(loopmargin.LoopmarginError) as caught:
        ask(service, max_retries=0)

    copy = pickle.loads(pickle.dumps(caught.value))  # noqa: S301 - our own bytes

    assert (type(caught.value), str(caught.value)) == (type(copy), str(copy))
    assert vars(caught.value) == vars(copy)
