"""The numbers between an old one and the one that is bought today."""

from collections import defaultdict, deque

from graftbook.rulebook.model import RuleBook


def chain_between(book: RuleBook, old: str, new: str) -> tuple[str, ...]:
    """The shortest way along supersessions from an old number to a new one, both included.

    Empty when none leads there: the number then serves by another record.
    """
    onward: dict[str, list[str]] = defaultdict(list)
    for supersession in book.supersessions:
        onward[supersession.old].append(supersession.new)
        if supersession.both_ways:
            onward[supersession.new].append(supersession.old)
    came_from: dict[str, str] = {old: ""}
    waiting = deque([old])
    while waiting:
        here = waiting.popleft()
        if here == new:
            return _back(came_from, here)
        for number in sorted(onward[here]):
            if number not in came_from:
                came_from[number] = here
                waiting.append(number)
    return ()


def _back(came_from: dict[str, str], here: str) -> tuple[str, ...]:
    chain = []
    while here:
        chain.append(here)
        here = came_from[here]
    return tuple(reversed(chain))
