"""The catalogue as calls: its records and their history, imports and flat lists, proposals, the lint."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from graftbook.client.calls import (
    JSON,
    Body,
    Call,
    Pages,
    as_bytes,
    change,
    once_only,
    path_of,
    reading,
)

if TYPE_CHECKING:
    from graftbook.editing.flat.schemas import FlatIssueOut, FlatListLineOut, FlatListOut, FlatTakeOut
    from graftbook.editing.imports.endpoints import ImportOut
    from graftbook.editing.linting.schemas import LintFindingOut
    from graftbook.editing.records.listing import RecordLineOut
    from graftbook.editing.review.schemas import DecidedOut, EffectOut, ProposalLineOut, ProposalOut
    from graftbook.editing.schemas import (
        EditOut,
        RecordChangeOut,
        RecordDifferenceOut,
        RecordOut,
        RevisionOut,
    )

SHEET = "text/csv"
LONG = 60.0
"""Seconds for what looks at very many records, or at very many answers."""

# Records and revisions ---------------------------------------------------------------------------


def records(kind: str, **sought: Any) -> Pages[RecordLineOut]:
    """The records of a kind by name; `sought`: columns of the kind, `fields`."""
    return Pages(reading("records", kind, **sought))


def record(kind: str, name: str) -> Call[RecordOut]:
    """One record of the catalogue."""
    return reading("records", kind, name)


def record_history(kind: str, name: str) -> Pages[RecordChangeOut]:
    """Every change of one record, the newest first."""
    return Pages(reading("records", kind, name, "history"))


def put_record(
    kind: str, name: str, rows: Sequence[Body], *, why: str = "", dry_run: bool = False
) -> Call[EditOut]:
    """Store a new record, or replace the one that was read."""
    return _edit("PUT", kind, name, {"rows": [*rows]}, why, dry_run)


def patch_record(
    kind: str, name: str, fields: Body, *, why: str = "", dry_run: bool = False
) -> Call[EditOut]:
    """Change some fields of the record that was read; null is the default again."""
    return _edit("PATCH", kind, name, fields, why, dry_run, "application/merge-patch+json")


def remove_record(kind: str, name: str, *, why: str = "", dry_run: bool = False) -> Call[EditOut]:
    """Take the record that was read out of the catalogue."""
    return _edit("DELETE", kind, name, None, why, dry_run)


def _edit(
    method: str, kind: str, name: str, body: Any, why: str, dry_run: bool, media: str = JSON
) -> Call[Any]:
    path = path_of("records", kind, name)
    return change(method, path, body, media, params=_given_only(why=why, dry_run=dry_run))


def _given_only(**said: Any) -> dict[str, Any]:
    """The parameters that say something."""
    return {name: value for name, value in said.items() if value}


def revisions() -> Pages[RevisionOut]:
    """The edits of the catalogue, the newest first."""
    return Pages(reading("revisions"))


def revision(number: int) -> Call[RevisionOut]:
    """One edit."""
    return reading("revisions", str(number))


def revision_changes(number: int) -> Pages[RecordChangeOut]:
    """What one edit changed, record by record."""
    return Pages(reading("revisions", str(number), "changes"))


def compare_revisions(from_: int, to: int | None = None) -> Pages[RecordDifferenceOut]:
    """What says something else as of the later revision, or by now."""
    return Pages(reading("revisions", "compare", **{"from": from_, "to": to}))


def take_back_revision(number: int, *, why: str = "", dry_run: bool = False, once: str = "") -> Call[EditOut]:
    """Undo one edit by a new one, once."""
    path = path_of("revisions", str(number), "take-back")
    return once_only(path, {}, once, params=_given_only(why=why, dry_run=dry_run))


# Sheets ------------------------------------------------------------------------------------------


def import_records(
    records: Sequence[Body] | bytes,
    *,
    media: str = SHEET,
    why: str = "",
    dry_run: bool = False,
    whole: bool = False,
    removes: int | None = None,
    once: str = "",
) -> Call[ImportOut]:
    """Store records, all or nothing, once: a list of records, the bytes of a sheet, or (`media`) a workbook.
    `whole`: what is not sent of the kinds that are goes; `removes`: how many the dry run showed to go."""
    query = _given_only(why=why, dry_run=dry_run, whole=whole) | (
        {} if removes is None else {"removes": removes}
    )
    if isinstance(records, bytes):
        return once_only("/v1/imports", records, once, media, params=query)
    return once_only("/v1/imports", [*records], once, params=query)


def import_schema() -> Call[Mapping[str, Any]]:
    """The JSON Schema of what is imported."""
    return reading("imports", "schema")


def export() -> Call[bytes]:
    """The whole catalogue as one sheet."""
    return Call("GET", "/v1/exports", read=as_bytes, repeatable=True, seconds=10 * LONG)


def lint(*, vehicles: bool = False, touched_by: int | None = None) -> Pages[LintFindingOut]:
    """What the lint finds, the most serious first; `touched_by`: of what a revision changed only."""
    found = reading("lint", vehicles=vehicles or None, touched_by=touched_by)
    return Pages(replace(found, seconds=10 * LONG if vehicles else LONG))


# Flat lists --------------------------------------------------------------------------------------


def flat_lists() -> Pages[FlatListLineOut]:
    """The flat lists that are kept."""
    return Pages(reading("flat-lists"))


def flat_list(name: str) -> Call[FlatListOut]:
    """One of them: its mapping, its decisions, where it stands."""
    return reading("flat-lists", name)


def put_flat_list(name: str, mapping: Body) -> Call[FlatListOut]:
    """Keep a mapping under a name: a new one, or that of the list that was read."""
    return change("PUT", path_of("flat-lists", name), mapping)


def remove_flat_list(name: str) -> Call[None]:
    """Forget the flat list that was read."""
    return change("DELETE", path_of("flat-lists", name))


def put_flat_issue(name: str, sheet: bytes, *, file: str = "", media: str = SHEET) -> Call[FlatListOut]:
    """Put an issue of a list in; nothing of it is in the catalogue yet. A workbook's `media` is
    `application/octet-stream`."""
    path = path_of("flat-lists", name)
    query = _given_only(file=file)
    return change("PUT", f"{path}/issue", sheet, media, params=query, condition=path, repeatable=True)


def flat_issue(name: str) -> Call[FlatIssueOut]:
    """What the issue becomes: what is asked, what changed, what was assumed."""
    return replace(reading("flat-lists", name, "issue"), seconds=LONG)


def decide_flat_list(name: str, answers: Mapping[str, str | None]) -> Call[FlatListOut]:
    """Answer questions of a list; null: ask again."""
    path = path_of("flat-lists", name)
    return change("PATCH", f"{path}/decisions", {"answers": answers}, condition=path, repeatable=True)


def take_flat_issue(name: str, *, why: str = "", dry_run: bool = False) -> Call[FlatTakeOut]:
    """Load whatever is decided of the issue of the list that was read."""
    path = path_of("flat-lists", name)
    query = _given_only(why=why, dry_run=dry_run)
    return change("POST", f"{path}/take", params=query, condition=path, seconds=LONG)


# Proposals ---------------------------------------------------------------------------------------


def propose(
    why: str,
    records: Sequence[Body] = (),
    *,
    remove: Sequence[Body] = (),
    source: str = "person",
    once: str = "",
) -> Call[ProposalOut]:
    """Propose a change, once: records, and `kind` and `name` of what shall go."""
    body = {"why": why, "source": source, "records": [*records], "remove": [*remove]}
    return once_only("/v1/proposals", body, once)


def proposals(*, state: str = "") -> Pages[ProposalLineOut]:
    """Proposals, the newest first; `state`: `open`, `accepted`, `refused`, `withdrawn`."""
    return Pages(reading("proposals", state=state))


def proposal(number: int) -> Call[ProposalOut]:
    """One proposal with every record before and after."""
    return reading("proposals", str(number))


def proposal_effect(number: int) -> Call[EffectOut]:
    """What a proposal would do to builds, specifications, open orders and what was asked lately."""
    return Call("POST", path_of("proposals", str(number), "effect"), repeatable=True, seconds=LONG)


def accept_proposals(numbers: Sequence[int], reason: str, *, once: str = "") -> Call[DecidedOut]:
    """Make one edit of them, all or none, once."""
    return _decision("accept", numbers, reason, once)


def refuse_proposals(numbers: Sequence[int], reason: str, *, once: str = "") -> Call[DecidedOut]:
    """Refuse them, all or none, once."""
    return _decision("refuse", numbers, reason, once)


def _decision(how: str, numbers: Sequence[int], reason: str, once: str) -> Call[DecidedOut]:
    return once_only(f"/v1/proposal-decisions/{how}", {"proposals": [*numbers], "reason": reason}, once)


def withdraw_proposal(number: int, why: str = "", *, once: str = "") -> Call[DecidedOut]:
    """Take back one's own proposal, once."""
    path = path_of("proposals", str(number), "withdraw")
    return once_only(path, {}, once, params=_given_only(why=why))
