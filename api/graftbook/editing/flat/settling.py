"""From parts to records: what the list says beside the catalogue and what the last issue said. Pure.

What the list says is taken where the catalogue says nothing, or still says what the last issue said. What
somebody else changed in the catalogue stays while the list says the same as before. Where both changed, it
is asked. Columns that the list knows nothing of (minutes, evidence, hazard …) always stay as they are.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from graftbook.catalogue.format.fields import Conditional
from graftbook.catalogue.format.names import fitment_name, offer_name, supersession_name
from graftbook.editing.flat.known import Fields, KnownRecords
from graftbook.editing.flat.mapping import FlatMapping
from graftbook.editing.flat.parts import ListedPart, ListFit, OfferFields
from graftbook.editing.flat.questions import Asking

CATALOGUE, LIST, BOTH = "catalogue", "list", "both"
_JUMP = Decimal(5)
_CONDITION = frozenset(Conditional.model_fields)


@dataclass(slots=True)
class Settled:
    """Records to load, names to remove, and what was said of the numbers that can be taken."""

    objects: list[Fields] = field(default_factory=list)
    removals: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    taken: dict[str, ListedPart] = field(default_factory=dict)
    gone: list[str] = field(default_factory=list)
    unchanged: int = 0
    """Numbers of which the list says the same as when they were taken."""


class Settling:
    """Settles part by part; a part that something is asked of brings nothing, nor does one that the list
    tells as before: whatever the catalogue says of it by now stays."""

    def __init__(
        self,
        known: KnownRecords,
        mapping: FlatMapping,
        asking: Asking,
        before: Mapping[str, ListedPart],
        only: bool,
    ) -> None:
        self.known, self.mapping, self.asking, self.before = known, mapping, asking, before
        self.only_range = only
        self.mapped = set(mapping.columns)
        self.settled = Settled()

    def part(self, part: ListedPart, lines: list[int]) -> None:
        """Add what a number brings, unless it waits."""
        number = part["number"]
        self.asking.at(number, lines)
        was = self.before.get(number)
        waits = number in self.asking.waiting
        if was and _same(part, was) and not waits and self._stands("component", number):
            self.settled.taken[number] = part
            self.settled.unchanged += 1
            return
        objects = [self._component(part, was)]
        removed: dict[str, list[str]] = defaultdict(list)
        self._fitments(part, was, objects, removed)
        self._offers(part, was, objects, removed)
        self._supersessions(part, was, objects)
        if number in self.asking.waiting:
            return
        self.settled.objects += objects
        for kind, names in removed.items():
            self.settled.removals[kind] += names
        self.settled.taken[number] = part

    def _stands(self, kind: str, name: str) -> Fields | None:
        return self.known.records.get(kind, {}).get(name)

    def _ours_or_theirs(
        self, kind: str, about: str, ours: Any, theirs: Any, base: Any, told: str, said: tuple[str, str]
    ) -> Any:
        """Ours or theirs; asked where both differ from what the last issue said."""
        if not ours or ours == theirs or not theirs or (base and theirs == base):
            return ours or theirs
        if base and ours == base:
            return theirs
        offered = [(LIST, f"as the list says: {said[0]}"), (CATALOGUE, f"as the catalogue says: {said[1]}")]
        return ours if self.asking.ask(kind, about, told, offered, for_all=True) == LIST else theirs

    def _component(self, part: ListedPart, was: ListedPart | None) -> Fields:
        number = part["number"]
        stands = self._stands("component", number)
        if stands is None:
            new = {"number": number, "name": part["name"], "section": part["section"],
                   "origin": self.mapping.origin, "note": part["note"]}  # fmt: skip
            if part["price"]:
                new["price"] = self._not_jumped(number, "", part["price"], was["price"] if was else "")
            return {"record": "component", **new, **({"pack": part["pack"]} if part["pack"] else {})}
        found = dict(stands)
        for name in ("name", "price", "pack"):
            ours = self._plain(name, part[name])
            theirs = self._plain(name, stands.get(name))
            base = self._plain(name, was[name]) if was else ""
            sentence = f"{number}: the list says {name} {ours}, the catalogue says {theirs}."
            about = f"{number}: {ours} or {theirs}"
            if name == "price" and ours:
                ours = self._not_jumped(number, "", ours, base)
            if value := self._ours_or_theirs(
                f"{name}_differs", about[:250], ours, theirs, base, sentence, (ours, theirs)
            ):
                found[name] = value
        if stands.get("supply") == "no longer supplied":
            sentence = f"{number} is on the list, but the catalogue says that it is no longer supplied."
            again = [("current", "it is supplied again"), ("stays", "it stays as it is")]
            if self.asking.ask("supplied_again", number, sentence, again, for_all=True) == "current":
                del found["supply"]
        return {"record": "component", **found}

    @staticmethod
    def _plain(name: str, value: Any) -> str:
        """A value as it is compared; empty: not said."""
        if value in (None, "", 0):
            return ""
        return str(Decimal(value).quantize(Decimal("0.01"))) if name == "price" else str(value)

    def _not_jumped(self, number: str, seller: str, now: str, was: str) -> str:
        """The new price, unless it moved so far that a slip is likely and the old one was chosen."""
        if not now or not was or not Decimal(was) or not Decimal(now):
            return now
        ratio = Decimal(now) / Decimal(was)
        if 1 / _JUMP < ratio < _JUMP:
            return now
        whose = f" from {seller}" if seller else ""
        sentence = f"{number}{whose} was {was} in the last issue and is {now} now."
        offered = [("new", f"{now} is right"), ("old", f"keep {was}")]
        about = f"{number}{whose}: {now}"
        return was if self.asking.ask("price_jump", about, sentence, offered, for_all=True) == "old" else now

    # Fitments

    def _fitments(
        self, part: ListedPart, was: ListedPart | None, objects: list[Fields], removed: dict[str, list[str]]
    ) -> None:
        ours = _by_position(part["fits"])
        base = _by_position(was["fits"]) if was else {}
        for position, fits in ours.items():
            self._at(part["number"], position, fits, base.get(position, []), objects, removed)
        if base and not ours:
            self.asking.tell(f"The list no longer says what {part['number']} fits; its fitments stay.")
        for position in sorted(set(base) - set(ours)) if ours else ():
            stands = self.known.fitments.get((part["number"], position), {})
            if self._mean(stands.values()) == self._mean(map(self._fields, base[position])):
                removed["fitment"] += stands
            elif stands:
                sentence = (
                    f"{part['number']} no longer fits {position} by the list; the catalogue's fitment stays."
                )
                self.asking.tell(sentence)

    def _at(
        self, number: str, position: str, fits: list[ListFit], base: list[ListFit],
        objects: list[Fields], removed: dict[str, list[str]],
    ) -> None:  # fmt: skip
        stands = self.known.fitments.get((number, position), {})
        ours, theirs = self._mean(map(self._fields, fits)), self._mean(stands.values())
        before = self._mean(map(self._fields, base))
        if stands and (ours == theirs or (base and ours == before)):
            return
        taken = LIST
        if stands and not (base and theirs == before):
            about = f"{number} at {position}: {self._in_words(map(self._fields, fits))}"
            both = (self._in_words(map(self._fields, fits)), self._in_words(stands.values()))
            place = self.known.positions[position].title
            sentence = f"{number} at {place}: the list says {both[0]}; the catalogue says {both[1]}."
            offered = [(CATALOGUE, "as the catalogue says"), (LIST, "as the list says"), (BOTH, "both hold")]
            taken = self.asking.ask("fitment_differs", about[:250], sentence, offered, for_all=True) or ""
        if taken in (LIST, BOTH):
            self._replace_fitments(
                number, position, fits, {} if taken == BOTH else stands, set(stands), objects, removed
            )

    def _replace_fitments(
        self, number: str, position: str, fits: list[ListFit], instead: Mapping[str, Fields], names: set[str],
        objects: list[Fields], removed: dict[str, list[str]],
    ) -> None:  # fmt: skip
        """Records of the list's fitments, under the names of those that they stand in for."""
        free = sorted(instead)
        usual = fitment_name(number, position)
        for fit in fits:
            count = 1
            while not free and (usual if count == 1 else f"{usual}/{count}") in names:
                count += 1
            name = free.pop(0) if free else usual if count == 1 else f"{usual}/{count}"
            names.add(name)
            new = {"from_new": True} if self.mapping.from_new and name not in instead else {}
            kept = {k: v for k, v in instead.get(name, {}).items() if k not in _CONDITION}
            objects.append({**self._of_list(), **new, **kept, **self._fields(fit), "record": "fitment",
                            "name": name, "component": number, "position": position})  # fmt: skip
        removed["fitment"] += free

    def _of_list(self) -> Fields:
        return {"evidence": [self.mapping.evidence]} if self.mapping.evidence else {}

    def _fields(self, fit: ListFit) -> Fields:
        ranged = {} if self.only_range else {"range": self.known.range}
        return {
            **ranged,
            **fit["condition"],
            **({"quantity": fit["quantity"]} if fit["quantity"] > 1 else {}),
        }

    def _mean(self, fitments: Any) -> frozenset[Any]:
        return frozenset((self.known.expand(one), one.get("quantity", 1)) for one in fitments)

    def _in_words(self, fitments: Any) -> str:
        return "; and ".join(sorted(condition_words(one) for one in fitments))

    # Offers and supersessions

    def _offers(
        self, part: ListedPart, was: ListedPart | None, objects: list[Fields], removed: dict[str, list[str]]
    ) -> None:
        number = part["number"]
        for seller, ours in part["offers"].items():
            name = offer_name(seller, number, None)
            base = was["offers"].get(seller) if was else None
            stands = self._stands("offer", name)
            ours["price"] = self._not_jumped(number, seller, ours["price"], base["price"] if base else "")
            taken = ours
            if stands:
                sentence = (
                    f"{seller} offers {number}: the list says {_offer_words(ours)}, the catalogue says "
                )
                theirs = _as_offered(stands)
                sentence += f"{_offer_words(theirs)}."
                both = (_offer_words(ours), _offer_words(theirs))
                about = f"{name}: {both[0]} or {both[1]}"
                ours_full = {**theirs, **_offer_fields(ours)}
                taken = self._ours_or_theirs("offer_differs", about[:250], ours_full, theirs,
                                     base and {**theirs, **_offer_fields(base)}, sentence, both)  # fmt: skip
            offer = {**(stands or {}), **_offer_fields(taken)}
            if 0 < (offer.get("stock") or 0) < offer.get("pack", 1):
                sentence = f"By the catalogue {seller} has {offer.pop('stock')} of {number} at hand"
                self.asking.tell(f"{sentence}, less than a pack of the list: what is at hand is left open.")
            objects.append({**offer, "record": "offer", "supplier": seller, "component": number})
        if was and "price" in self.mapped:
            for seller in sorted(set(was["offers"]) - set(part["offers"])):
                self._no_longer_offered(number, seller, was["offers"][seller], removed)

    def _no_longer_offered(
        self, number: str, seller: str, base: OfferFields, removed: dict[str, list[str]]
    ) -> None:
        name = offer_name(seller, number, None)
        stands = self._stands("offer", name)
        if stands and _as_offered(stands) == {**_as_offered(stands), **_offer_fields(base)}:
            removed["offer"].append(name)
        elif stands:
            self.asking.tell(f"{seller} no longer offers {number} by the list; the catalogue's offer stays.")

    def _supersessions(self, part: ListedPart, was: ListedPart | None, objects: list[Fields]) -> None:
        number = part["number"]
        for old in part["replaces"]:
            if self._stands("supersession", supersession_name(old, number)) is None:
                objects.append({**self._of_list(), "record": "supersession", "old": old, "new": number})
        for old in sorted(set(was["replaces"]) - set(part["replaces"])) if was else ():
            self.asking.tell(
                f"The list no longer says that {number} replaces {old}; the catalogue still does."
            )

    # Numbers that the list no longer has

    def gone(self, number: str) -> None:
        """Settle a number that the last issue had and this one has not."""
        was, stands = self.before[number], self._stands("component", number)
        if stands is None:
            self.settled.gone.append(number)
            return
        self.asking.at(number, ())
        offered = [
            ("ended", "it is no longer supplied; the list's offers are taken out"),
            ("offers", "take the list's offers out, leave the number"),
            ("stays", "everything stays as it is"),
        ]
        sentence = f"{number} {stands['name']} was in the last issue of the list and is not in this one."
        answer = self.asking.ask("gone", number, sentence, offered, for_all=True)
        if answer is None:
            return
        self.settled.gone.append(number)
        if answer == "ended":
            self.settled.objects.append({**stands, "record": "component", "supply": "no longer supplied"})
        for seller, base in was["offers"].items() if answer != "stays" else ():
            self._no_longer_offered(number, seller, base, self.settled.removals)


def _same(one: ListedPart, other: ListedPart) -> bool:
    """Whether two issues tell a number alike. The section is only asked of numbers that are new."""
    return {**one, "section": ""} == {**other, "section": ""}


def _by_position(fits: list[ListFit]) -> dict[str, list[ListFit]]:
    found: dict[str, list[ListFit]] = defaultdict(list)
    for one in fits:
        found[one["position"]].append(one)
    return found


def condition_words(fields: Mapping[str, Any]) -> str:
    """A condition as one says it: `24P-17-R, from 24PR-000200`; `every vehicle` where it says nothing."""
    lists = [
        ", ".join(value) if isinstance(value, list) else value
        for column in ("variants", "generations", "bodies", "engines", "drives", "markets", "steering",
                       "options")
        if (value := fields.get(column))
    ]  # fmt: skip
    ends = [
        f"{word} {fields[column]}"
        for column, word in (("chassis_from", "from"), ("built_from", "built from"), ("chassis_to", "to"),
                             ("built_to", "built to"), ("without", "without"))
        if fields.get(column)
    ]  # fmt: skip
    quantity = [f"{fields['quantity']} of it"] if fields.get("quantity", 1) > 1 else []
    return ", ".join([*(lists or ["every vehicle"]), *ends, *quantity])


def _as_offered(stands: Fields) -> OfferFields:
    return {
        "price": str(Decimal(stands["price"]).quantize(Decimal("0.01"))),
        "currency": stands.get("currency", ""), "pack": stands.get("pack", 0),
        "lead_days": stands.get("lead_days"), "deposit": str(stands.get("deposit", "")),
    }  # fmt: skip


def _offer_fields(offered: OfferFields) -> Fields:
    """What an offer says, without what it leaves open."""
    return {name: value for name, value in offered.items() if value not in ("", 0, None) or name == "price"}


def _offer_words(offered: OfferFields) -> str:
    price = f"{offered['price']} {offered['currency']}".strip()
    pack = f", packs of {offered['pack']}" if offered["pack"] > 1 else ""
    days = f", {offered['lead_days']} days" if offered["lead_days"] is not None else ""
    deposit = f", deposit {offered['deposit']}" if offered["deposit"] else ""
    return f"{price}{pack}{days}{deposit}"
