"""Proposals and their effect as documents."""

from collections.abc import Iterable
from typing import Any, cast

import orjson

from graftbook.database import in_utc
from graftbook.editing.effect import AnswerEffect, Effect
from graftbook.editing.review.schemas import (
    AnswerEffectOut,
    EffectOut,
    ProposalLineOut,
    ProposalOut,
    ProposedChangeOut,
    SourceWord,
    StateWord,
)
from graftbook.editing.review.tables import OPEN, ProposalRow

Change = dict[str, Any]
"""A record's kind and name, and its rows before and after; what `changes` of a proposal holds as JSON."""


def changes_in(row: ProposalRow) -> list[Change]:
    """What a proposal would change."""
    found: list[Change] = orjson.loads(row.changes)
    return found


def line_document(row: ProposalRow) -> ProposalLineOut:
    """A proposal without its changes."""
    return {
        "number": row.number or 0,
        "state": cast(StateWord, row.state),
        "source": cast(SourceWord, row.source),
        "why": row.why,
        "proposed_at": in_utc(row.proposed_at).isoformat(),
        "proposed_by": row.proposed_by,
        "revision": row.revision,
        "touched": row.touched,
        "decided_at": in_utc(row.decided_at).isoformat() if row.decided_at else None,
        "decided_by": row.decided_by,
        "reason": row.reason,
        "accepted_as": row.accepted_as,
    }


def proposal_document(row: ProposalRow, overtaken: set[tuple[str, str]]) -> ProposalOut:
    """A proposal with what it changes; `overtaken` are records that say something else by now."""
    changes = [_change(row, change, overtaken) for change in changes_in(row)]
    return {**line_document(row), "changes": changes}


def _change(row: ProposalRow, change: Change, overtaken: set[tuple[str, str]]) -> ProposedChangeOut:
    before, after = change["before"], change["after"]
    return {
        "what": "changed" if before and after else "added" if after else "removed",
        "kind": change["kind"],
        "name": change["name"],
        "before": before,
        "after": after,
        "overtaken": row.state == OPEN and (change["kind"], change["name"]) in overtaken,
    }


def effect_document(effect: Effect, changed: int) -> EffectOut:
    """What an edit would do, as far as it was looked at."""
    return {
        "changed_records": changed,
        "books": [
            {
                "variant": book.variant,
                "title": book.title,
                "places": [
                    {"position": p.position, "title": p.title, "gained": [*p.gained], "lost": [*p.lost]}
                    for p in book.places
                ],
            }
            for book in effect.books
        ],
        "impossible": _answers(effect.impossible),
        "possible": _answers(effect.possible),
        "changed": _answers(effect.changed),
        "same": _answers(effect.same),
        "undecided": _answers(effect.undecided),
        "not_looked": _answers([*effect.not_looked, *effect.beyond]),
        "whole": effect.whole,
    }


def _answers(some: Iterable[AnswerEffect]) -> list[AnswerEffectOut]:
    return [{"label": one.label, "asks": one.asks, "sentences": [*one.sentences]} for one in some]
