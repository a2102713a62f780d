"""Every way in which a drawn case is asked: as JSON and as msgpack, without a key and with one."""

import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import hypothesis
import msgspec
import schemathesis
from hypothesis import HealthCheck, Phase
from schemathesis.core.parameters import ParameterLocation
from schemathesis.generation.case import Case
from schemathesis.generation.meta import TestPhase
from schemathesis.hooks import HookContext
from schemathesis.specs.openapi.checks import ignored_auth

from loopmargin_service.http.app import create_app
from loopmargin_service.http.settings import Settings
from tests.fuzz.amount import Progress
from tests.fuzz.contract import (
    MSGPACK,
    NO_KEYS,
    QUESTIONS,
    WHOLE,
    Document,
    odd_half,
    positive,
    served,
    standing,
    unchanged,
)
from tests.fuzz.ledger import Tally
from tests.unit.http.test_keys import SECRET, line

JSON = "application/json"
# The widest quota there is: what happens beyond a quota has tests of its own.
KEY_LINE = line("fuzz", units_per_min=600_000, burst_units=600_000)
# Spelled as the tool takes it away, to see whether the service misses it.
KEY = {"Authorization": f"Bearer fuzz.{SECRET}"}
# The document leaves it open whether a service wants keys. The one that wants none answers without
# one, which this check would call a fault; with keys it runs.
WITHOUT_KEYS = [ignored_auth]
OPEN = standing(create_app(NO_KEYS))
PROGRESS = Progress()
AMOUNT = hypothesis.settings(
    deadline=None,
    database=None,
    print_blob=True,
    # A failure is shown as it was drawn; making it smaller takes minutes.
    phases=(Phase.explicit, Phase.generate),
    suppress_health_check=list(HealthCheck),
)


class Way(NamedTuple):
    """The type of the body, that of the answer, and whether a key is wanted and sent."""

    media: str | None
    accept: str
    keyed: bool

    def __str__(self) -> str:
        """Name the way in a tally."""
        return f"{short(self.media)}>{short(self.accept)} {'key' if self.keyed else 'open'}"


def short(media: str | None) -> str:
    """Shorten the name of a media type."""
    return {JSON: "json", MSGPACK: "msgpack", None: "-"}.get(media, "other")


def keyed() -> Settings:
    """Set the service to want a key."""
    path = Path(tempfile.mkdtemp()) / "keys.jsonl"
    path.write_text(KEY_LINE)
    return msgspec.structs.replace(NO_KEYS, keys_file=str(path))


def without_key(case: Case[Any]) -> bool:
    """Tell whether a case is wrong in its header: only a service with keys can refuse that."""
    return case.meta is not None and case.meta.is_negative_at(ParameterLocation.HEADER)


def ways(case: Case[Any]) -> Iterator[Way]:
    """List the ways of a case; half of the cases want their answers in the other type.

    The tool itself tries every bound in both types, and types that are none of ours stay.
    """
    if without_key(case):
        yield Way(case.media_type, JSON, keyed=True)
        return
    random = case.meta is None or case.meta.phase.name is TestPhase.FUZZING
    ours = case.media_type in (JSON, MSGPACK) and "content-type" not in case.headers
    for media in (JSON, MSGPACK) if random and ours else (case.media_type,):
        packed = (media == MSGPACK) != odd_half(case)
        accept = MSGPACK if packed and case.operation.path in QUESTIONS else JSON
        yield Way(media, accept, keyed=False)
        yield Way(media, accept, keyed=True)


class Counted:
    """The document of a service with keys, and the tally of what it is asked at the moment."""

    def __init__(self, form: Document, read: Callable[[Document], Document] = unchanged) -> None:
        self.schema = served({**WHOLE, **form}, settings=keyed(), read=read)
        self._tally: Tally | None = None

        @self.schema.hook
        def after_validate(
            _context: HookContext, _case: Case[Any], _response: object, results: list[Any]
        ) -> None:
            """Take down which checks ran."""
            assert self._tally
            self._tally.checked(result.name for result in results)

    def count(self, tally: Tally) -> None:
        """Count a case and what follows from it."""
        self._tally = tally
        tally.cases += 1
        PROGRESS.count(tally.part.operation)


def ask_in_every_way(case: Case[Any], tally: Tally) -> None:
    """Hold every response against the document, and the responses against each other."""
    heard: dict[Way, schemathesis.Response] = {}
    for way in ways(case):
        case.media_type = way.media
        began_s = time.process_time()
        heard[way] = ask(case, way)
        took_s = time.process_time() - began_s
        tally.longest_s = max(tally.longest_s, took_s)
        assert took_s < Settings().deadline_s
        tally.response(str(way), heard[way].status_code)
    for way, response in heard.items():
        alike = heard.get(way._replace(keyed=False), response)
        assert response.status_code == alike.status_code
    if positive(case):
        assert len({response.status_code for response in heard.values()}) == 1
        # The name of an answer is the digest of the question: the same, however it was written.
        assert (
            len({str(response.headers.get("content-location")) for response in heard.values()}) == 1
        )


def key(case: Case[Any]) -> dict[str, str]:
    """Give the key, but to a case that is there to lack it."""
    return {} if without_key(case) else KEY


def ask(case: Case[Any], way: Way) -> schemathesis.Response:
    """Ask once and run every check."""
    accept = {"accept": way.accept} if case.operation.path in QUESTIONS else {}
    if way.keyed:
        return case.call_and_validate(headers={**accept, **key(case)})
    return case.call_and_validate(headers=accept, app=OPEN, excluded_checks=WITHOUT_KEYS)
