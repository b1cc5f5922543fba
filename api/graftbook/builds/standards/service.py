"""A specification asked of every variant it is for, in one pass; the row of each leads to its answer."""

from collections import Counter
from decimal import Decimal
from time import monotonic
from urllib.parse import urlencode

from sqlalchemy import Engine

from graftbook.builds.life.documents import open_document
from graftbook.builds.life.standing import standing
from graftbook.builds.standards import schemas as s
from graftbook.builds.stored import store
from graftbook.builds.stored.documents import (
    SpecificationOut,
    build_document,
    specification_document,
    specification_in,
)
from graftbook.catalogue.store.lists import VariantOut, list_variants
from graftbook.closure.search.deadline import OutOfTime
from graftbook.database import in_utc, reading, writing
from graftbook.problems import Problem, UnknownSpecification
from graftbook.process.service import Service
from graftbook.questions.closures.schemas import ClosureOut, SetOut
from graftbook.questions.closures.service import closure_document
from graftbook.questions.schemas import ClosureIn, VehicleIn
from graftbook.rulebook.model import SeverityWord
from graftbook.telemetry.requests import asked_anew

MOST_VARIANTS = 60
"""So many variants are asked for one table."""
MOST_BUILDS = 60
SECONDS_IN_ALL = 60.0
ANSWERED = ("proved", "impossible")
LATE = "It was not worked out in the time there is; what was is kept, so ask again."
SEVERITIES: tuple[SeverityWord, ...] = ("dangerous", "severe", "moderate", "minor")


def named(engine: Engine, word: str) -> SpecificationOut:
    """`name`, the latest version, or `name@version`. Raises UnknownSpecification."""
    name, _, version = word.partition("@")
    if not version:
        return specification_document(engine, name)
    if not (version.isascii() and version.isdigit() and 0 < len(version) < 10):
        raise UnknownSpecification(word)
    return specification_document(engine, name, int(version))


def present(engine: Engine) -> s.HouseSpecificationOut | None:
    """The version that the house builds to; None while none is said."""
    with reading(engine) as session:
        row = store.present_specification(session)
        if row is None:
            return None
        return {
            "specification": f"{row.specification}@{row.version}",
            "name": row.specification,
            "version": row.version,
            "title": specification_in(session, row.specification, row.version)["title"],
            "since": in_utc(row.since).isoformat(),
            "who": row.who,
        }


def make_present(engine: Engine, word: str, who: str) -> s.HouseSpecificationOut:
    """From now on the house builds to this version. Raises UnknownSpecification."""
    meant = named(engine, word)
    with writing(engine) as session:
        store.put_present_specification(session, meant["name"], meant["version"], who)
    found = present(engine)
    assert found is not None, "it was stored just now"
    return found


def table(service: Service, specification: SpecificationOut) -> s.VariantTableOut:
    """What a version makes of every variant it is for. Raises Busy."""
    variants, left_out = _variants(service, specification)
    until = monotonic() + SECONDS_IN_ALL
    rows = [_row(service, specification, variant, until) for variant in variants]
    return {
        "name": specification["name"],
        "version": specification["version"],
        "title": specification["title"],
        "currency": service.settings.currency,
        "rows": rows,
        "resolved": sum(row["price"] is not None for row in rows),
        "left_out": left_out,
    }


def _variants(service: Service, *specifications: SpecificationOut) -> tuple[list[VariantOut], int]:
    """The variants that any of these versions is for, and how many more there are."""
    meant = {name for one in specifications for name in one["variants"]}
    every = any(not one["variants"] for one in specifications)
    with reading(service.engine) as session:
        known, _ = list_variants(session, 10_000, "")
    found = [v for v in known if v["chassis_spans"] and (every or v["name"] in meant)]
    return found[:MOST_VARIANTS], len(found[MOST_VARIANTS:])


NO_SET: s.SetFiguresOut = {
    "changes": 0,
    "price": None,
    "unknown_prices": 0,
    "minutes": 0,
    "shows": [],
    "cut_or_welded": 0,
    "unconfirmed": 0,
    "flaws_left": {},
    "fails": [],
    "parts": [],
}


def _row(
    service: Service, specification: SpecificationOut, variant: VariantOut, until: float
) -> s.VariantRowOut:
    """`until`: the moment of a clock after which nothing more is asked."""
    chassis = variant["chassis_spans"][0]["first"]
    word = f"{specification['name']}@{specification['version']}"
    outcome, why, figures = None, "", NO_SET
    body = ClosureIn(vehicle=VehicleIn(chassis=chassis), specification=word)
    try:
        if monotonic() > until:
            raise OutOfTime
        with asked_anew():
            document = closure_document(service, body)[1]
        outcome = document["outcome"]
        if document["set"] is None:
            why = " ".join(document["sentences"])
        else:
            figures = _figures(document, document["set"])
    except Problem as problem:
        why = problem.detail
    except OutOfTime:
        why = LATE
    return {
        **figures,
        "variant": variant["name"],
        "title": variant["title"],
        "chassis": chassis,
        "outcome": outcome,
        "why": why,
        "address": "/answer?" + urlencode({"chassis": chassis, "specification": word}),
    }


def _figures(document: ClosureOut, whole: SetOut) -> s.SetFiguresOut:
    totals = whole["totals"]
    left = Counter(flaw["severity"] for flaw in whole["flaws_left"])
    checks = document["checks"]
    return {
        "changes": totals["changes"],
        "price": totals["price"],
        "unknown_prices": len(totals["unknown_prices"]),
        "minutes": totals["labour_minutes"],
        "shows": [change["position_title"] for change in whole["changes"] if change["visible"]],
        "cut_or_welded": totals["irreversible"],
        "unconfirmed": totals["unconfirmed"],
        "flaws_left": {word: left[word] for word in SEVERITIES if left[word]},
        "fails": [
            finding["sentence"]
            for finding in (checks["findings"] if checks else ())
            if finding["kind"] == "worse" and finding["verdict"] == "fails"
        ],
        "parts": [f"{change['component'] or ''}@{change['position']}" for change in whole["changes"]],
    }


def compare(service: Service, before: SpecificationOut, after: SpecificationOut) -> s.VersionsComparedOut:
    """Two versions of a specification: on each variant, and on each vehicle built to the earlier one.

    Raises Busy.
    """
    variants, left_out = _variants(service, before, after)
    with reading(service.engine) as session:
        names = store.builds_to(session, f"{before['name']}@{before['version']}", MOST_BUILDS)
    until = monotonic() + SECONDS_IN_ALL
    return {
        "name": before["name"],
        "from_version": before["version"],
        "to_version": after["version"],
        "currency": service.settings.currency,
        "variants": [
            _difference(_row(service, before, one, until), _row(service, after, one, until))
            for one in variants
        ],
        "builds": [_to_new(service, name, after) for name in names],
        "left_out": left_out,
    }


def _difference(before: s.VariantRowOut, after: s.VariantRowOut) -> s.VariantDifferenceOut:
    one, other = before["price"], after["price"]
    both = one is not None and other is not None
    comparable = all(row["outcome"] in ANSWERED for row in (before, after))
    went = [part for part in before["parts"] if part not in after["parts"]]
    came = [part for part in after["parts"] if part not in before["parts"]]
    return {
        "variant": before["variant"],
        "title": before["title"],
        "before": before,
        "after": after,
        "told": comparable,
        "same": comparable and not (went or came) and before["outcome"] == after["outcome"],
        "changes": after["changes"] - before["changes"] if both else None,
        "price": f"{Decimal(other) - Decimal(one):.2f}" if one is not None and other is not None else None,
        "minutes": after["minutes"] - before["minutes"] if both else None,
        "came": came if comparable else [],
        "went": went if comparable else [],
    }


def _to_new(service: Service, name: str, after: SpecificationOut) -> s.BuildToNewOut:
    """What it would take to bring a build from how it stands to a version."""
    takes, why = None, ""
    kept = build_document(service.engine, name)
    try:
        with asked_anew():
            takes = open_document(standing(service, name, built_to=f"{after['name']}@{after['version']}"))
    except Problem as problem:
        why = problem.detail
    except OutOfTime:
        why = LATE
    return {
        "build": name,
        "chassis": kept["chassis"],
        "variant": kept["variant"],
        "note": kept["note"],
        "takes": takes,
        "why": why,
    }
