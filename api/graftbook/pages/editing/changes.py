"""What became of a record, as pages show it: the fields that stand otherwise, before and after."""

from typing import TypedDict
from urllib.parse import quote

from graftbook.catalogue.history.changes import WhatWord
from graftbook.editing.schemas import RecordRow
from graftbook.pages.editing.forms import HEAD, Form, typed


class Differing(TypedDict):
    """A field that stands otherwise in two forms."""

    title: str
    one: str
    other: str


class Changed(TypedDict):
    """What every account of a change says: of an edit, of a proposal, between two revisions."""

    what: WhatWord
    kind: str
    name: str
    before: list[RecordRow]
    after: list[RecordRow]


class ChangeShown(Changed):
    """The same with the fields that differ, and where the record is edited."""

    address: str
    fields: list[Differing]


def record_address(kind: str, name: str) -> str:
    """The page on which a record is edited."""
    return f"/edit/{kind}/{quote(name)}"


def change_shown(change: Changed) -> ChangeShown:
    """A change with its fields before and after, those only that differ; of what is new or gone, none."""
    fields = []
    if change["before"] and change["after"]:
        fields = differing(typed(change["kind"], change["before"]), typed(change["kind"], change["after"]))
    return {**change, "address": record_address(change["kind"], change["name"]), "fields": fields}


def differing(one: Form, other: Form) -> list[Differing]:
    """Fields that stand otherwise in two forms, in words."""
    return [
        {"title": _field_title(key), "one": one.get(key, ""), "other": other.get(key, "")}
        for key in dict.fromkeys([*one, *other])
        if one.get(key, "") != other.get(key, "")
    ]


def _field_title(key: str) -> str:
    row, _, name = key.partition(".")
    title = name.replace("_", " ")
    return title if row == HEAD else f"{title}, row {int(row) + 1}"
