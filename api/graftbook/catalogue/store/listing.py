"""Records of one kind in name order, some at a time, by what stands in the columns of their own table."""

from collections.abc import Mapping, Sequence
from typing import Any, Literal, get_args, get_origin

from pydantic.fields import FieldInfo
from sqlalchemy import Connection, select

from graftbook.catalogue.format.records import KIND_BY_WORD
from graftbook.catalogue.history.snapshots import key_of
from graftbook.catalogue.loading.staging import table

BEGINS = "*"
"""Ends a value that others begin with. No name has it (`NAME_PATTERN`)."""
_END = "\U0010ffff"
_NAME = "name"


def filters_of(kind: str) -> dict[str, tuple[str, ...]]:
    """The columns that records of a kind are picked by: names and controlled words, each with the words that
    there are (empty: any name). `name` is what a record is called, whatever column holds it."""
    own, fields = table(kind).c, KIND_BY_WORD[kind].model_fields
    found = {
        column.name: _words(fields[column.name].annotation)
        for column in own
        if column.name in fields and _is_name(fields[column.name]) and getattr(column.type, "length", None)
    }
    named = {_NAME: ()} if kind != "component" else {}
    return {**found, **named}


def _is_name(field: FieldInfo) -> bool:
    """Whether a column holds a name or one of some words; free text and measures have no pattern."""
    named = any(getattr(each, "pattern", None) for each in field.metadata)
    return named or bool(_words(field.annotation))


def _words(annotation: Any) -> tuple[str, ...]:
    return get_args(annotation) if get_origin(annotation) is Literal else ()


def names_of(
    connection: Connection, kind: str, where: Mapping[str, str], after: str, limit: int
) -> Sequence[str]:
    """Names of records of a kind in their order, behind `after`; `where` gives columns of `filters_of` their
    value, or how it begins."""
    key = key_of(kind)
    query = select(key).where(key > after).distinct().order_by(key).limit(limit)
    for name, value in where.items():
        column = key if name == _NAME and kind != "component" else table(kind).c[name]
        if value.endswith(BEGINS):
            start = value.removesuffix(BEGINS)
            query = query.where(column.between(start, start + _END))
        else:
            query = query.where(column == value)
    return connection.execute(query).scalars().all()
