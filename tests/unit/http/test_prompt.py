"""What needs no waiting is answered in the call that brought it, and says what it always says."""

import asyncio
import re
from pathlib import Path
from typing import Any

import pytest
from litestar import Litestar

from loopmargin_service.http.app import create_app
from loopmargin_service.http.settings import Settings
from tests.unit.http.memory_wire import BODY, PATIENCE_S, Caller, request, talking
from tests.unit.http.parcel import Counter, parcel_routes
from tests.unit.http.test_access import KEY
from tests.unit.http.test_keys import line


def without_names(response: bytes) -> bytes:
    """Take out what differs from one request to the next."""
    return re.sub(rb"(request-id: |;r=)[^\r;]+", rb"\1", response)


def statuses(said: bytes) -> list[int]:
    """Give the status of each response."""
    return [int(status) for status in re.findall(rb"HTTP/1.1 (\d{3}) ", said)]


def test_a_stored_answer_comes_at_once_and_is_the_same() -> None:
    """In one piece or more, and with the same bytes as from a task, which an Expect leads to."""

    async def talk(caller: Caller, _app: Litestar) -> None:
        assert caller.at_once(request()) == b""
        first = await caller.at_last()
        whole = request()
        in_one, in_two = caller.at_once(whole), caller.at_once(whole[:-5], whole[-5:])
        in_many = caller.at_once(*(whole[at : at + 7] for at in range(0, len(whole), 7)))
        by_task = await caller.at_last(request("expect: 100-continue"))
        before, _, by_task = by_task.partition(b"\r\n\r\n")

        assert before == b"HTTP/1.1 100 Continue"
        assert statuses(first + in_one + by_task) == [200, 200, 200]
        assert b"loopmargin-answers; hit" in in_one
        assert len({without_names(one) for one in (in_one, in_two, in_many, by_task)}) == 1
        assert re.search(rb"request-id: [0-9a-f]{12}-[0-9a-f]+\r\n", in_one)

    talking(talk)


def test_a_question_that_is_not_stored_goes_on_with_what_has_come() -> None:
    """Whole, in pieces, and with others behind it."""

    async def talk(caller: Caller, _app: Litestar) -> None:
        for number in range(3):
            body = b'{"edges_mm":[%d]}' % (number + 3)
            whole = request(body=body)
            cut = len(whole) - number * 8
            said = await caller.at_last(whole[:cut], *([whole[cut:]] if number else []))

            assert statuses(said) == [200]
            assert b'"total_mm":%d' % (number + 3) in said

    talking(talk)


def test_answers_come_in_the_order_of_the_questions() -> None:
    """Also when the first has to wait and the second would not."""

    async def talk(caller: Caller, _app: Litestar) -> None:
        await caller.at_last(request())
        other = request(body=b'{"edges_mm":[9]}')
        said = b""
        caller.at_once()
        caller.connection.data_received(request() + other + request() + request(body=b"{"))
        async with asyncio.timeout(PATIENCE_S):
            while len(statuses(said)) < 4:
                await asyncio.sleep(0.001)
                said += caller.at_once()

        assert statuses(said) == [200, 200, 200, 400]
        assert re.findall(rb'"total_mm":(\d+)', said) == [b"3", b"9", b"3"]

    talking(talk)


@pytest.mark.parametrize(
    "unusual",
    [
        request(line="POST /v1/parcel HTTP/1.0"),
        request("connection: close"),
        request("expect: 100-continue"),
        request(line="POST /v1/parcel?x=1 HTTP/1.1"),
        request(line="POST /v1/%70arcel HTTP/1.1"),
        request("content-encoding: gzip"),
        request(line="GET /v1/parcel HTTP/1.1"),
    ],
)
def test_what_is_unusual_is_left_to_a_task(unusual: bytes) -> None:
    """The front is there for what is asked most."""

    async def talk(caller: Caller, _app: Litestar) -> None:
        await caller.at_last(request())

        assert caller.at_once(unusual) == b""
        assert statuses(await caller.at_last())[-1] in {100, 200, 400, 405, 415}

    talking(talk)


def test_a_refusal_for_want_of_room_comes_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """With everything that a refusal says; a stored answer is still given."""

    async def talk(caller: Caller, app: Litestar) -> None:
        await caller.at_last(request())
        monkeypatch.setattr(type(app.state.bench.turns), "room", 0.0)
        refused = caller.at_once(request(body=b'{"edges_mm":[7]}'))
        stored = caller.at_once(request())

        assert statuses(refused + stored) == [503, 200]
        assert re.search(rb"retry-after: \d+\r\n", refused)
        assert b"content-type: application/problem+json\r\n" in refused
        name = re.search(rb"request-id: ([^\r]+)\r\n", refused)
        assert name is not None
        assert b'"instance":"%b"' % name[1] in refused
        counted = app.state.meters.registry.get_sample_value(
            "loopmargin_admission_refused_total", {"reason": "overloaded"}
        )
        assert counted == 1

    talking(talk)


def test_keys_and_quotas_hold_at_once(tmp_path: Path) -> None:
    """Without a key, with a wrong one, with the right one until its quota is used up."""
    keys = tmp_path / "keys"
    keys.write_text(line("bench", units_per_min=1, burst_units=3))
    right = f"authorization: {KEY}"

    async def talk(caller: Caller, app: Litestar) -> None:
        await caller.at_last(request(right))
        said = [
            caller.at_once(request(*fields))
            for fields in ((), (right + "x",), (right, right), (right,), (right,), (right,))
        ]

        assert [statuses(one) for one in said] == [[401], [401], [401], [200], [200], [429]]
        assert b"www-authenticate: Bearer" in said[0]
        assert all(b";r=%d;" % left in one for left, one in zip((1, 0, 0), said[3:], strict=True))
        assert b"retry-after: " in said[5]
        (account,) = app.state.front.guards._quotas._accounts.values()  # noqa: SLF001 - looked into
        assert account.open == 0

    talking(talk, keys_file=str(keys))


def test_what_is_refused_by_its_head_is_not_waited_for(tmp_path: Path) -> None:
    """The body that comes later is passed over; the connection goes on."""
    keys = tmp_path / "keys"
    keys.write_text(line("bench"))
    wrong, right = request(), request(f"authorization: {KEY}")

    async def talk(caller: Caller, _app: Litestar) -> None:
        refused = await caller.at_last(wrong[: -len(BODY)])
        later = await caller.at_last(wrong[-len(BODY) :] + right)

        assert statuses(refused + later) == [401, 200]

    talking(talk, keys_file=str(keys))


def test_who_leaves_before_the_body_is_there_is_counted_and_forgotten(tmp_path: Path) -> None:
    """As a request without a response, and its place among those open is free again."""
    keys = tmp_path / "keys"
    keys.write_text(line("bench"))

    async def talk(caller: Caller, app: Litestar) -> None:
        whole = request(f"authorization: {KEY}")
        caller.at_once(whole[:-3])
        (account,) = app.state.front.guards._quotas._accounts.values()  # noqa: SLF001 - looked into
        assert account.open == 1
        caller.connection.connection_lost(ConnectionResetError())
        async with asyncio.timeout(PATIENCE_S):
            while account.open:  # noqa: ASYNC110 - nothing tells when it is over
                await asyncio.sleep(0.001)
        count = app.state.meters.registry.get_sample_value
        left = {"route": "/v1/parcel", "method": "POST", "status": "0"}

        assert count("loopmargin_http_requests_total", left) == 1
        assert count("loopmargin_http_requests_in_flight") == 0

    talking(talk, keys_file=str(keys))


def test_a_stop_waits_for_a_body_that_is_on_its_way() -> None:
    """The connection ends with the answer and not before."""

    async def talk(caller: Caller, _app: Litestar) -> None:
        await caller.at_last(request())
        whole = request()
        caller.at_once(whole[:-3])
        caller.connection.shutdown()

        assert not caller.wire.closed
        assert statuses(await caller.at_last(whole[-3:])) == [200]
        assert caller.wire.closed

    talking(talk)


def test_a_key_that_is_taken_out_is_refused_at_once(tmp_path: Path) -> None:
    """Nothing of an earlier request with it is remembered."""
    keys = tmp_path / "keys"
    keys.write_text(line("bench") + line("other"))
    asked = request(f"authorization: {KEY}")

    async def talk(caller: Caller, app: Litestar) -> None:
        await caller.at_last(asked)
        before = caller.at_once(asked)
        keys.write_text(line("other"))
        app.state.keyring.reload()

        assert statuses(before + caller.at_once(asked)) == [200, 401]

    talking(talk, keys_file=str(keys))


def test_it_is_counted_and_told_like_every_other() -> None:
    """One series and one way to write a line, whoever answered."""
    told: list[tuple[Any, ...]] = []

    async def run() -> None:
        settings = Settings()
        app = create_app(
            settings,
            parcel_routes(Counter()),
            lambda one, alike, took_s: told.append(
                (alike.route, alike.status, alike.store, one.body_bytes > 0, took_s > 0)
            ),
        )
        caller = Caller(app, settings)
        for _ in range(2):
            await caller.at_last(request())
        whole = request()
        await caller.at_last(whole[:-1], whole[-1:])
        count = app.state.meters.registry.get_sample_value

        assert count("loopmargin_store_results_total", {"result": "hit"}) == 2
        assert count("loopmargin_http_requests_in_flight") == 0

    asyncio.run(run())

    assert told == [("/v1/parcel", 200, store, True, True) for store in ("stored", "hit", "hit")]


def test_a_mistake_of_ours_is_told_at_once_too(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """As a bug with a name, and the connection goes on."""

    async def talk(caller: Caller, app: Litestar) -> None:
        monkeypatch.delattr(type(app.state.front.repeats), "ready")
        said = caller.at_once(request())

        assert statuses(said) == [500]
        assert b"/problems/bug" in said
        assert "bug in request" in caplog.text
        assert not caller.wire.closed

    talking(talk)


def test_while_it_stops_each_response_closes_its_connection() -> None:
    """So none is left to break."""

    async def talk(caller: Caller, app: Litestar) -> None:
        await caller.at_last(request())
        app.state.readiness.draining = True
        said = await caller.at_last(request())

        assert b"connection: close\r\n" in said
        assert caller.wire.closed

    talking(talk)
