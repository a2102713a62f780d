"""Field names given twice are found in both encodings."""

import json
import math
import time
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopmargin_service.http import duplicates

TREES = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**63), 2**64 - 1) | st.text() | st.floats(),
    lambda inner: st.lists(inner, max_size=20) | st.dictionaries(st.text(), inner, max_size=20),
    max_leaves=40,
)


@given(TREES)
def test_json_without_duplicates_has_none(tree: object) -> None:
    """No false alarm, whatever the document."""
    assert duplicates.in_json(json.dumps(tree).replace("NaN", "0").replace("Infinity", "0")) is None


@given(TREES)
def test_msgpack_without_duplicates_has_none(tree: object) -> None:
    """No false alarm in our own encoding."""
    assert duplicates.in_msgpack(msgspec.msgpack.encode(tree)) is None


@given(TREES)
def test_the_key_reader_walks_over_every_format(tree: object) -> None:
    """The exact reader comes to the end of a body and not past it."""
    body = msgspec.msgpack.encode(tree)
    reader = duplicates._Keys(body)  # noqa: SLF001 - the slow path, which encoding again avoids

    assert reader.first_double() is None
    assert len(body) == reader.at


@pytest.mark.parametrize(
    ("text", "path"),
    [
        ('{"a":1,"a":1}', ("a",)),
        ('{"b":[{"a":1},{"a":1,"c":2,"a":3}]}', ("b", 1, "a")),
        ('{"a":{"b":1,"b":2},"a":0}', ("a",)),
    ],
)
def test_json_duplicates_are_found_with_their_place(text: str, path: tuple[Any, ...]) -> None:
    """The outermost is told first."""
    assert path == duplicates.in_json(text)


@pytest.mark.parametrize(
    "value",
    [
        pytest.param(b"\xca\x3f\x80\x00\x00", id="float 32"),
        pytest.param(b"\xcb\x3f\xf0\x00\x00\x00\x00\x00\x00", id="float 64"),
        pytest.param(b"\xcc\x05", id="long uint 8"),
        pytest.param(b"\xcd\x00\x05", id="long uint 16"),
        pytest.param(b"\xce\x00\x00\x00\x05", id="long uint 32"),
        pytest.param(b"\xcf" + bytes(8), id="long uint 64"),
        pytest.param(b"\xd0\x05", id="int 8"),
        pytest.param(b"\xd1\x00\x05", id="int 16"),
        pytest.param(b"\xd2\x00\x00\x00\x05", id="int 32"),
        pytest.param(b"\xd3" + bytes(8), id="int 64"),
        pytest.param(b"\xd9\x01a", id="str 8"),
        pytest.param(b"\xda\x00\x01a", id="str 16"),
        pytest.param(b"\xdb\x00\x00\x00\x01a", id="str 32"),
        pytest.param(b"\xc4\x01a", id="bin 8"),
        pytest.param(b"\xc5\x00\x01a", id="bin 16"),
        pytest.param(b"\xc6\x00\x00\x00\x01a", id="bin 32"),
        pytest.param(b"\xd4\x05a", id="fixext 1"),
        pytest.param(b"\xd5\x05ab", id="fixext 2"),
        pytest.param(b"\xd6\x05abcd", id="fixext 4"),
        pytest.param(b"\xd7\x05abcdefgh", id="fixext 8"),
        pytest.param(b"\xd8\x05" + b"a" * 16, id="fixext 16"),
        pytest.param(b"\xc7\x03\x05abc", id="ext 8"),
        pytest.param(b"\xc8\x00\x03\x05abc", id="ext 16"),
        pytest.param(b"\xc9\x00\x00\x00\x03\x05abc", id="ext 32"),
        pytest.param(b"\xdc\x00\x01\x05", id="array 16"),
        pytest.param(b"\xdd\x00\x00\x00\x01\x05", id="array 32"),
        pytest.param(b"\xde\x00\x01\xa1z\x05", id="map 16"),
        pytest.param(b"\xdf\x00\x00\x00\x01\xa1z\x05", id="map 32"),
        pytest.param(b"\xc0", id="nil"),
        pytest.param(b"\xc3", id="true"),
        pytest.param(b"\xff", id="minus one"),
    ],
)
def test_msgpack_duplicates_are_found_behind_every_format(value: bytes) -> None:
    """Spellings that an encoder of ours never makes are read as well."""
    assert duplicates.in_msgpack(b"\x83\xa1a" + value + b"\xa1k\x01\xa1k\x01") == ("k",)


def test_msgpack_duplicates_are_found_with_their_place() -> None:
    """Through lists and maps."""
    assert duplicates.in_msgpack(b"\x81\xa1b\x92\x01\x82\xa1a\x01\xa1a\x02") == ("b", 1, "a")


def test_a_whole_number_of_many_digits_costs_nothing() -> None:
    """It is infinite before it is an integer."""
    assert duplicates.tree("9" * 5000) == math.inf


def test_the_last_of_many_names_given_twice_costs_no_more_than_the_first() -> None:
    """A long body with one double at its end must not hold up everybody else."""
    names = [f'"k{number}":0' for number in range(20_000)]

    def seconds(doubled: str) -> float:
        text = "{" + ",".join([*names, doubled]) + "}"
        begun = time.perf_counter()
        assert duplicates.in_json(text) is not None
        return time.perf_counter() - begun

    first, last = (min(seconds(name) for _ in range(3)) for name in (names[0], names[-1]))

    # Comparing each name with every other took 500 times as long.
    assert last < 20 * first
