"""Every fault of a document against the type it should have, each with its place and remedy.

The decoder stops at its first fault. Only when it has refused a body, or a machine at some value
of an axis, is the untyped tree walked here beside the description that msgspec gives of the type.
"""

import json
import math
import re
from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from itertools import islice
from typing import cast

from msgspec import NODEFAULT, inspect

from loopmargin_service.questions.refusals import Fault

MOST_FAULTS = 32
LONGEST_SHOWN = 60
Path = tuple[str | int, ...]
Schema = Mapping[str, object]
NO_SCHEMA: Schema = {}


def faults(value: object, wanted: inspect.Type) -> tuple[Fault, ...]:
    """Compare a tree with a type and collect the first 32 faults."""
    return tuple(islice(_faults(value, wanted, (), NO_SCHEMA), MOST_FAULTS))


def expected(wanted: inspect.Type, schema: Schema = NO_SCHEMA) -> str:
    """Say in words what a type takes."""
    match wanted:
        case inspect.Metadata():
            return expected(wanted.type, wanted.extra_json_schema or NO_SCHEMA)
        case inspect.FloatType():
            return f"a number {_range(wanted, schema)}"
        case inspect.IntType():
            return f"a whole number {_range(wanted, schema)}"
        case inspect.UnionType():
            return _union_expected(wanted, schema)
    return _expected_beside_numbers(wanted)


def _expected_beside_numbers(wanted: inspect.Type) -> str:
    match wanted:
        case inspect.StrType():
            return _text_expected(wanted)
        case inspect.LiteralType():
            return f"one of {', '.join(json.dumps(value) for value in wanted.values)}"
        case inspect.VarTupleType():
            return f"a list of {_entries(wanted)} entries"
        case inspect.StructType():
            return "an object with the fields " + ", ".join(_names(wanted))
    if isinstance(wanted, inspect.BoolType | inspect.NoneType):
        return "null" if isinstance(wanted, inspect.NoneType) else "true or false"
    raise TypeError(f"questions do not use {type(wanted).__name__}")


def _faults(value: object, wanted: inspect.Type, path: Path, schema: Schema) -> Iterator[Fault]:
    match wanted:
        case inspect.Metadata():
            yield from _faults(value, wanted.type, path, wanted.extra_json_schema or NO_SCHEMA)
        case inspect.FloatType() | inspect.IntType():
            yield from _number_faults(value, wanted, path, schema)
        case inspect.StrType():
            yield from _text_faults(value, wanted, path, schema)
        case inspect.VarTupleType():
            yield from _list_faults(value, wanted, path)
        case inspect.StructType():
            yield from _struct_faults(value, wanted, path)
        case inspect.UnionType():
            yield from _union_faults(value, wanted, path, schema)
        case _:
            if not _simply_fits(value, wanted):
                yield _other(value, wanted, path, schema)


def _simply_fits(value: object, wanted: inspect.Type) -> bool:
    match wanted:
        case inspect.LiteralType():
            return value in wanted.values and not isinstance(value, bool)
        case inspect.BoolType():
            return isinstance(value, bool)
    return value is None


def _number_faults(
    value: object, wanted: inspect.FloatType | inspect.IntType, path: Path, schema: Schema
) -> Iterator[Fault]:
    if isinstance(value, bool) or not isinstance(value, int | float):
        yield _other(value, wanted, path, schema)
    elif not math.isfinite(value):
        yield Fault(path, f"{_at(path)} is not finite; give {expected(wanted, schema)}.")
    elif isinstance(wanted, inspect.IntType) and value != int(value):
        yield _other(value, wanted, path, schema)
    elif wanted.ge is not None and value < wanted.ge:
        yield _beyond(value, f"below its lower limit of {wanted.ge:g}", wanted, path, schema)
    elif wanted.le is not None and value > wanted.le:
        yield _beyond(value, f"above its upper limit of {wanted.le:g}", wanted, path, schema)


def _beyond(
    value: float,
    limit: str,
    wanted: inspect.FloatType | inspect.IntType,
    path: Path,
    schema: Schema,
) -> Fault:
    return Fault(path, f"{_at(path)} is {_shown(value)}, {limit}; give {expected(wanted, schema)}.")


def _text_faults(
    value: object, wanted: inspect.StrType, path: Path, schema: Schema
) -> Iterator[Fault]:
    if not isinstance(value, str) or not _text_fits(value, wanted):
        yield _other(value, wanted, path, schema)


def _text_fits(value: str, wanted: inspect.StrType) -> bool:
    return (
        (wanted.min_length or 0) <= len(value)
        and (wanted.max_length is None or len(value) <= wanted.max_length)
        and (wanted.pattern is None or re.search(wanted.pattern, value) is not None)
    )


def _list_faults(value: object, wanted: inspect.VarTupleType, path: Path) -> Iterator[Fault]:
    if not isinstance(value, list):
        yield _other(value, wanted, path, NO_SCHEMA)
        return
    most = wanted.max_length
    if len(value) < (wanted.min_length or 0) or (most is not None and len(value) > most):
        yield Fault(path, f"{_at(path)} has {len(value)} entries; give {expected(wanted)}.")
    for place, entry in enumerate(value[:most]):
        yield from _faults(entry, wanted.item_type, (*path, place), NO_SCHEMA)


def _struct_faults(value: object, wanted: inspect.StructType, path: Path) -> Iterator[Fault]:
    if not isinstance(value, dict):
        yield _other(value, wanted, path, NO_SCHEMA)
        return
    known = {field.encode_name: field for field in wanted.fields}
    for name in value:
        if name not in known and name != wanted.tag_field:
            yield _unknown(name, wanted, path)
    for name, field in known.items():
        if name in value:
            yield from _faults(value[name], field.type, (*path, name), NO_SCHEMA)
        elif field.required:
            place = (*path, name)
            yield Fault(place, f"{_at(place)} is missing; give {expected(field.type)}.")


def _unknown(name: object, wanted: inspect.StructType, path: Path) -> Fault:
    names = _names(wanted)
    close = get_close_matches(str(name)[:LONGEST_SHOWN], names, n=1)
    remedy = f"did you mean {close[0]}?" if close else f"the fields are {', '.join(names)}."
    return Fault((*path, str(name)), f"{_shown(name)} is not a field of this object; {remedy}")


def _union_faults(
    value: object, wanted: inspect.UnionType, path: Path, schema: Schema
) -> Iterator[Fault]:
    if value is None and wanted.includes_none:
        return
    structs = _structs(wanted)
    if structs and isinstance(value, dict):
        yield from _tagged_faults(value, structs, path)
        return
    plain = [member for member in wanted.types if not isinstance(member, inspect.NoneType)]
    if len(plain) == 1:
        yield from _faults(value, plain[0], path, schema)
    else:
        yield _other(value, wanted, path, schema)


def _tagged_faults(
    value: dict[str, object], structs: list[inspect.StructType], path: Path
) -> Iterator[Fault]:
    if len(structs) == 1:
        yield from _struct_faults(value, structs[0], path)
        return
    field = str(structs[0].tag_field)
    tags = {struct.tag: struct for struct in structs}
    tag = value.get(field, NODEFAULT)
    if isinstance(tag, str) and tag in tags:
        yield from _struct_faults(value, tags[tag], path)
        return
    said = "is missing" if tag is NODEFAULT else f"is {_shown(tag)}"
    choice = ", ".join(json.dumps(known) for known in tags)
    yield Fault((*path, field), f"{_at((*path, field))} {said}; give one of {choice}.")


def _other(value: object, wanted: inspect.Type, path: Path, schema: Schema) -> Fault:
    return Fault(path, f"{_at(path)} is {_shown(value)}; give {expected(wanted, schema)}.")


def _names(wanted: inspect.StructType) -> list[str]:
    tag = [wanted.tag_field] if wanted.tag_field else []
    return tag + [field.encode_name for field in wanted.fields]


def _structs(wanted: inspect.UnionType) -> list[inspect.StructType]:
    return [member for member in wanted.types if isinstance(member, inspect.StructType)]


def _union_expected(wanted: inspect.UnionType, schema: Schema) -> str:
    structs = _structs(wanted)
    if len(structs) > 1:
        tags = ", ".join(json.dumps(struct.tag) for struct in structs)
        return f"an object whose {structs[0].tag_field} is one of {tags}"
    return " or ".join(expected(member, schema) for member in wanted.types)


def _range(wanted: inspect.FloatType | inspect.IntType, schema: Schema) -> str:
    unit = str(schema.get("x-unit", "1"))
    return f"from {wanted.ge:g} to {wanted.le:g}" + ("" if unit == "1" else f" {unit}")


def _text_expected(wanted: inspect.StrType) -> str:
    text = f"text of {wanted.min_length or 0} to {wanted.max_length} characters"
    return text if wanted.pattern is None else f"{text} that matches {published(wanted.pattern)}"


def published(pattern: str) -> str:
    """Write a pattern in the dialect of JSON Schema, where `$` ends the whole text."""
    return pattern.replace(r"(?![\s\S])", "$")


def _entries(wanted: inspect.VarTupleType) -> str:
    low, high = wanted.min_length or 0, wanted.max_length
    return str(low) if low == high else f"{low} to {high}"


def _at(path: Path) -> str:
    """Name the place as a person would write it, such as `branches[0].name`."""
    text = "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in path)
    return text.lstrip(".")[:200] or "the body"


def _shown(value: object) -> str:
    """Show a value of the body, shortened, in characters that any encoding carries."""
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list):
        return "a list"
    if not isinstance(value, str | int | float | None):
        return f"of a kind that JSON does not have ({type(value).__name__})"
    text = json.dumps(cast("object", value))
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}..."
