"""“Ordered together in eleven of twelve orders”: what the kept lists say goes with a part. Pure."""

from collections.abc import Collection, Mapping, Sequence

from graftbook.editing.suggesting.suggestion import Suggestion

FEWEST_ORDERS = 4
SHARE = 0.75
MOST = 5


def ordered_together(
    number: str, own: Collection[str], orders: int, together: Mapping[str, int]
) -> Sequence[Suggestion]:
    """Parts in three of four lists that order this one; `together`: other number → lists with both."""
    if orders < FEWEST_ORDERS:
        return []
    found = [
        (count, other)
        for other, count in together.items()
        if count >= SHARE * orders and other not in own and other != number
    ]
    return [
        Suggestion(
            f"Companion {other}",
            f"ordered together in {count} of {orders} orders",
            kind="companion",
            fields={"component": number, "fit": other},
        )
        for count, other in sorted(found, key=lambda one: (-one[0], one[1]))[:MOST]
    ]
