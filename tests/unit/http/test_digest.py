"""Equal questions share a digest, other questions and editions never."""

import json
import re

import msgspec
from hypothesis import given
from hypothesis import strategies as st

from loopmargin_service.http.decode import Reader
from loopmargin_service.http.digest import PATTERN, canonical, digest
from loopmargin_service.http.media import Media
from tests.unit.http.parcel import Crate, ParcelQuestion

READER = Reader(ParcelQuestion)
EDGES = st.lists(st.floats(-100, 1000), min_size=1, max_size=5)


def name(question: ParcelQuestion, edition: str = "1") -> str:
    """Give the digest of a question."""
    return digest("parcel", edition, canonical(question)[1])


def asked(body: str) -> str:
    """Give the digest of a JSON body."""
    return name(READER.read(body.encode(), Media.JSON))


def test_order_space_numbers_and_spelled_defaults_do_not_matter() -> None:
    """What decodes alike is called alike."""
    assert asked('{"edges_mm":[1,2]}') == asked(
        ' {"inner":null, "fragile":false, "wrapping":{"layers":1.0,"kind":"paper"},'
        '"edges_mm":[1.0, 2e0], "label":"parcel"} '
    )


def test_msgpack_and_json_share_a_digest() -> None:
    """The encoding is not part of the question."""
    body = msgspec.msgpack.encode({"edges_mm": [1, 2]})

    assert asked('{"edges_mm":[1,2]}') == name(READER.read(body, Media.MSGPACK))


def test_minus_zero_is_zero_in_name_and_question() -> None:
    """The echo cannot differ where the digest does not, however deep the zero stands."""
    question = ParcelQuestion(edges_mm=(-0.0, 1.0), inner=Crate(wall_mm=-0.0))

    folded, spelled = canonical(question)

    assert b"-0.0" not in spelled
    assert "-" not in str(folded.edges_mm[0])
    assert name(ParcelQuestion(edges_mm=(0.0, 1.0), inner=Crate(wall_mm=0.0))) == name(question)


def test_a_name_that_looks_like_minus_zero_is_kept() -> None:
    """Only numbers are folded."""
    question = ParcelQuestion(label="a-0.0", edges_mm=(-0.01, 1.0))

    assert question == canonical(question)[0]


@given(EDGES, EDGES)
def test_other_numbers_have_another_digest(first: list[float], second: list[float]) -> None:
    """Two questions share a digest exactly when they are equal."""
    one, two = (ParcelQuestion(edges_mm=tuple(edges)) for edges in (first, second))

    assert (one == two) == (name(one) == name(two))


@given(EDGES)
def test_a_round_trip_keeps_the_digest(edges: list[float]) -> None:
    """Asking with the echoed question leads to the same answer."""
    question, spelled = canonical(ParcelQuestion(edges_mm=tuple(edges)))

    assert asked(json.dumps(json.loads(spelled))) == name(question)


def test_edition_and_question_are_part_of_the_name() -> None:
    """New numbers are stored elsewhere, and so is another question with the same fields."""
    question = ParcelQuestion(edges_mm=(1.0,))
    spelled = canonical(question)[1]

    names = {name(question), name(question, "2"), digest("other", "1", spelled)}

    assert len(names) == 3


def test_a_digest_has_its_published_form() -> None:
    """What is generated is what the path takes."""
    assert re.fullmatch(PATTERN, asked('{"edges_mm":[1]}'))
