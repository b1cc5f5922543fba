"""A flat parts list of 2,000 rows with planted dirt, the same for the same seed; and what is true of it.

`python -m tests.editing.dirty_list > list.csv` writes it. It reads the demo range's own sheets, so that
nothing of what it knows comes from the code under test.
"""

import csv
import io
import random
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

SEED = Path(__file__).resolve().parents[2] / "seed_data"
HEADS = ("Part No", "Description", "Place", "Model", "From", "To", "Qty", "Formerly", "Price", "Seller",
         "Box", "Days")  # fmt: skip
COLUMNS = {
    "number": "Part No", "description": "Description", "position": "Place", "fits": "Model", "from": "From",
    "to": "To", "quantity": "Qty", "replaces": "Formerly", "price": "Price", "supplier": "Seller",
    "pack": "Box", "lead_days": "Days",
}  # fmt: skip
ROWS = 2_000
OF_EACH = 6
"""So many rows have each kind of dirt."""

Cells = dict[str, str]
Fitment = tuple[str, frozenset[str], str, str, str, str, int]
"""(position, variants, chassis from, chassis to, built from, built to, quantity)."""


@dataclass
class Truth:
    """What a clean number is."""

    name: str
    fits: set[Fitment] = field(default_factory=set)
    offers: dict[str, tuple[str, int, int]] = field(default_factory=dict)
    replaces: set[str] = field(default_factory=set)


@dataclass
class Dirt:
    """A line with something wrong, and by what question it is asked, or by which words it is told."""

    kind: str
    line: int
    number: str
    told: str = ""


@dataclass
class DirtyList:
    """The list as text, what is true of its clean numbers, and what was planted."""

    text: str
    clean: dict[str, Truth]
    dirt: list[Dirt]


@dataclass(frozen=True)
class Variant:
    name: str
    title: str
    values: dict[str, str]
    spans: list[tuple[str, int, int, str, str]]
    """(prefix, first, last, built from, built to)."""


def tables(kind: str) -> Iterator[Cells]:
    """The rows of the demo range's tables of a kind."""
    for path in sorted(SEED.glob("*.csv")):
        wanted, heads = False, None
        for row in csv.reader(path.read_text(encoding="utf-8").splitlines()):
            if not any(row) or row[0].startswith("#"):
                continue
            if row[0].startswith("["):
                wanted, heads = row[0] == f"[{kind}]", None
            elif wanted and heads is None:
                heads = row
            elif wanted:
                yield dict(zip(heads or (), row, strict=False))


@cache
def variants() -> list[Variant]:
    """The demo range's variants as its sheets have them."""
    spans: dict[str, list[tuple[str, int, int, str, str]]] = {}
    for row in tables("chassis_span"):
        prefix, _, first = row["first"].rpartition("-")
        last = int(row["last"].rpartition("-")[2])
        spans.setdefault(row["variant"], []).append(
            (prefix, int(first), last, row["built_from"], row["built_to"])
        )
    return [Variant(row["name"], row["title"], row, spans[row["name"]]) for row in tables("variant")]


def positions() -> dict[str, str]:
    """Positions that every variant has, with their titles without what stands in brackets."""
    conditions = ("generations", "bodies", "engines", "drives", "steering", "markets", "variants")
    return {
        row["name"]: row["title"].partition(" (")[0]
        for row in tables("position")
        if not any(row.get(column) for column in conditions)
    }


class Maker:
    """Writes clean rows, and spoils some."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.variants = variants()
        self.positions = positions()
        self.suppliers = {row["name"]: row["title"] for row in tables("supplier")}
        self.components = {row["number"]: row["name"] for row in tables("component")}
        self.lines: list[Cells] = []
        self.truths: dict[str, Truth] = {}
        self.dirt: list[Dirt] = []
        self.count = 0

    def number(self) -> str:
        self.count += 1
        return f"FL-{self.count:04d}"

    def line(self) -> int:
        """The line that is written next; the heads stand in the first."""
        return len(self.lines) + 2

    def clean(self, **said: str) -> Cells:
        """A row without fault, and its truth; `said` goes over what is drawn."""
        position = self.random.choice(sorted(self.positions))
        title = self.positions[position]
        cells = dict.fromkeys(HEADS, "")
        way = self.random.randrange(3)
        cells["Description"] = title if way == 0 else f"{title} kit {self.count + 1}"
        if way:
            cells["Place"] = position if way == 1 else title.upper()
        model, meant = self._model()
        cells["Model"] = model
        ends = self._ends(cells, meant)
        quantity = self.random.choice((1, 1, 1, 2, 4))
        cells["Qty"] = "" if quantity == 1 else self.random.choice((f"{quantity}", f"{quantity} off"))
        price = f"{self.random.randrange(120, 90_000) / 100:.2f}"
        supplier = self.random.choice(sorted(self.suppliers))
        cells |= {"Price": price, "Seller": self.random.choice((supplier, self.suppliers[supplier]))}
        pack, days = self.random.choice((1, 10, 25)), self.random.choice((0, 3, 14))
        cells |= {"Box": str(pack) if pack > 1 else "", "Days": str(days) if days else ""}
        cells["Part No"] = self.number()
        truth = Truth(cells["Description"])
        truth.fits = {(position, variants, *ends, quantity) for variants in [meant]}
        truth.offers = {supplier: (price, pack, days)}
        if self.random.random() < 0.1 and self.truths:
            old = self.random.choice(sorted(self.truths))
            cells["Formerly"] = old
            truth.replaces = {old}
        cells |= said
        if not said:
            self.truths[cells["Part No"]] = truth
        return cells

    def _model(self) -> tuple[str, frozenset[str]]:
        """A word for vehicles, and the variants that it means."""
        way = self.random.randrange(6)
        one = self.random.choice(self.variants)
        generation, body = one.values["generation"], one.values["body"]
        if way == 0:
            return one.title, frozenset([one.name])
        if way == 1:
            return generation, self._having(generation=generation)
        if way == 2:
            return f"{generation} {body}", self._having(generation=generation, body=body)
        if way == 3:
            other = self.random.choice(self.variants)
            return f"{one.name}; {other.name}", frozenset([one.name, other.name])
        if way == 4:
            return "all models", frozenset(v.name for v in self.variants)
        return one.name, frozenset([one.name])

    def _having(self, **values: str) -> frozenset[str]:
        return frozenset(
            v.name for v in self.variants if all(v.values[key] == value for key, value in values.items())
        )

    def _ends(self, cells: Cells, meant: frozenset[str]) -> tuple[str, str, str, str]:
        """From and to, sometimes; what they mean."""
        way = self.random.randrange(4)
        if way == 0:
            day = f"19{self.random.randrange(58, 79)}-{self.random.randrange(1, 13):02d}-01"
            cells["From"] = day
            return "", "", day, ""
        if way == 1 and len(meant) == 1:
            prefix, first, last = self.span(next(iter(meant)))
            low = self.random.randrange(first, last - 10)
            high = self.random.randrange(low, last)
            bare = self.random.random() < 0.5
            cells["From"] = f"{low:06d}" if bare else f"{prefix}-{low:06d}"
            cells["To"] = f"{high:06d}" if bare else f"{prefix} {high}"
            return f"{prefix}-{low:06d}", f"{prefix}-{high:06d}", "", ""
        return "", "", "", ""

    def span(self, variant: str) -> tuple[str, int, int]:
        prefix, first, last, *_ = next(v for v in self.variants if v.name == variant).spans[0]
        return prefix, first, last

    def spoilt(self, kind: str, told: str = "", **said: str) -> None:
        """A row with a fault that `said` puts in."""
        cells = self.clean(**{"From": "", "To": "", "Formerly": "", **said})
        self.dirt.append(Dirt(kind, self.line(), cells["Part No"], told))
        self.lines.append(cells)

    def plain(self) -> None:
        self.lines.append(self.clean())


def _misspelt(make: Maker) -> None:
    name = make.random.choice(make.variants).title
    at = make.random.choice((1, 2, 4, 5))
    make.spoilt("fits", Model=name[:at] + name[at + 1] + name[at] + name[at + 2 :])


def _doubled(make: Maker) -> None:
    make.spoilt("says")
    again = {**make.lines[-1], "Description": f"another thing {make.count}"}
    make.dirt[-1].line += 1
    make.lines.append(again)


def _doubled_alike(make: Maker) -> None:
    make.plain()
    make.dirt.append(Dirt("told", make.line(), make.lines[-1]["Part No"], "says the same as line"))
    make.lines.append(dict(make.lines[-1]))


def _circle(make: Maker) -> None:
    size = make.random.choice((2, 3))
    first = make.count + 1
    numbers = [f"FL-{first + step:04d}" for step in range(size)]
    for step in range(size):
        make.spoilt("circle", Formerly=numbers[step - 1])


def _from_without_variant(make: Maker) -> None:
    make.spoilt("no_variant", Model="", From=f"{make.random.randrange(1000, 7000):06d}",
                Place=sorted(make.positions)[0])  # fmt: skip


def _upside_down(make: Maker) -> None:
    variant = make.random.choice(make.variants)
    prefix, first, last = make.span(variant.name)
    make.spoilt(
        "upside_down", Model=variant.name, From=f"{prefix}-{last - 5:06d}", To=f"{prefix}-{first + 5:06d}"
    )


def _outside(make: Maker) -> None:
    variant = make.random.choice(make.variants)
    make.spoilt(
        "outside",
        Model=variant.name,
        From=f"{make.span(variant.name)[0]}-{make.random.randrange(800_000, 900_000)}",
    )


def _other_variant(make: Maker) -> None:
    one, other = make.random.sample(make.variants, 2)
    prefix, first, _ = make.span(one.name)
    make.spoilt(
        "other_variant", Model=other.name, From=f"{prefix}-{first + make.random.randrange(1, 999):06d}"
    )


def _several(make: Maker) -> None:
    make.spoilt("several", Model="24 van", From=f"{make.random.randrange(1000, 8000):06d}")


def _ambiguous_price(make: Maker) -> None:
    whole, rest = make.random.randrange(1, 90), make.random.randrange(100, 999)
    make.spoilt("price_mark", Price=f"{whole}{make.random.choice(',.')}{rest}")


def _differs(make: Maker) -> None:
    """Singly: a box could be larger than the stock that the catalogue tells of, and is then refused."""
    number = make.random.choice(sorted(make.components))
    del make.components[number]
    said = {"Part No": number, "Description": f"a thing of its own {number}", "Box": ""}
    make.spoilt("name_differs", **said)


def _blank_number(make: Maker) -> None:
    make.spoilt("number", **{"Part No": "", "Description": f"loose screw {make.count}"})


def _bad_number(make: Maker) -> None:
    make.spoilt("number", **{"Part No": f"?? {make.count}"})


def _itself(make: Maker) -> None:
    make.spoilt("told", "replaces itself", Formerly=f"fl {make.count + 1:04d}")


def _other_writing(make: Maker) -> None:
    make.plain()
    again = {**make.lines[-1], "Part No": make.lines[-1]["Part No"].replace("-", " ").lower()}
    make.dirt.append(Dirt("told", make.line(), make.lines[-1]["Part No"], "is read as"))
    make.lines.append(again)


def _heads_again(make: Maker) -> None:
    make.dirt.append(Dirt("told", make.line(), "", "The heads stand here again"))
    make.lines.append(dict(zip(HEADS, HEADS, strict=True)))


def _blank(make: Maker) -> None:
    make.lines.append(dict.fromkeys(HEADS, ""))


SPOILERS: tuple[Callable[[Maker], None], ...] = (
    _misspelt, _doubled, _doubled_alike, _circle, _from_without_variant, _upside_down, _outside,
    _other_variant, _several, _ambiguous_price, _differs, _blank_number, _bad_number, _itself,
    _other_writing, _heads_again, _blank,
    lambda make: make.spoilt("price", Price=make.random.choice(("on request", "-12.50", "1.2345", "0.00"))),
    lambda make: make.spoilt("currency", Price="$12.50"),
    lambda make: make.spoilt("no_fits", Model="", Place=sorted(make.positions)[1]),
    lambda make: make.spoilt("position", Place="", Description=f"sundry bracket {make.count}"),
    lambda make: make.spoilt("replaces", Formerly=f"OLD-{make.count:05d}"),
    lambda make: make.spoilt("characters", Description=f"bush\u200e {make.count}"),
    lambda make: make.spoilt("formula", Description=f"=HYPERLINK({make.count})"),
    lambda make: make.spoilt("year", Model="24P-17-R", From=f"19{make.random.randrange(64, 72)}"),
    lambda make: make.spoilt("day_order", From=f"03/04/19{make.random.randrange(64, 72)}"),
    lambda make: make.spoilt("end", From=f"ZZ9-{make.random.randrange(1000, 9999)}"),
    lambda make: make.spoilt("count", Box=make.random.choice(("a pair", "half", "1/2"))),
    lambda make: make.spoilt("supplier", Seller=make.random.choice(("Nobody & Sons", "Unheard Parts"))),
    lambda make: make.spoilt("no_supplier", Seller=""),
)  # fmt: skip


def dirty_list(seed: int = 17, rows: int = ROWS) -> DirtyList:
    """The list: each kind of dirt so many times, in lines that the seed draws, and clean rows between."""
    make = Maker(seed)
    spoilers = [spoiler for spoiler in SPOILERS for _ in range(OF_EACH)]
    make.random.shuffle(spoilers)
    for spoiler in spoilers:
        for _ in range(make.random.randrange(5, 10)):
            make.plain()
        spoiler(make)
    while len(make.lines) < rows:
        make.plain()
    return DirtyList(written(make.lines[:rows]), make.truths, make.dirt)


def written(lines: list[Cells], between: str = ";") -> str:
    """Rows as CSV."""
    stream = io.StringIO()
    sheet = csv.DictWriter(stream, HEADS, delimiter=between, lineterminator="\r\n")
    sheet.writeheader()
    sheet.writerows(lines)
    return stream.getvalue()


if __name__ == "__main__":
    sys.stdout.write(dirty_list().text)
