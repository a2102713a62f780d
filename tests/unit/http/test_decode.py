"""Bodies into questions: what is read, what is 400, what is 422."""

import json

import msgspec
import pytest

from loopmargin_service.http.decode import Reader
from loopmargin_service.http.media import Media
from loopmargin_service.http.problems import CONSTRAINT, MALFORMED, ProblemError, pointer
from loopmargin_service.questions import constraints
from loopmargin_wire.pump_head import PumpHeadQuestion
from tests.unit.http.parcel import Crate, Paper, ParcelQuestion

READER = Reader(ParcelQuestion)
GOOD = b'{"edges_mm":[1,2.5]}'


def refusal(body: bytes, media: Media = Media.JSON) -> ProblemError:
    """Read a body that is refused."""
    with pytest.raises(ProblemError) as caught:
        READER.read(body, media)
    return caught.value


@pytest.mark.parametrize(
    "body",
    [
        pytest.param(b"", id="empty"),
        pytest.param(b"   ", id="blank"),
        pytest.param(b"{", id="open brace"),
        pytest.param(GOOD[:-1], id="truncated"),
        pytest.param(GOOD + b"x", id="trailing garbage"),
        pytest.param(GOOD + b"\0", id="trailing NUL"),
        pytest.param(b"\xef\xbb\xbf" + GOOD, id="byte order mark"),
        pytest.param(GOOD.decode().encode("utf-16"), id="UTF-16"),
        pytest.param(b'{"edges_mm":[1],"label":"\xff"}', id="invalid UTF-8"),
        pytest.param(b'{"edges_mm":[1],"label":"\\ud800"}', id="lone surrogate"),
        pytest.param(b'{"edges_mm":["x"],"label":"\\ud800"}', id="lone surrogate after a fault"),
        pytest.param(b'{"edges_mm":["x"],"label":"\xff"}', id="invalid UTF-8 after a fault"),
        pytest.param(b'{"edges_mm":["x"],]', id="malformed after a fault"),
        pytest.param(b'{"edges_mm":[NaN]}', id="NaN"),
        pytest.param(b'{"edges_mm":[Infinity]}', id="Infinity"),
        pytest.param(b'{"edges_mm":[-Infinity]}', id="-Infinity"),
        pytest.param(b'{"edges_mm":["x",NaN]}', id="NaN after a fault"),
        pytest.param(b'{"edges_mm":[1e999,NaN]}', id="NaN after too large a number"),
        pytest.param(b'{"edges_mm":[01]}', id="leading zero"),
        pytest.param(b'{"edges_mm":[1,]}', id="trailing comma"),
        pytest.param(b'{"edges_mm":[1]/*x*/}', id="comment"),
        pytest.param(b"{'edges_mm':[1]}", id="single quotes"),
        pytest.param(b"[" * 100_000, id="nested too deeply"),
        pytest.param(b'{"inner":' * 50_000, id="objects nested too deeply"),
        pytest.param(b'{"edges_mm":["x"],"label":' + b"[" * 990 + b"]" * 990 + b"}", id="deep"),
        pytest.param(b'{"edges_mm":[1],"edges_mm":[2]}', id="duplicate key"),
        pytest.param(b'{"edges_mm":[1],"edges\\u005fmm":[2]}', id="duplicate key, escaped"),
        pytest.param(b'{"edges_mm":[1],"wrapping":{"kind":"paper","kind":"paper"}}', id="tag"),
    ],
)
def test_what_cannot_be_read_is_400(body: bytes) -> None:
    """Every trap of an encoding is a refusal of the caller's, never a fault of ours."""
    assert refusal(body).kind == MALFORMED


@pytest.mark.parametrize(
    ("body", "place"),
    [
        pytest.param(b"[]", "#", id="not an object"),
        pytest.param(b"null", "#", id="null"),
        pytest.param(b"{}", "#/edges_mm", id="missing"),
        pytest.param(b'{"edges_mm":"1"}', "#/edges_mm", id="text for a list"),
        pytest.param(b'{"edges_mm":["25.0"]}', "#/edges_mm/0", id="number in quotes"),
        pytest.param(b'{"edges_mm":[true]}', "#/edges_mm/0", id="true for a number"),
        pytest.param(b'{"edges_mm":[null]}', "#/edges_mm/0", id="null for a number"),
        pytest.param(b'{"edges_mm":[]}', "#/edges_mm", id="list too short"),
        pytest.param(b'{"edges_mm":[1,1,1,1,1,1]}', "#/edges_mm", id="list too long"),
        pytest.param(b'{"edges_mm":[1000.1]}', "#/edges_mm/0", id="above"),
        pytest.param(b'{"edges_mm":[-100.1]}', "#/edges_mm/0", id="below"),
        pytest.param(b'{"edges_mm":[1e999]}', "#/edges_mm/0", id="beyond every float"),
        pytest.param(b'{"edges_mm":[%s]}' % (b"9" * 400), "#/edges_mm/0", id="400 digits"),
        pytest.param(b'{"edges_mm":[%s]}' % (b"9" * 6000), "#/edges_mm/0", id="6000 digits"),
        pytest.param(b'{"edges_mm":[1],"wrap":1}', "#/wrap", id="unknown"),
        pytest.param(b'{"edges_mm":[1],"a/b~c d%":1}', "#/a~1b~0c%20d%25", id="odd name"),
        pytest.param(b'{"edges_mm":[1],"label":"a\\n"}', "#/label", id="line end in a name"),
        pytest.param(b'{"edges_mm":[1],"label":""}', "#/label", id="empty name"),
        pytest.param(b'{"edges_mm":[1],"label":7}', "#/label", id="number for text"),
        pytest.param(b'{"edges_mm":[1],"mood":"odd"}', "#/mood", id="word not listed"),
        pytest.param(b'{"edges_mm":[1],"fragile":1}', "#/fragile", id="one for true"),
        pytest.param(b'{"edges_mm":[1],"inner":{}}', "#/inner/wall_mm", id="optional part"),
        pytest.param(b'{"edges_mm":[1],"wrapping":{}}', "#/wrapping/kind", id="no kind"),
        pytest.param(b'{"edges_mm":[1],"wrapping":{"kind":"x"}}', "#/wrapping/kind", id="kind"),
        pytest.param(
            b'{"edges_mm":[1],"wrapping":{"kind":["paper"]}}', "#/wrapping/kind", id="list kind"
        ),
        pytest.param(b'{"edges_mm":[1],"wrapping":3}', "#/wrapping", id="number for a part"),
        pytest.param(
            b'{"edges_mm":[1],"wrapping":{"kind":"paper","layers":1.5}}',
            "#/wrapping/layers",
            id="part of a whole",
        ),
    ],
)
def test_what_breaks_a_limit_is_422_with_its_pointer(body: bytes, place: str) -> None:
    """The pointer is true: it leads to the field, or to where it should be."""
    actual = refusal(body)

    assert actual.kind == CONSTRAINT
    assert [place] == [pointer(fault.path) for fault in actual.faults]


def test_a_fault_says_value_limit_and_remedy() -> None:
    """The sentence is enough to mend the request."""
    actual = refusal(b'{"edges_mm":[1,5000]}')

    assert actual.detail == (
        "edges_mm[1] is 5000, above its upper limit of 1000; give a number from -100 to 1000 mm."
    )


def test_a_misspelt_field_gets_a_suggestion() -> None:
    """The likeliest name is offered."""
    assert refusal(b'{"edges_mm":[1],"lable":"x"}').detail.endswith("did you mean label?")


def test_all_faults_are_named_together() -> None:
    """One round trip is enough to learn everything."""
    body = b'{"edges_mm":[-500,"x"],"wrapping":{"kind":"crate"},"label":"","colour":1}'

    places = {pointer(fault.path) for fault in refusal(body).faults}

    assert places == {"#/colour", "#/label", "#/edges_mm/0", "#/edges_mm/1", "#/wrapping/wall_mm"}


def test_no_more_than_32_faults_are_named() -> None:
    """A hopeless body costs a bounded answer."""
    body = json.dumps({f"field{number}": 1 for number in range(1000)}).encode()

    actual = refusal(body)

    assert len(actual.faults) == 32
    assert actual.detail == "32 or more fields are at fault; errors names each."


def test_a_list_far_too_long_is_one_fault() -> None:
    """Entries beyond the limit are counted and not examined."""
    body = b'{"edges_mm":[' + b"1," * 50_000 + b'"x"]}'

    assert [fault.path for fault in refusal(body).faults] == [("edges_mm",)]


def test_a_whole_number_may_be_written_as_a_float() -> None:
    """JSON Schema counts 2.0 as an integer, and so do we."""
    body = b'{"edges_mm":[1],"wrapping":{"kind":"paper","layers":2.0}}'

    wrapping = READER.read(body, Media.JSON).wrapping

    assert wrapping == Paper(layers=2)
    assert isinstance(wrapping, Paper)
    assert isinstance(wrapping.layers, int)


def test_null_for_an_optional_part_is_the_same_as_leaving_it_out() -> None:
    """Null and absent mean the same."""
    assert READER.read(GOOD, Media.JSON) == READER.read(
        b'{"edges_mm":[1,2.5],"inner":null}', Media.JSON
    )


def test_msgpack_reads_like_json() -> None:
    """One question, two encodings."""
    body = msgspec.msgpack.encode({"edges_mm": [1, 2.5], "inner": {"kind": "crate", "wall_mm": 3}})

    actual = READER.read(body, Media.MSGPACK)

    assert ParcelQuestion(edges_mm=(1.0, 2.5), inner=Crate(wall_mm=3.0)) == actual


@pytest.mark.parametrize("number", [float("nan"), float("inf"), float("-inf")])
def test_msgpack_numbers_that_are_not_finite_are_422(number: float) -> None:
    """Msgpack can carry them; no question takes them."""
    actual = refusal(msgspec.msgpack.encode({"edges_mm": [number]}), Media.MSGPACK)

    assert [fault.path for fault in actual.faults] == [("edges_mm", 0)]
    assert "is not finite" in actual.detail


@pytest.mark.parametrize(
    "body",
    [
        pytest.param(b"\xc1", id="reserved byte"),
        pytest.param(msgspec.msgpack.encode({"edges_mm": [1]})[:-1], id="truncated"),
        pytest.param(msgspec.msgpack.encode({"edges_mm": [1]}) + b"\x00", id="trailing byte"),
        pytest.param(b"\x81\xa8edges_mm" + b"\x91" * 5000 + b"\x90", id="nested too deeply"),
        pytest.param(b"\x91" * 5000 + b"\x90", id="lists nested too deeply"),
        pytest.param(b"\x81\xa5label\xa2\xff\xfe", id="invalid UTF-8"),
        pytest.param(b"\x82\xa8edges_mm\x91\x01\xa8edges_mm\x91\x02", id="duplicate key"),
        pytest.param(b"\x81\x80\x01", id="a map as key"),
    ],
)
def test_msgpack_that_cannot_be_read_is_400(body: bytes) -> None:
    """The same care in the other encoding."""
    assert refusal(body, Media.MSGPACK).kind == MALFORMED


@pytest.mark.parametrize(
    "body",
    [
        pytest.param(b"\x82\xa8edges_mm\x91\x01\x01\x02", id="a number as key"),
        pytest.param(b"\x81\xa8edges_mm\xc4\x011", id="bytes for a list"),
        pytest.param(b"\x81\xa8edges_mm\x91\xd6\xff\x00\x00\x00\x01", id="a time for a number"),
        pytest.param(b"\x81\xa8edges_mm\x91\xd4\x05\x00", id="an extension for a number"),
        pytest.param(b"\x90", id="a list"),
    ],
)
def test_msgpack_kinds_that_json_lacks_are_422(body: bytes) -> None:
    """Bytes, times, extensions and odd keys are faults with a place."""
    assert refusal(body, Media.MSGPACK).kind == CONSTRAINT


def test_a_duplicate_is_named_with_its_place() -> None:
    """The name of the field that stands twice is in the refusal."""
    actual = refusal(b'{"edges_mm":[1],"inner":{"wall_mm":1,"wall_mm":2,"kind":"crate"}}')

    assert [fault.path for fault in actual.faults] == [("inner", "wall_mm")]
    assert "'wall_mm' is given more than once" in actual.detail


def test_a_deep_question_gets_a_deep_pointer() -> None:
    """Lists in lists keep their numbers in the pointer."""
    element = {"kind": "tube", "bore_mm": "wide", "length_mm": 100}
    body = {"branches": [{"name": "a", "elements": [element]}]}

    with pytest.raises(ProblemError) as caught:
        Reader(PumpHeadQuestion).read(json.dumps(body).encode(), Media.JSON)

    places = [pointer(fault.path) for fault in caught.value.faults]
    assert "#/branches/0/elements/0/bore_mm" in places


def test_a_fault_that_the_walk_misses_is_told_in_the_words_of_the_decoder(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A refusal is never turned into an acceptance or a bug."""
    monkeypatch.setattr(constraints, "faults", lambda _tree, _wanted: ())

    actual = refusal(b'{"edges_mm":[5000]}')

    assert actual.kind == CONSTRAINT
    assert actual.detail == "Expected `float` <= 1000.0 - at `$.edges_mm[0]`"
