"""If-None-Match against a strong tag."""

import pytest

from loopmargin_service.http.conditional import entity_tag, matches

TAG = entity_tag(b"body")


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        (TAG, True),
        (b"W/" + TAG, True),
        (b"*", True),
        (b" * ", True),
        (b'"other", ' + TAG, True),
        (b'"a,b",W/"c",' + TAG + b' , "d"', True),
        (b'"other"', False),
        (b'W/"other"', False),
        (TAG.strip(b'"'), False),
        (b"", False),
        (b'"*"', False),
        (b'"unclosed', False),
        (b"garbage", False),
    ],
)
def test_the_condition_is_compared_weakly_with_lists_and_star(
    header: bytes,
    expected: bool,  # noqa: FBT001 - a column of the table
) -> None:
    """RFC 9110, section 13.1.2."""
    assert expected is matches(header, TAG)


def test_a_tag_is_strong_and_of_the_bytes() -> None:
    """Equal bytes, equal tag; one byte more, another tag."""
    assert entity_tag(b"body") == TAG
    assert entity_tag(b"body ") != TAG
    assert TAG.startswith(b'"')
