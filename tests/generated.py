"""Random questions that fit the wire contract, built from its msgspec types alone."""

from collections.abc import Callable
from typing import Any

import msgspec
from hypothesis import strategies as st
from msgspec import inspect


def questions(kind: type[msgspec.Struct]) -> st.SearchStrategy[Any]:
    """Draw decoded questions of a kind; defaults are left out about half of the time."""
    return _values(inspect.type_info(kind)).map(lambda drawn: msgspec.convert(drawn, kind))


def _values(info: inspect.Type) -> st.SearchStrategy[Any]:
    return _STRATEGIES[type(info)](info)


def _structs(info: inspect.StructType) -> st.SearchStrategy[dict[str, Any]]:
    fields = {field.encode_name: _values(field.type) for field in info.fields}
    needed = {field.encode_name for field in info.fields if field.required}
    drawn = st.fixed_dictionaries(
        {name: values for name, values in fields.items() if name in needed},
        optional={name: values for name, values in fields.items() if name not in needed},
    )
    if info.tag_field is None:
        return drawn
    return drawn.map(lambda values: {info.tag_field: info.tag, **values})


def _texts(info: inspect.StrType) -> st.SearchStrategy[str]:
    longest = info.max_length or 100
    if info.pattern is None:
        return st.text(min_size=info.min_length or 0, max_size=longest)
    return st.from_regex(info.pattern).filter(lambda text: len(text) <= longest)


def _lists(info: inspect.VarTupleType | inspect.ListType) -> st.SearchStrategy[list[Any]]:
    return st.lists(
        _values(info.item_type), min_size=info.min_length or 0, max_size=info.max_length
    )


_STRATEGIES: dict[type[inspect.Type], Callable[[Any], st.SearchStrategy[Any]]] = {
    inspect.Metadata: lambda info: _values(info.type),
    inspect.StructType: _structs,
    inspect.UnionType: lambda info: st.one_of([_values(member) for member in info.types]),
    inspect.FloatType: lambda info: st.floats(info.ge, info.le),
    inspect.IntType: lambda info: st.integers(info.ge, info.le),
    inspect.BoolType: lambda _: st.booleans(),
    inspect.NoneType: lambda _: st.none(),
    inspect.LiteralType: lambda info: st.sampled_from(info.values),
    inspect.VarTupleType: _lists,
    inspect.ListType: _lists,
    inspect.StrType: _texts,
}
