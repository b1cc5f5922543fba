"""Circles in what leads to what: numbers that supersede each other, work that waits for itself."""

from collections import deque


def circles_in(edges: list[tuple[str, str]]) -> list[frozenset[str]]:
    """The strongly connected groups of more than one number, and numbers that lead to themselves.

    Tarjan's algorithm with its own stack, so that a chain may be as long as it likes.
    """
    following: dict[str, list[str]] = {}
    for old, new in edges:
        following.setdefault(old, []).append(new)
    index: dict[str, int] = {}
    low: dict[str, int] = {}
    path: list[str] = []
    on_path: set[str] = set()
    circles = [frozenset({old}) for old, new in edges if old == new]
    for start in sorted(following):
        if start in index:
            continue
        work = [(start, iter(following.get(start, ())))]
        index[start] = low[start] = len(index)
        path.append(start)
        on_path.add(start)
        while work:
            number, rest = work[-1]
            for new in rest:
                if new not in index:
                    index[new] = low[new] = len(index)
                    path.append(new)
                    on_path.add(new)
                    work.append((new, iter(following.get(new, ()))))
                    break
                if new in on_path:
                    low[number] = min(low[number], index[new])
            else:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[number])
                if low[number] == index[number]:
                    group = set()
                    while number not in group:
                        group.add(path.pop())
                    on_path -= group
                    if len(group) > 1:
                        circles.append(frozenset(group))
    return sorted(circles, key=sorted)


def shortest_circle(edges: list[tuple[str, str]], within: frozenset[str]) -> list[str]:
    """A shortest circle through the first name of a group of `circles_in`: each leads to the next, the
    last to the first.
    """
    following: dict[str, list[str]] = {}
    for old, new in sorted(edges):
        if old in within and new in within:
            following.setdefault(old, []).append(new)
    start = min(within)
    came_from: dict[str, str] = {}
    waiting = deque([start])
    while waiting and start not in came_from:
        here = waiting.popleft()
        for new in following.get(here, ()):
            if new not in came_from:
                came_from[new] = here
                waiting.append(new)
    circle = [came_from[start]]
    while circle[-1] != start:
        circle.append(came_from[circle[-1]])
    return circle[::-1]
