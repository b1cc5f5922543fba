"""The question of a closure as an address's parameters, or as a command's options."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Annotated, Any
from urllib.parse import urlencode

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from graftbook.http.errors import validated
from graftbook.http.fields import Day, Price, Word
from graftbook.problems import InvalidRequest, Problem
from graftbook.questions.schemas import (
    EVIDENCE,
    MOST_ALTERNATIVES,
    RULES,
    ClosureIn,
    Criteria,
    EvidenceWord,
    RulesWord,
)
from graftbook.rulebook.model import EffortWord, SeverityWord

Words = Annotated[list[Word], Field(max_length=200)]
LONGEST_ADDRESS = 2_000
"""Longer ones are cut by some servers on the way."""
_LIMITS = ("keep", "refuse", "effort_at_most", "price_at_most", "evidence_at_least")
_WISHES = ("fit", "upgrade", "remedy", "remedy_all", "clear")
"""The parameters that wish, in the order in which the body has them."""
_CALLED = {"options": "option", "keep_sections": "keep_section", "preference": "prefer"}
"""What the body calls otherwise."""
Few = Annotated[list[Word], Field(max_length=100)]


class ClosureQuery(BaseModel):
    """A closure's question in flat fields; lists repeat the parameter."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    build: Word | None = Field(None, description="name of a stored build")
    on: Day | None = Field(None, description="with `build`: as it stood on this day")
    chassis: Word | None = Field(None, description="chassis number", examples=["24PL-018412"])
    variant: Word | None = Field(None, description="variant; may be left out with a chassis number")
    built: Day | None = Field(None, description="day it was built")
    option: Few = Field([], description="an option it has")
    fitted: Words = Field([], description="`position=component` fitted today; `position=` is empty")
    on_the_bench: Words = Field([], description="a component at hand")
    upgrade: Words = Field([], description="a named upgrade", examples=[["front-discs"]])
    fit: Words = Field(
        [], description="fit this component, `number` or `number@position`", examples=[["QB-3310"]]
    )
    remedy: Words = Field([], description="remedy this known flaw")
    remedy_all: SeverityWord | None = Field(None, description="remedy every known flaw from this severity up")
    clear: Words = Field([], description="leave this position empty")
    keep: Words = Field([], description="keep this position as today")
    keep_section: Few = Field([], description="keep this section as today")
    refuse: Words = Field([], description="do not fit this component")
    effort_at_most: EffortWord = Field("cutting", description="`machining`: nothing that cannot be put back")
    price_at_most: Price | None = None
    nothing_visible: bool = False
    evidence_at_least: EvidenceWord = Field("no evidence", description=EVIDENCE)
    specification: Word | None = Field(None, description="stored specification, `name` or `name@version`")
    alternatives: Annotated[int, Field(ge=0, le=MOST_ALTERNATIVES)] = 0
    prefer: Criteria = Field(
        [], description="what sets are compared by, first to last; those left out follow in the usual order"
    )
    rules: RulesWord | None = Field(None, description=RULES)
    as_of: Annotated[int, Field(ge=1, le=2_000_000_000)] | None = Field(
        None, description="the revision whose catalogue answers; empty: the present one"
    )

    def body(self) -> ClosureIn:
        """The body of the same question. Raises InvalidRequest."""
        return validated(ClosureIn, self._fields())

    def parameter(self, pointer: str) -> str:
        """The parameter that a member of the body was made of; what is no such member is one already."""
        if not pointer.startswith("/"):
            return pointer
        first, *rest = pointer[1:].split("/")
        if first == "wishes" and rest:
            made = [name for name in _WISHES for _ in range(len(self._words_of(name)))]
            return made[int(rest[0])] if rest[0].isdigit() and int(rest[0]) < len(made) else "fit"
        if first == "vehicle" and not rest:
            return "chassis"
        name = rest[0] if first in ("vehicle", "limits") and rest else first
        return _CALLED.get(name, name)

    def _words_of(self, name: str) -> list[str]:
        given = getattr(self, name)
        return given if isinstance(given, list) else [given] if given else []

    def _fields(self) -> dict[str, Any]:
        vehicle: dict[str, Any] = {
            "build": self.build,
            "on": self.on,
            "chassis": self.chassis,
            "variant": self.variant,
            "built": self.built,
            "options": self.option,
            "on_the_bench": self.on_the_bench,
            "fitted": {p: c or None for p, _, c in (pair.partition("=") for pair in self.fitted)},
        }
        limits: dict[str, Any] = {
            "keep": self.keep,
            "keep_sections": self.keep_section,
            "refuse": self.refuse,
            "effort_at_most": self.effort_at_most,
            "price_at_most": self.price_at_most,
            "nothing_visible": self.nothing_visible,
            "evidence_at_least": self.evidence_at_least,
        }
        return {
            "vehicle": {key: value for key, value in vehicle.items() if value},
            "wishes": self._wishes(),
            "limits": limits,
            "specification": self.specification,
            "alternatives": self.alternatives,
            "rules": self.rules,
            "as_of": self.as_of,
            **({"preference": self.prefer} if self.prefer else {}),
        }

    def _wishes(self) -> list[dict[str, str]]:
        return [
            _fit(word) if name == "fit" else {name: word} for name in _WISHES for word in self._words_of(name)
        ]


@contextmanager
def pointing_at_parameters(asked: ClosureQuery) -> Iterator[None]:
    """Problems raised inside are told of parameters: who typed an address never saw the body."""
    try:
        yield
    except Problem as problem:
        raise _pointing(problem, asked.parameter) from None


def _pointing(problem: Problem, where: Callable[[str], str]) -> Problem:
    """The same problem with what `where` makes of each pointer; the one given may be kept elsewhere."""
    other = type(problem).__new__(type(problem), *problem.args)
    vars(other).update(vars(problem))
    other.pointer = where(problem.pointer) if problem.pointer else ""
    if errors := problem.fields.get("errors"):
        moved = [one | {"pointer": where(one["pointer"])} for one in errors]
        other.fields = problem.fields | {"errors": moved}
        start = f"{errors[0]['pointer']}: "
        if problem.detail.startswith(start):
            other.detail = f"{moved[0]['pointer']}: {problem.detail.removeprefix(start)}"
    return other


def address_of(body: ClosureIn, as_of: int) -> str | None:
    """Where the answer to a body stands, as of a revision; None where no address says the same."""
    return address_at(
        "/v1/closures", body.model_copy(update={"as_of": as_of}), lambda given: ClosureQuery(**given).body()
    )


def address_at(where: str, body: ClosureIn, read: Callable[[dict[str, Any]], ClosureIn]) -> str | None:
    """The address of a body's answer at `where`; None where none says the same.

    `read`: the fields of an address as a body. What a body and its address call alike stands for itself.
    """
    fields = body.model_dump(mode="json", exclude_defaults=True)
    given = {name: value for name, value in _flat(fields).items() if value not in (None, [])}
    try:
        same = _meant(read(given)) == _meant(body)
    except (ValidationError, InvalidRequest):
        return None
    address = f"{where}?{urlencode(given, doseq=True)}"
    return address if same and len(address) <= LONGEST_ADDRESS else None


def _flat(said: dict[str, Any]) -> dict[str, Any]:
    """The fields of a body as an address has them; what none has is left as it is, and then refused."""
    said = dict(said)
    vehicle, limits, wishes = said.pop("vehicle", {}), said.pop("limits", {}), said.pop("wishes", ())
    said.pop("deadline_seconds", None)
    as_of = said.pop("as_of", None)
    return {
        **{name: vehicle.get(name) for name in ("chassis", "variant", "built", "on_the_bench")},
        "option": vehicle.get("options"),
        "fitted": [f"{place}={number or ''}" for place, number in vehicle.get("fitted", {}).items()],
        **{name: limits.get(name) for name in _LIMITS},
        "keep_section": limits.get("keep_sections"),
        "nothing_visible": limits.get("nothing_visible"),
        "fit": [
            f"{w['fit']}@{w['position']}" if w.get("position") else w["fit"] for w in wishes if w.get("fit")
        ],
        **{name: [w[name] for w in wishes if w.get(name)] for name in ("upgrade", "remedy", "clear")},
        "remedy_all": next((w["remedy_all"] for w in wishes if w.get("remedy_all")), None),
        "prefer": said.pop("preference", None),
        **{name: _pairs(value) if isinstance(value, dict) else value for name, value in said.items()},
        "as_of": as_of,
    }


def _pairs(said: dict[str, str]) -> list[str]:
    return [f"{name}={value}" for name, value in said.items()]


def _meant(body: ClosureIn) -> dict[str, Any]:
    """What a body asks. Of the deadline nothing hangs: what it cut short has no address."""
    return body.model_dump(exclude={"deadline_seconds"}, exclude_defaults=True)


def _fit(word: str) -> dict[str, str]:
    number, at, position = word.rpartition("@")
    return {"fit": number, "position": position} if at else {"fit": word}
