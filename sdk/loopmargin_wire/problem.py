"""Errors as RFC 9457 problem details, with one entry for each faulty field."""

from typing import Annotated

from msgspec import Meta, Struct


class FieldError(Struct, frozen=True, kw_only=True):
    """What is wrong with one field and what to change."""

    pointer: Annotated[
        str,
        Meta(
            max_length=500,
            description="JSON Pointer (RFC 6901) as a fragment, such as #/heat_w",
        ),
    ]
    detail: Annotated[str, Meta(max_length=2000)]


class Problem(Struct, frozen=True, kw_only=True):
    """A refusal: stable type and title, a detail that helps to mend the request."""

    type: Annotated[str, Meta(max_length=200)]
    title: Annotated[str, Meta(max_length=200)]
    status: Annotated[
        int, Meta(ge=400, le=599, extra_json_schema={"x-unit": "1", "format": "int32"})
    ]
    detail: Annotated[str, Meta(max_length=4000)]
    instance: Annotated[
        str, Meta(max_length=200, description="Request identifier of this occurrence.")
    ] = ""
    errors: Annotated[tuple[FieldError, ...], Meta(max_length=64)] = ()
