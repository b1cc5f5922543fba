"""The SQL of proposals; each function works inside its caller's session or connection."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, func, update
from sqlmodel import Session, col, select

from graftbook.editing.review.tables import OPEN, ProposalRow


def proposal_row(session: Session, number: int) -> ProposalRow | None:
    """The proposal; None if there is none of this number."""
    return session.get(ProposalRow, number)


def proposals_before(
    session: Session, before: int | None, limit: int, states: Sequence[str]
) -> list[ProposalRow]:
    """Proposals with a smaller number than `before`, the newest first; all, or those in these states."""
    query = select(ProposalRow)
    if before is not None:
        query = query.where(col(ProposalRow.number) < before)
    if states:
        query = query.where(col(ProposalRow.state).in_(states))
    return list(session.exec(query.order_by(col(ProposalRow.number).desc()).limit(limit)))


def open_ones(session: Session) -> int:
    """How many wait to be decided."""
    return session.exec(select(func.count()).where(col(ProposalRow.state) == OPEN)).one()


def decide(
    connection: Connection,
    numbers: Sequence[int],
    state: str,
    by: str,
    reason: str,
    at: datetime,
    revision: int | None,
) -> int:
    """Take open proposals to another state; how many of them were open."""
    values: dict[str, Any] = {
        "state": state, "decided_by": by, "reason": reason, "decided_at": at, "accepted_as": revision
    }  # fmt: skip
    which = col(ProposalRow.number).in_(numbers), col(ProposalRow.state) == OPEN
    return connection.execute(update(ProposalRow).where(*which).values(**values)).rowcount
