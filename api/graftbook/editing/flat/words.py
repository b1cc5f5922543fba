"""What a row becomes, in words. Pure."""

from collections.abc import Iterable

from graftbook.editing.flat.known import Fields
from graftbook.editing.flat.settling import condition_words


def record_words(one: Fields) -> str:
    """One record as somebody reads it."""
    match one["record"]:
        case "component":
            price = f", {one['price']}" if one.get("price") else ""
            return f"component {one['number']}, {one['name']}, in {one['section']}{price}"
        case "fitment":
            return f"fits {one['position']}: {condition_words(one)}"
        case "offer":
            price = f"{one['price']} {one.get('currency', '')}".strip()
            pack = f", packs of {one['pack']}" if one.get("pack", 1) > 1 else ""
            return f"offered by {one['supplier']} for {price}{pack}"
        case "supersession":
            return f"{one['new']} supersedes {one['old']}"
        case kind:
            return f"new {kind} {one.get('name', '')}, {one.get('title', '')}"


def by_number(objects: Iterable[Fields]) -> dict[str, list[str]]:
    """What becomes of each number, in words; what belongs to none stands under the empty one."""
    found: dict[str, list[str]] = {}
    for one in objects:
        number = one.get("number") or one.get("component") or one.get("new") or ""
        found.setdefault(number, []).append(record_words(one))
    return found
