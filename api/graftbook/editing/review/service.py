"""Changes that are proposed: kept, seen with their effect, accepted or refused, all of it on record.

A proposal is what an edit would do to each record, rows before and after, as the loader found it in a trial.
Accepting loads the rows after in one edit, together with the proposals' new state: a kill leaves both or
neither. It is refused where a record says something else by now than it did when the proposal was made.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import orjson
from sqlalchemy import Connection, Engine
from sqlmodel import Session

from graftbook.access.principal import Principal
from graftbook.catalogue.history.changes import changes_of_edit
from graftbook.catalogue.history.revisions import current_revision
from graftbook.catalogue.history.snapshots import images, rows_in
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.loading.load import LoadReport
from graftbook.catalogue.loading.removing import Removals, kind_words
from graftbook.database import reading, writing
from graftbook.editing.effect import EffectLook
from graftbook.editing.records.service import state_seen, touched_meanwhile
from graftbook.editing.review import store
from graftbook.editing.review.documents import Change, changes_in, line_document, proposal_document
from graftbook.editing.review.problems import AlreadyDecided, OwnProposal, ReviewNeeded, UnknownProposal
from graftbook.editing.review.schemas import (
    MOST_CHANGES,
    DecidedOut,
    ProposalIn,
    ProposalLineOut,
    ProposalOut,
    SourceWord,
)
from graftbook.editing.review.tables import ACCEPTED, REFUSED, WITHDRAWN, ProposalRow
from graftbook.http.errors import refused
from graftbook.idempotency.service import EACH_TIME, Once
from graftbook.problems import ChangedAgain, InvalidRequest
from graftbook.process.service import Service

ON = "on"


def require_no_review(service: Service) -> None:
    """An edit that nobody has looked at. Raises ReviewNeeded where the house reviews all changes."""
    if service.settings.review == ON:
        raise ReviewNeeded("Propose it; somebody else accepts it")


# Proposing -----------------------------------------------------------------------------------


def propose(service: Service, body: ProposalIn, by: Principal, once: Once) -> ProposalOut:
    """Keep what shall change, tried first. Raises ImportRefused for mistakes, InvalidRequest where nothing
    would change or too much, and what `once` raises."""
    removals: dict[str, list[str]] = defaultdict(list)
    for one in body.remove:
        removals[one.kind].append(one.name)
    return propose_of(service, body.records, removals, body.source, body.why, by, once)


def propose_of(
    service: Service,
    sources: Any,
    removals: Removals,
    source: SourceWord,
    why: str,
    by: Principal,
    once: Once = EACH_TIME,
    **how: Any,
) -> ProposalOut:
    """The same of whatever `load` reads, an open sheet as well; `how` it reads it."""
    once.look(service.engine)
    changes = _changes_of(service.engine, sources, removals, **how)
    row = ProposalRow(
        source=source,
        why=why,
        proposed_at=datetime.now(UTC),
        proposed_by=by.who,
        proposer=by.key,
        revision=0,
        touched=len(changes),
        changes=orjson.dumps(changes).decode(),
    )
    with writing(service.engine) as session:
        connection = session.connection()
        once.begin(connection)
        row.revision = current_revision(connection)
        session.add(row)
        session.flush()
        document = proposal_document(row, _overtaken(connection, changes))
        once.keep(connection, document)
        return document


def _changes_of(engine: Engine, sources: Any, removals: Removals, **how: Any) -> list[Change]:
    """What a load would change, record by record; nothing is kept of it."""
    found: list[Change] = []

    def look(connection: Connection, report: LoadReport) -> None:
        if report.changed > MOST_CHANGES:
            raise InvalidRequest(f"A proposal changes at most {MOST_CHANGES} records; propose it in parts")
        if report.changed and report.revision:
            found.extend(
                {"kind": one.kind, "name": one.name, "before": one.before, "after": one.after}
                for one in changes_of_edit(connection, report.revision, ("", ""), MOST_CHANGES)
            )

    report = load(engine, sources, dry_run=True, removals=removals or None, last=look, **how)
    if not report.ok:
        raise refused(report)
    if not found:
        raise InvalidRequest(
            "The catalogue says all of this already: nothing would change", pointer="/records"
        )
    return found


# Looking -------------------------------------------------------------------------------------


def proposals(
    service: Service, before: int | None, limit: int, states: Sequence[str]
) -> list[ProposalLineOut]:
    """A page of proposals, the newest first."""
    with reading(service.engine) as session:
        return [line_document(row) for row in store.proposals_before(session, before, limit, states)]


def waiting(service: Service) -> int:
    """How many proposals nobody has decided yet."""
    with reading(service.engine) as session:
        return store.open_ones(session)


def proposal(service: Service, number: int) -> ProposalOut:
    """One proposal, and which of its records were changed since. Raises UnknownProposal."""
    with reading(service.engine) as session:
        row = _row(session, number)
        return proposal_document(row, _overtaken(session.connection(), changes_in(row)))


@dataclass(frozen=True, slots=True)
class _Proposed:
    """What deciding needs of a proposal. `proposer`: the key; `by`: as people read it."""

    number: int
    proposer: str
    by: str
    why: str
    changes: list[Change]


def _load_proposal(service: Service, number: int) -> _Proposed:
    with reading(service.engine) as session:
        row = _row(session, number)
        return _Proposed(number, row.proposer, row.proposed_by, row.why, changes_in(row))


def _row(session: Session, number: int) -> ProposalRow:
    row = store.proposal_row(session, number)
    if row is None:
        raise UnknownProposal(str(number))
    return row


def _overtaken(connection: Connection, changes: Iterable[Change]) -> set[tuple[str, str]]:
    """The records that do not say any more what they said when the change was proposed."""
    by_kind: dict[str, dict[str, Any]] = defaultdict(dict)
    for change in changes:
        by_kind[change["kind"]][change["name"]] = change["before"]
    found: set[tuple[str, str]] = set()
    for kind, before in by_kind.items():
        now = images(connection, kind, before)
        found.update((kind, name) for name, rows in before.items() if rows_in(now.get(name)) != rows)
    return found


def look_at_effect(service: Service, number: int) -> tuple[EffectLook, LoadReport]:
    """A look at what a proposal would do, taken; `compare` it. Raises UnknownProposal, ImportRefused."""
    objects, removals = _edit(_load_proposal(service, number).changes)
    look = EffectLook(service)
    report = load(service.engine, objects, dry_run=True, removals=removals, last=look.take)
    if not report.ok:
        raise refused(report)
    return look, report


def _edit(changes: Iterable[Change]) -> tuple[list[dict[str, Any]], dict[str, list[str]]]:
    """The changes as what `load` takes: records, and names to take out."""
    objects: list[dict[str, Any]] = []
    removals: dict[str, list[str]] = defaultdict(list)
    for change in changes:
        if change["after"]:
            objects.extend({"record": change["kind"], **row} for row in change["after"])
        else:
            removals[change["kind"]].append(change["name"])
    return objects, removals


# Deciding ------------------------------------------------------------------------------------


def accept(
    service: Service, numbers: Sequence[int], reason: str, by: Principal, once: Once = EACH_TIME
) -> DecidedOut:
    """Make one edit of one or several proposals, all of them or none.

    Raises UnknownProposal, AlreadyDecided, OwnProposal (where the house reviews all changes), ChangedAgain
    where a record says something else by now or two of them change the same, ImportRefused.
    """
    once.look(service.engine)
    some = [_load_proposal(service, number) for number in dict.fromkeys(numbers)]
    changes = [change for one in some for change in one.changes]
    if service.settings.review == ON and any(one.proposer == by.key for one in some):
        raise OwnProposal("Somebody else must look at what you proposed")
    _require_apart(changes)
    with reading(service.engine) as session:
        seen = state_seen(session.connection())
        _require_as_proposed(_overtaken(session.connection(), changes))
    records = {(change["kind"], change["name"]) for change in changes}
    decided: list[DecidedOut] = []

    def first(connection: Connection) -> None:
        once.begin(connection)
        _require_as_proposed(touched_meanwhile(connection, seen, records))

    def last(connection: Connection, report: LoadReport) -> None:
        _decide(connection, numbers, ACCEPTED, by, reason, report.revision)
        decided.append(_decision_document(connection, numbers, report.revision))
        once.keep(connection, decided[0])

    objects, removals = _edit(changes)
    report = load(
        service.engine,
        objects,
        who=_both(some, by),
        why=_whys(some),
        removals=removals,
        first=first,
        last=last,
    )
    if not report.ok:
        raise refused(report)
    return decided[0]


def refuse(
    service: Service, numbers: Sequence[int], reason: str, by: Principal, once: Once = EACH_TIME
) -> DecidedOut:
    """Refuse proposals, all of them or none. Raises UnknownProposal, AlreadyDecided."""
    return _without_edit(service, numbers, REFUSED, reason, by, once, lambda _row: None)


def withdraw(service: Service, number: int, reason: str, by: Principal, once: Once = EACH_TIME) -> DecidedOut:
    """Take back one's own proposal. Raises UnknownProposal, AlreadyDecided, OwnProposal for another's."""

    def own(row: ProposalRow) -> None:
        if row.proposer != by.key:
            raise OwnProposal("Only who proposed it can withdraw it; it can be refused")

    return _without_edit(service, [number], WITHDRAWN, reason, by, once, own)


def _without_edit(
    service: Service,
    numbers: Sequence[int],
    state: str,
    reason: str,
    by: Principal,
    once: Once,
    check: Callable[[ProposalRow], None],
) -> DecidedOut:
    with writing(service.engine) as session:
        connection = session.connection()
        once.begin(connection)
        for number in numbers:
            check(_row(session, number))
        _decide(connection, numbers, state, by, reason, None)
        document = _decision_document(connection, numbers, None)
        once.keep(connection, document)
        return document


def _decide(
    connection: Connection,
    numbers: Sequence[int],
    state: str,
    by: Principal,
    reason: str,
    revision: int | None,
) -> None:
    now = datetime.now(UTC)
    which = list(dict.fromkeys(numbers))
    if store.decide(connection, which, state, by.who, reason, now, revision) != len(which):
        raise AlreadyDecided("Somebody decided one of them meanwhile; look again")


def _decision_document(connection: Connection, numbers: Sequence[int], revision: int | None) -> DecidedOut:
    with Session(connection) as session:
        lines = [line_document(_row(session, number)) for number in dict.fromkeys(numbers)]
    return {"proposals": lines, "catalogue_revision": revision}


def _require_apart(changes: Iterable[Change]) -> None:
    counted = Counter((change["kind"], change["name"]) for change in changes)
    _require_none(
        (key for key, count in counted.items() if count > 1),
        "is changed by two of these; accept one of them first",
    )


def _require_as_proposed(overtaken: Iterable[tuple[str, str]]) -> None:
    _require_none(
        overtaken, "says something else than when this was proposed; look at it and propose it anew"
    )


def _require_none(records: Iterable[tuple[str, str]], what: str) -> None:
    found = sorted(records)
    if found:
        kind, name = found[0]
        more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
        raise ChangedAgain(
            f"{kind_words(kind)} '{name}' {what}{more}",
            records=[{"kind": kind, "name": name} for kind, name in found[:100]],
        )


def _both(some: Sequence[_Proposed], by: Principal) -> str:
    """Who stands in the history: who proposed it and who accepted it."""
    proposers = ", ".join(dict.fromkeys(one.by for one in some))
    return f"{proposers}, accepted by {by.who}"


def _whys(some: Sequence[_Proposed]) -> str:
    """The first reasons, as far as they fit, with the numbers of all."""
    numbers = ", ".join(str(one.number) for one in some)
    return f"{'; '.join(dict.fromkeys(one.why for one in some))[:400]} (proposal {numbers})"[:500]
