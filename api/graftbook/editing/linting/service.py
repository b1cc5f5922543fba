"""The lint as documents: of the records side by side, or of the vehicles too, kept for the revision."""

from collections.abc import Iterable
from itertools import chain
from typing import Any

import orjson
from sqlalchemy import Connection, Engine, select

from graftbook.catalogue.format.records import KIND_BY_WORD
from graftbook.catalogue.history.revisions import current_revision, epoch_of
from graftbook.catalogue.history.snapshots import key_of
from graftbook.catalogue.lint.finding import LintFinding
from graftbook.catalogue.lint.lint import of_records
from graftbook.catalogue.store.tables import CLAIMS, table
from graftbook.database import listed, reading
from graftbook.editing.linting.schemas import LintFindingOut, MendOut
from graftbook.editing.linting.side_by_side import helpers_here, lint
from graftbook.http.responses import etag_of
from graftbook.http.values import json_bytes
from graftbook.problems import UnknownRevision
from graftbook.process.service import Service

_ORDER = ("serious", "doubtful", "untidy")
MOST_PLACES = 20
"""Records of one finding that are told as places to mend."""


def findings(
    service: Service, *, vehicles: bool = False, touched_by: int | None = None
) -> list[LintFindingOut]:
    """Every finding, the worst first; with `vehicles` also what only shows when vehicles are looked at, which
    takes a while and is kept for the revision. `touched_by`: of records that this revision changed alone.
    Raises UnknownRevision.
    """
    with reading(service.engine) as session:
        connection = session.connection()
        epoch, revision = epoch_of(connection), current_revision(connection)
        changed = _changed_by(connection, touched_by)

    def make() -> tuple[bytes, bool]:
        return json_bytes({"items": _documents(service, vehicles)}), True

    body, _ = service.answers.get_or_make(etag_of("lint", epoch, revision, vehicles), make)
    found: list[LintFindingOut] = orjson.loads(body)["items"]
    return found if changed is None else [one for one in found if changed & set(one["records"])]


def _documents(service: Service, vehicles: bool) -> list[LintFindingOut]:
    settings = service.settings
    if vehicles:
        helpers = min(helpers_here(), settings.reasoning_processes)
        return documents_of(service.engine, lint(service.engine, settings.currency, helpers=helpers))
    with reading(service.engine) as session:
        found = list(of_records(session.connection(), settings.currency))
    return documents_of(service.engine, found)


def documents_of(engine: Engine, found: Iterable[LintFinding]) -> list[LintFindingOut]:
    """Findings as documents, the worst first."""
    some = list(found)
    with reading(engine) as session:
        kinds = _kinds(session.connection(), some)
    documents = [_document(one, kinds) for one in some]
    return sorted(documents, key=lambda one: (_ORDER.index(one["severity"]), one["kind"], one["records"]))


def _document(found: LintFinding, kinds: dict[str, str]) -> LintFindingOut:
    places: list[MendOut] = [{"kind": kinds[name], "name": name} for name in found.records if name in kinds]
    return {
        "kind": found.wrong.value,
        "severity": found.severity.value,
        "sentence": found.sentence,
        "fix": found.fix,
        "records": list(found.records),
        "variants": list(found.variants),
        "mend": places[:MOST_PLACES],
    }


def _kinds(connection: Connection, found: Iterable[LintFinding]) -> dict[str, str]:
    """The kind of each record that the findings name; a word that is no record's name is left out."""
    names = set(chain.from_iterable(one.records for one in found))
    claim = table("claim")
    known: dict[str, str] = {}
    for kind in reversed([one for one in KIND_BY_WORD if one not in (*CLAIMS, "chassis_span")]):
        key: Any = key_of(kind)
        these = connection.execute(select(key).where(key.in_(listed(connection, names)))).scalars()
        known |= dict.fromkeys(these, kind)
    rows = connection.execute(
        select(claim.c.name, claim.c.kind).where(claim.c.name.in_(listed(connection, names)))
    )
    return known | {row.name: row.kind for row in rows}


def _changed_by(connection: Connection, revision: int | None) -> set[str] | None:
    if revision is None:
        return None
    present = current_revision(connection)
    if not 0 < revision <= present:
        raise UnknownRevision(str(revision), [str(present)], pointer="/touched_by")
    change = table("record_change")
    return set(connection.execute(select(change.c.name).where(change.c.revision == revision)).scalars())
