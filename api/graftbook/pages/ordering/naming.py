"""The name that is suggested for a list: the chassis, what was wished, the day."""

import re

from graftbook.orders.schemas import OrderOut
from graftbook.pages.asking.question import PageQuestion

MOST_WISHES = 2
LONGEST = 70
"""Letters, so that a number still has room behind them."""
_WISHED = ("upgrade", "fit", "remedy", "clear", "specification")


def suggested(question: PageQuestion, order: OrderOut) -> str:
    """As `24PL-018412-front-discs-2026-11-29`; made of what a name may hold."""
    wished = [value.partition("@")[0] for name in _WISHED for value in question.values(name)]
    wished += [f"all-{severity}" for severity in question.values("remedy_all")]
    more = [f"and-{len(wished) - MOST_WISHES}-more"] if len(wished) > MOST_WISHES else []
    others = [f"and-{len(order['vehicles']) - 1}-vehicles"] if len(order["vehicles"]) > 1 else []
    words = [order["vehicles"][0]["label"], *wished[:MOST_WISHES], *more, *others]
    beginning = "-".join(filter(None, map(_clean, words))) or "order"
    day = order["date"]
    return f"{beginning[: LONGEST - len(day) - 1].rstrip('-._')}-{day}"


def _clean(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9._]+", "-", text).strip("-._")
