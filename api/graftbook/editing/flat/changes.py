"""What an issue of a list says otherwise than the last one that was taken. Pure."""

from collections.abc import Mapping, Sequence
from typing import Annotated, Literal

from pydantic import Field

from graftbook.document import Document
from graftbook.editing.flat.parts import ListedPart, ListFit
from graftbook.editing.flat.settling import condition_words

ChangeWord = Literal["new", "gone", "price", "span", "other"]


class FlatChangeOut(Document):
    """One thing that an issue says otherwise than the last one that was taken."""

    what: ChangeWord
    number: str
    name: str
    was: Annotated[str, Field(description="what the last issue that was taken said; empty: nothing")]
    now: Annotated[str, Field(description="what this issue says; empty: nothing")]


def changes_between(before: Mapping[str, ListedPart], now: Sequence[ListedPart]) -> list[FlatChangeOut]:
    """New and gone numbers, prices and spans that moved, names, packs and replaced numbers; by number."""
    found: list[FlatChangeOut] = []
    present = {part["number"]: part for part in now}
    for number, part in present.items():
        was = before.get(number)
        if was is None:
            found.append(_change("new", part, "", _in_words(part)))
        else:
            found += _changes_between(was, part)
    found += [_change("gone", part, _in_words(part), "") for n, part in before.items() if n not in present]
    return sorted(found, key=lambda one: (_ORDER.index(one["what"]), one["number"]))


_ORDER: tuple[ChangeWord, ...] = ("new", "gone", "price", "span", "other")


def _change(what: ChangeWord, part: ListedPart, was: str, now: str) -> FlatChangeOut:
    return {"what": what, "number": part["number"], "name": part["name"], "was": was, "now": now}


def _changes_between(was: ListedPart, now: ListedPart) -> list[FlatChangeOut]:
    compared: list[tuple[ChangeWord, str, str]] = [
        ("price", _price_words(was), _price_words(now)),
        ("span", fits_words(was["fits"]), fits_words(now["fits"])),
        ("other", _other_words(was), _other_words(now)),
    ]
    return [_change(what, now, one, other) for what, one, other in compared if one != other]


def _price_words(part: ListedPart) -> str:
    prices = [f"{seller} {offer['price']} {offer['currency']}".strip() for seller, offer in
              sorted(part["offers"].items())]  # fmt: skip
    return ", ".join(([part["price"]] if part["price"] else []) + prices)


def fits_words(fits: Sequence[ListFit]) -> str:
    """Where a part fits, in words."""
    places = [(fit["position"], {**fit["condition"], "quantity": fit["quantity"]}) for fit in fits]
    return "; ".join(sorted(f"{position}: {condition_words(fields)}" for position, fields in places))


def _other_words(part: ListedPart) -> str:
    packs = [f"{seller} packs of {offer['pack']}" for seller, offer in sorted(part["offers"].items()) if
             offer["pack"] > 1]  # fmt: skip
    days = [f"{seller} {offer['lead_days']} days" for seller, offer in sorted(part["offers"].items()) if
            offer["lead_days"] is not None]  # fmt: skip
    own = [f"pack of {part['pack']}"] if part["pack"] > 1 else []
    replaces = [f"replaces {', '.join(part['replaces'])}"] if part["replaces"] else []
    return ", ".join(filter(None, (part["name"], *own, *packs, *days, *replaces)))


def _in_words(part: ListedPart) -> str:
    return "; ".join(filter(None, (_other_words(part), _price_words(part), fits_words(part["fits"]))))
