"""From what the framework raises to the error tree, and from the tree to the OpenAPI document.

What is wrong with a value that somebody sent is told as a fitter would say it: the validation library has its
own words for each kind of mistake, which speak of dictionaries and patterns.

The mistakes of an edit are a problem like any other.
"""

from collections.abc import Sequence
from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field, GetPydanticSchema, ValidationError

from graftbook.catalogue.format.fields import mistake_in_words
from graftbook.catalogue.format.sheets import Mistake
from graftbook.catalogue.loading.load import LoadReport
from graftbook.http.contract.headers import carries
from graftbook.http.responses import PROBLEM_JSON
from graftbook.http.values import capital
from graftbook.problems import (
    ImportRefused,
    InvalidRequest,
    MalformedRequest,
    Problem,
    UnsupportedMedia,
    begun,
    printable,
)

Model = TypeVar("Model", bound=BaseModel)

MOST_MISTAKES = 100


class MistakeOut(BaseModel):
    """One field that is wrong."""

    pointer: str = Field(description="JSON pointer (RFC 6901) into the body, or the parameter's name")
    message: str


class ProblemOut(BaseModel):
    """A problem document (RFC 9457). `type` is stable; further members depend on it."""

    model_config = ConfigDict(extra="allow")

    type: str
    title: str
    status: int
    detail: str | None = None
    pointer: str | None = Field(None, description="JSON pointer of the field that is wrong")
    near: list[str] | None = Field(None, description="names like the one that is not known")
    errors: list[MistakeOut] | None = Field(None, description="every field that is wrong")
    request_id: str | None = None


ProblemMembers = Annotated[dict[str, Any], GetPydanticSchema(lambda _, handler: handler(ProblemOut))]
"""The same as its writer gives it: a type of problem may have members of its own."""


def pointer_of(location: Sequence[str | int]) -> str:
    """`("body", "wishes", 0, "fit")` as "/wishes/0/fit" (RFC 6901 escapes)."""
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in location)


def problem_from_mistakes(mistakes: Sequence[Any]) -> Problem:
    """The framework's validation errors as one problem that lists every field."""
    if any(m["type"] in ("json_invalid", "json_type") for m in mistakes):
        where = next(m for m in mistakes if m["type"] in ("json_invalid", "json_type"))
        reason = (where.get("ctx") or {}).get("error", "")
        return MalformedRequest(f"The body is not JSON: {printable(reason)}".rstrip(": "))
    if any(isinstance(m.get("input"), bytes) and tuple(m["loc"]) == ("body",) for m in mistakes):
        return UnsupportedMedia("Send JSON, with Content-Type: application/json")
    errors = [_error(m) for m in mistakes[:MOST_MISTAKES]]
    first = errors[0]
    detail = f"{first['pointer'] or 'The body'}: {first['message']}"
    if len(mistakes) > 1:
        detail += f" (and {len(mistakes) - 1} more)"
    return InvalidRequest(
        detail, pointer=first["pointer"] if first["pointer"].startswith("/") else "", errors=errors
    )


def validated(model: type[Model], value: Any) -> Model:
    """The value as its model reads it. Raises InvalidRequest and what else `problem_from_mistakes` gives."""
    try:
        return model.model_validate(value)
    except ValidationError as error:
        raise problem_from_mistakes(error.errors()) from error


_TAGGED = ("body", "events")
"""Where each item says its form by a word: the library puts that word into the place, the body has it not."""


def _error(mistake: Any) -> dict[str, str]:
    location = tuple(mistake["loc"])
    if location[:2] == _TAGGED and len(location) > 3:
        location = (*location[:3], *location[4:])
    place = location[0] if location else "body"
    inside = location[1:] if place in ("body", "query", "path", "header") else location
    pointer = (
        pointer_of(inside) if place not in ("query", "path", "header") else ".".join(map(str, inside[:1]))
    )
    return {"pointer": printable(pointer), "message": begun(printable(mistake_in_words(mistake)))}


def answers(
    model: Any,
    *leaves: type[Problem],
    status: int = 200,
    headers: Sequence[str] = (),
    unchanged: str = "",
) -> dict[int | str, dict[str, Any]]:
    """The `responses` of a route that answers with this document, or with one of these problems.

    `headers`: those that the answer has, or may have. `unchanged`: what 304 says, where there is one.
    """
    documented_answers: dict[int | str, dict[str, Any]] = {status: {"model": model}}
    if headers:
        documented_answers[status] |= carries(*headers)
    if unchanged:
        documented_answers[304] = {"description": unchanged}
    return documented_answers | documented(*leaves)


def documented(*leaves: type[Problem]) -> dict[int | str, dict[str, Any]]:
    """The `responses` of a route for the problems it may answer with, grouped by status."""
    by_status: dict[int | str, list[type[Problem]]] = {}
    for leaf in leaves:
        by_status.setdefault(leaf.status, []).append(leaf)
        if hasattr(leaf, "what") and leaf.status == 404:
            by_status.setdefault(422, []).append(leaf)
    return {status: _response(int(status), kinds) for status, kinds in sorted(by_status.items(), key=str)}


def _response(status: int, kinds: list[type[Problem]]) -> dict[str, Any]:
    examples = {
        kind.type.rsplit("/", 1)[1]: {
            "summary": kind.title,
            "value": {"type": kind.type, "title": kind.title, "status": status},
        }
        for kind in kinds
    }
    return {
        "description": "; ".join(dict.fromkeys(kind.title for kind in kinds)),
        "content": {
            PROBLEM_JSON: {"schema": {"$ref": "#/components/schemas/ProblemOut"}, "examples": examples}
        },
    }


def mistake_document(mistake: Mistake) -> dict[str, Any]:
    """One mistake as facts: file, line, kind of record, field, what is wrong and what to do.

    In a workbook the line is the row, and its sheet and its cell are told too.
    """
    place = mistake.place
    return {
        "file": place.file,
        "line": place.line,
        **({"sheet": place.sheet} if place.sheet else {}),
        **({"cell": place.cell} if place.cell else {}),
        "record": mistake.kind,
        "field": mistake.field,
        "message": begun(mistake.message).encode("utf-8", "replace").decode(),
    }


def refused(report: LoadReport) -> ImportRefused:
    """The problem that lists the mistakes of a load: all, or those after which it was not looked further."""
    return ImportRefused(
        f"{capital(report.mistake_count)}; nothing was stored",
        mistakes=[mistake_document(m) for m in report.mistakes],
        more_mistakes=report.stopped,
    )
