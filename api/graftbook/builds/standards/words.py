"""What a specification asks for, and what two versions ask for otherwise, in words. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from graftbook.builds.schemas import ComparisonOut
    from graftbook.builds.stored.documents import KeptWishOut

NO_LIMIT = ("cutting", "no evidence")
"""Words of a limit that keep nothing out."""


def wish_words(wish: KeptWishOut, called: Mapping[str, str]) -> str:
    """A wish. `called`: a name → what people call it."""
    if upgrade := wish.get("upgrade"):
        return f"the upgrade {called.get(upgrade, upgrade)}"
    if number := wish.get("fit"):
        pieces = f"{wish['quantity']} × " if wish.get("quantity", 1) > 1 else ""
        name = f" ({called[number]})" if number in called else ""
        place = wish.get("position")
        return f"fit {pieces}{number}{name}" + (f" at {called.get(place, place)}" if place else "")
    if severity := wish.get("remedy_all"):
        where = f" in {wish['section']}" if wish.get("section") else ""
        return f"remedy every flaw that is {severity} or worse{where}"
    if flaw := wish.get("remedy"):
        return f"remedy {flaw}"
    place = wish.get("clear", "")
    return f"leave {called.get(place, place)} empty"


def otherwise(compared: ComparisonOut, called: Mapping[str, str]) -> list[str]:
    """What two versions ask for otherwise."""
    found = [f"asked as well: {wish_words(wish, called)}" for wish in compared["wishes_added"]]
    found += [f"asked no more: {wish_words(wish, called)}" for wish in compared["wishes_removed"]]
    for field, both in compared["changed"].items():
        was, now = both["from"], both["to"]
        each: list[tuple[str, object, object]] = [(field, was, now)] if field != "title" else []
        if isinstance(was, dict) and isinstance(now, dict):
            each = [(word.replace("_", " "), was.get(word), now.get(word)) for word in {**was, **now}]
        none = "every one" if field == "variants" else "no limit"
        found += [
            f"{word}: {_listed(old, none)} before, {_listed(new, none)} now."
            for word, old, new in each
            if _listed(old, none) != _listed(new, none)
        ]
    return found


def _listed(value: object, none: str) -> str:
    """What a field says; `none`: where it says nothing."""
    if isinstance(value, list):
        return ", ".join(map(str, value)) or none
    if value is True:
        return "yes"
    return none if not value or value in NO_LIMIT else str(value)
