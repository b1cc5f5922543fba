"""About how much memory a rule book takes once questions have been asked of it."""

from graftbook.rulebook.model import RuleBook

BYTES_A_RECORD = 2_000
"""Twice what a book of 3,000 records took after three questions (with its index and its written form): what
fits bring grows with what is asked."""


def weight_of(book: RuleBook) -> int:
    """Bytes, by the number of its records."""
    records = (
        book.positions, book.components, book.fitments, book.substitutes, book.flaws, book.companions,
        book.conflicts, book.joints, book.budgets, book.supersessions, book.precedences, book.accesses,
        book.tightenings,
    )  # fmt: skip
    return BYTES_A_RECORD * sum(map(len, records))
