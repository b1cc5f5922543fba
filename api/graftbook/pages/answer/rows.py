"""A set as the rows of its table: a change each, a pair that changes alike as one row for both sides."""

from collections.abc import Mapping, Sequence
from typing import NotRequired, TypedDict

from graftbook.database import Source
from graftbook.pages.asking.question import PageQuestion
from graftbook.pages.words import both_sides, once, price_of_all, without_side
from graftbook.pictures.schemas import PictureOut
from graftbook.pictures.service import Thing, pictures_of_each
from graftbook.questions.closures.schemas import (
    BecauseOut,
    ChangeOut,
    ClosureOut,
    LooseOut,
    MoneyOut,
    OtherOut,
    SetOut,
)
from graftbook.questions.closures.summary import phrase, without_aside

CLAIMS = frozenset(("companion", "conflict", "joint", "budget", "flaw"))
"""Reasons that are records, so that a picture can be of them."""


class ChainStep(BecauseOut):
    """A reason on the way back to a wish: the row and the part that bring it, where they do."""

    line: int | None
    part: ChangeOut | LooseOut | None


class OtherChoice(OtherOut):
    """What else could sit there, and the question that asks for it."""

    address: str


class SetRow(TypedDict):
    """What a row says. Pieces, price, work and looks are those of all its places together."""

    line: int
    key: str
    first: ChangeOut
    place: str
    name: str
    numbers: list[str]
    replaces: list[str]
    quantity: int
    price: MoneyOut
    minutes: int
    visible: bool
    why: str
    phrase: str
    wished: bool
    asker: int | None
    steps: list[ChainStep]
    choices: list[OtherChoice]
    barred: list[OtherOut]
    pictures: list[PictureOut]
    refused: NotRequired[str]
    kept: NotRequired[str]


class SetGroup(TypedDict):
    """Rows under one head."""

    title: str
    rows: list[SetRow]


def rows_of(document: ClosureOut, found: SetOut) -> list[list[ChangeOut]]:
    """The changes of each row, in their order: what was wished, then by section."""
    titles = list(document["section_titles"])
    order = {section: place for place, section in enumerate(titles)}
    together: dict[tuple[object, ...], list[ChangeOut]] = {}
    for change in sorted(found["changes"], key=lambda change: not _is_wished(change)):
        together.setdefault(_alike(change), []).append(change)
    rows = list(together.values())
    return sorted(rows, key=lambda row: (not _is_wished(row[0]), order.get(row[0]["section"], len(order))))


def numbered(document: ClosureOut) -> dict[str, int]:
    """Position → the number of its row on the page."""
    found = document["set"]
    assert found is not None
    return _lines(rows_of(document, found))


def _lines(rows: Sequence[Sequence[ChangeOut]]) -> dict[str, int]:
    return {change["position"]: line for line, row in enumerate(rows, start=1) for change in row}


def grouped(
    document: ClosureOut, found: SetOut, asked_now: PageQuestion, whole: SetOut | None = None
) -> list[SetGroup]:
    """The rows under their heads: what was wished first, then each section.

    `whole`: the set that asks for them, where the rows are a part of it.
    """
    together = rows_of(document, found)
    lines = _lines(together)
    parts: dict[str, ChangeOut | LooseOut] = {part["component"]: part for part in found["loose_parts"]}
    parts |= {change["position"]: change for change in found["changes"]}
    titles = _titles(whole or found)
    groups: dict[str, SetGroup] = {}
    for line, changes in enumerate(together, start=1):
        first = changes[0]
        head = "as you wished" if _is_wished(first) else first["section_title"]
        group = groups.setdefault(head, {"title": head, "rows": []})
        group["rows"].append(_row(line, changes, chain(parts, lines, first), asked_now, titles))
    return list(groups.values())


def asking(found: SetOut) -> dict[str, str]:
    """Loose part → what asks for it in a few words."""
    titles = _titles(found)
    return {part["component"]: _phrase(part, titles) for part in found["loose_parts"]}


def _titles(found: SetOut) -> dict[str, str]:
    """Position or loose number → what it is called, without its side and what stands in brackets."""
    titles = {part["component"]: part["name"] or part["component"] for part in found["loose_parts"]}
    titles |= {change["position"]: change["position_title"] for change in found["changes"]}
    return {key: without_side(without_aside(title)).strip(" ,") for key, title in titles.items()}


def things(row: SetRow) -> list[Thing]:
    """What a picture on an opened row may be of: its parts, the claim that they fit, the rules behind it."""
    changes: list[Thing] = [("component", number) for number in row["numbers"]]
    if claim := row["first"]["claim"]:
        changes.append(("fitment", claim))
    reasons = [*row["steps"], row["first"]["because"], *row["first"]["also_needed_by"]]
    return changes + [(one["cause"], one["name"]) for one in reasons if one["cause"] in CLAIMS]


def with_pictures(source: Source, groups: Sequence[SetGroup]) -> None:
    """Put on each row the pictures of what it speaks of, each once; one look into the database for all."""
    found = pictures_of_each(
        source, {thing for group in groups for row in group["rows"] for thing in things(row)}
    )
    for row in (row for group in groups for row in group["rows"]):
        shown = {p["digest"]: p for thing in things(row) for p in found.get(thing, ())}
        row["pictures"] = list(shown.values())


def _is_wished(change: ChangeOut) -> bool:
    return change["because"]["cause"] == "wish"


def _alike(change: ChangeOut) -> tuple[object, ...]:
    """What the changes of one row have in common; a handed twin has another number and the same name."""
    if not change["pair"]:
        return (change["position"],)
    names = (without_side(name or "") for name in (change["name"], change["replaces_name"]))
    alike = (change["quantity"], change["visible"], change["effort"], change["evidence"])
    return (change["pair"], *names, *alike)


def _row(
    line: int,
    changes: Sequence[ChangeOut],
    steps: list[ChainStep],
    asked_now: PageQuestion,
    titles: Mapping[str, str],
) -> SetRow:
    first = changes[0]
    others = first["alternatives"]
    row: SetRow = {
        "line": line,
        "key": " ".join(f"{change['position']}={change['component'] or ''}" for change in changes),
        "first": first,
        "place": both_sides([change["position_title"] for change in changes]),
        "name": both_sides(once(change["name"] for change in changes)),
        "numbers": once(change["component"] for change in changes),
        "replaces": once(change["replaces"] for change in changes),
        "quantity": sum(change["quantity"] for change in changes),
        "price": price_of_all(change["price"] for change in changes),
        "minutes": sum(change["minutes"] for change in changes),
        "visible": first["visible"],
        "why": first["why"],
        "phrase": _phrase(first, titles),
        "wished": _is_wished(first),
        "asker": steps[0]["line"],
        "steps": steps if len(steps) > 1 else [],
        "choices": [_choice(asked_now, first, one) for one in others if one["outcome"] != "impossible"],
        "barred": [one for one in others if one["outcome"] == "impossible"],
        "pictures": [],
    }
    if first["component"] and not _is_wished(first):
        row["refused"] = asked_now.adding("refuse", first["component"]).address()
        row["kept"] = asked_now.adding("keep", first["position"]).address()
    return row


def _phrase(one: ChangeOut | LooseOut, titles: Mapping[str, str]) -> str:
    """What asks for it in a few words: where the new part sits that needs it; of a flaw that is to be
    remedied, what it does."""
    because = one["because"]
    asker = titles.get(because["from_position"] or because["from_loose_part"] or "")
    if asker and because["how"] == "needs":
        return asker
    if because["cause"] == "flaw" and because["how"] == "asked":
        return one["why"].partition(": ")[2]
    return phrase(one["why"])


def _choice(asked_now: PageQuestion, change: ChangeOut, other: OtherOut) -> OtherChoice:
    if other["kept"]:
        taken = asked_now.adding("keep", change["position"])
    elif other["component"] is None:
        taken = asked_now.adding("clear", change["position"])
    else:
        taken = asked_now.adding("fit", f"{other['component']}@{change['position']}")
    return {**other, "address": taken.address()}


def chain(
    parts: Mapping[str, ChangeOut | LooseOut], lines: Mapping[str, int], change: ChangeOut
) -> list[ChainStep]:
    """The reasons from a change back to the wish, the nearest first."""
    steps: list[ChainStep] = []
    seen = {change["position"]}
    because = change["because"]
    while True:
        parent = because["from_position"] or because["from_loose_part"]
        line, part = (lines.get(parent), parts.get(parent)) if parent else (None, None)
        steps.append({**because, "line": line, "part": part})
        if not parent or parent in seen or parent not in parts:
            return steps
        seen.add(parent)
        because = parts[parent]["because"]
