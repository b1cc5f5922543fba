"""From rows to parts: what the list says of each number, with a question for whatever is unclear. Pure."""

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from decimal import Decimal

from graftbook.catalogue.format.fields import NAME_PATTERN, is_printable
from graftbook.catalogue.format.names import as_typed, plain_text, without_accents
from graftbook.editing.flat.cells import SIGNS, Sum, count_in, money_in
from graftbook.editing.flat.ends import Condition, NoFitmentMade, RowEnds, Waits
from graftbook.editing.flat.known import EVERY, KnownRecords, Vehicles, pieces
from graftbook.editing.flat.mapping import FieldWord, FlatMapping
from graftbook.editing.flat.parts import ListedPart, ListFit, ListRow, OfferFields
from graftbook.editing.flat.questions import OUT, Asking
from graftbook.editing.flat.rows import Rows, heads_of

LOOSE = "loose"
_NUMBER = re.compile(NAME_PATTERN)
_MADE_A_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_SLUG = re.compile(r"[^a-z0-9]+")
_AND = re.compile(r"\band\b", re.IGNORECASE)
_NO_PRICE = (OUT, "no price")
LONGEST_WORD = 120
_PLACING: tuple[FieldWord, ...] = ("position", "fits", "from", "to")
"""A row that says nothing in these says nothing of fitments that the catalogue has already."""


def rows_told(rows: Rows, mapping: FlatMapping, asking: Asking) -> list[ListRow]:
    """The rows with something in them, as fields; what is passed over is told."""
    heads = heads_of(rows, mapping.head_line)
    at = {field: heads.index(head) for field, head in mapping.columns.items() if head in heads}
    written = rows[mapping.head_line - 1] if mapping.head_line <= len(rows) else []
    last = max([n for n, head in enumerate(written) if head.strip()] + list(at.values()), default=0)
    usual = max([len(written), *(length for length, _ in Counter(map(len, rows)).most_common(1))])
    found: list[ListRow] = []
    blank = 0
    for line, cells in enumerate(rows[mapping.head_line :], start=mapping.head_line + 1):
        row = ListRow(line, {field: cells[n] for field, n in at.items() if n < len(cells) and cells[n]})
        asking.at(row["number"], [line])
        if not row.cells:
            blank += 1
        elif all(text == mapping.columns[field] for field, text in row.cells.items()):
            asking.tell("The heads stand here again; passed over.")
        elif _is_under_its_heads(cells, last, usual, asking) and _is_clean(row, mapping, asking):
            found.append(row)
    asking.at("", [0])
    if blank:
        rows_said = "1 row" if blank == 1 else f"{blank} rows"
        asking.tell(f"{rows_said} with nothing in the mapped columns; passed over.")
    return found


def _is_under_its_heads(cells: Sequence[str], last: int, usual: int, asking: Asking) -> bool:
    """Whether a row is no longer than the heads, and has no more cells than are `usual` here: in one that is
    or has, each cell may stand below a wrong head."""
    over = next((text for text in cells[last + 1 :] if text), "")
    if not over and len(cells) <= usual:
        return True
    over = over or next((text for text in reversed(cells) if text), "")
    sentence = (
        f"The row has more cells than there are heads, to “{over[:60]}”: is what parts the cells in one?"
    )
    offered = [
        ("row", "each stands below its head; what is behind is passed over"),
        (OUT, "leave the row out"),
    ]
    return asking.ask("cells", " ".join(filter(None, cells))[:120], sentence, offered, for_all=True) == "row"


def _is_clean(row: ListRow, mapping: FlatMapping, asking: Asking) -> bool:
    """Whether a row can be read; cells with formulas and signs that nobody can print are asked about."""
    for field, text in list(row.cells.items()):
        column = f"The column {mapping.columns[field]}"
        if text[0] in "=@" or (text[0] in "+-" and re.search(r"[A-Za-z(]", text) and field != "note"):
            sentence = f"{column} holds a formula, “{text[:60]}”, not what it comes to."
        elif not is_printable(text.replace("\n", " ")):
            sentence = f"{column} holds signs that cannot be printed."
        else:
            row.cells[field] = text if field in ("fits", "replaces", "position") else " ".join(text.split())
            continue
        kind = "formula" if text[0] in "=@+-" else "characters"
        blank, out = ("blank", "as if the cell were empty"), (OUT, "leave the row out")
        answer = asking.ask(kind, f"{field} {text[:60]}", sentence, [blank, out], for_all=True)
        if answer != "blank":
            return False
        del row.cells[field]
    return True


class Telling:
    """Reads the rows of one issue into parts; `asking` gathers what is unclear."""

    def __init__(self, known: KnownRecords, mapping: FlatMapping, asking: Asking) -> None:
        self.known, self.mapping, self.asking = known, mapping, asking
        self.new_suppliers: dict[str, str] = {}
        self.left_out: set[str] = set()
        self.lines: dict[str, list[int]] = {}
        self.looked: dict[str, Vehicles | None] = {}
        self.parted: dict[str, list[str]] = {}

    def parts(self, rows: Sequence[ListRow]) -> list[ListedPart]:
        """The numbers that the rows tell of; those that something is asked of are among `asking.waiting`."""
        groups: dict[str, list[ListRow]] = defaultdict(list)
        writings: dict[str, str] = {}
        for row in rows:
            if number := self._number(row):
                number = writings.setdefault(as_typed(number), number)
                if row["number"] != number:
                    self.asking.at(number, [row.line])
                    self.asking.tell(f"“{row['number']}” is read as {number}.")
                groups[number].append(row)
        self.lines = {number: [row.line for row in some] for number, some in groups.items()}
        held = {as_typed(number) for number in self.asking.waiting}
        self.asking.waiting |= {number for number in groups if as_typed(number) in held}
        parts = [self._part(number, some) for number, some in groups.items()]
        return [part for part in parts if part["number"] not in self.left_out]

    def _number(self, row: ListRow) -> str:
        """The number of a row as the catalogue writes it; empty: the row has none that can be used."""
        number = plain_text(row["number"]).strip()
        self.asking.at(number[:LONGEST_WORD], [row.line])
        day = _MADE_A_DAY.fullmatch(number) and not self.known.meant(number)
        if day or not _NUMBER.match(number) or not as_typed(number):
            others = " ".join(text for field, text in row.cells.items() if field != "number")
            sentence, right = f"No number stands beside “{others[:80]}”.", []
            if day:
                sentence = f"“{number}” is a day: did the spreadsheet make it of a part number?"
                right = [(number, f"{number} is the number")]
            elif number:
                sentence = f"“{number[:60]}” is no part number."
            answer = self.asking.ask(
                "number", number if day else f"{number[:60]} {others[:80]}".strip(), sentence,
                [*right, (OUT, "leave the row out")],
                typed="number", reads=lambda typed: bool(_NUMBER.match(typed)),
            )  # fmt: skip
            if answer in (None, OUT):
                return ""
            number = answer or ""
        meant = self.known.meant(number)
        if len(meant) == 1:
            return meant[0]
        sentence = f"“{number}” may be any of {len(meant)} numbers of the catalogue."
        if not meant:
            meant = self.known.with_digits.get(as_typed(number), [])
            sentence = f"The catalogue has no “{number}”, and has it with digits for letters."
        if not meant:
            return number
        offered = [*((one, one) for one in meant), (number, f"{number} is a new number")]
        return self.asking.ask("number", number, sentence, offered) or ""

    def _part(self, number: str, rows: list[ListRow]) -> ListedPart:
        self.asking.at(number, [row.line for row in rows])
        rows = self._without_doubles(rows)
        name = self._one(number, rows, "description")
        known = self.known.records.get("component", {}).get(number)
        if not known and not any(row["description"] for row in rows):
            name = self._description(number)
            if number in self.left_out:
                rows = []
        offers, price, pack = self._offers_in(number, rows)
        fits = self._fits(number, name, rows)
        self.asking.at(number, self.lines[number])
        section = self._section(number, name, rows, fits) if rows and not known else ""
        return {
            "number": number, "name": name, "section": section, "price": price, "pack": pack,
            "note": self._one(number, rows, "note"), "fits": fits, "offers": offers,
            "replaces": self._replaces(number, rows),
        }  # fmt: skip

    def _without_doubles(self, rows: list[ListRow]) -> list[ListRow]:
        """Rows that say the same in every column count once."""
        seen: dict[tuple[tuple[str, str], ...], ListRow] = {}
        for row in rows:
            first = seen.setdefault(tuple(sorted((f, t) for f, t in row.cells.items() if f != "number")), row)
            if first is not row:
                self.asking.tell(f"Line {row.line} says the same as line {first.line}; it counts once.")
        return list(seen.values())

    def _one(self, number: str, rows: Iterable[ListRow], field: FieldWord, whose: str = "") -> str:
        """What the rows say in one column; asked where they say several things."""
        entries = list(dict.fromkeys(row[field] for row in rows if row[field]))
        if len({text.casefold() for text in entries}) < 2:
            return entries[0] if entries else ""
        whose = f" from {whose}" if whose else ""
        about = f"{number} {field}{whose}: {' | '.join(sorted(entries))[:200]}"
        lines = {text: next(row.line for row in rows if row[field] == text) for text in entries}
        column = self.mapping.columns[field]
        sentence = f"{number} has {len(entries)} different entries in the column {column}{whose}."
        offered = [(text, f"{text} (line {lines[text]})") for text in entries[:20]]
        return self.asking.ask("says", about, sentence, offered) or ""

    def _description(self, number: str) -> str:
        sentence = f"{number} is new to the catalogue, and nothing says what it is."
        offered = [(OUT, "leave the number out")]
        answer = self.asking.ask(
            "description", number, sentence, offered, typed="text", reads=_says_something, for_all=True
        )
        if answer == OUT:
            self.left_out.add(number)
        return answer or ""

    # What it fits

    def _fits(self, number: str, name: str, rows: Sequence[ListRow]) -> list[ListFit]:
        if not {"fits", "from", "to"} & set(self.mapping.columns):
            return []
        found: list[ListFit] = []
        for row in rows:
            self.asking.at(number, [row.line])
            if number in self.known.positions_of and not any(map(row.__getitem__, _PLACING)):
                continue
            for position in self._positions(number, row, row["description"] or name):
                for condition in self._conditions(row):
                    fits: ListFit = {
                        "position": position, "quantity": self._count(row, "quantity") or 1,
                        "condition": condition,
                    }  # fmt: skip
                    if fits not in found:
                        found.append(fits)
        return found

    def _positions(self, number: str, row: ListRow, name: str) -> list[str]:
        """Where the part sits; nowhere when it is loose, or as long as that is asked."""
        text = row["position"] or name
        known = self.known.positions_of.get(number, [])
        if not row["position"] and known:
            own = self.known.position(text)
            return [own] if own in known else sorted(known)
        if not text:
            return []
        if row["position"]:
            every = [self.known.position(one) for one in pieces(text)]
            if all(every):
                return every
        elif one := self.known.position(text):
            return [one]
        return self._position_asked(text, "position" if row["position"] else "description")

    def _position_asked(self, text: str, column: str) -> list[str]:
        sentence = f"The {column} “{text[:120]}” names no position that the catalogue knows."
        near = self.known.positions_near(text)
        sides = [(f"{a[0]}; {b[0]}", f"both {a[1]} and {b[1]}") for a, b in _sides(near)]
        answer = self.asking.ask(
            "position", text[:120].casefold(), sentence,
            [*near, *sides, (LOOSE, "a loose part: it sits in no position")], typed="position", for_all=True,
            reads=lambda typed: all(map(self.known.position, pieces(typed))) and bool(pieces(typed)),
        )  # fmt: skip
        if answer in (None, LOOSE):
            return []
        return [self.known.position(one) for one in pieces(answer or "")]

    def _conditions(self, row: ListRow) -> list[Condition]:
        try:
            vehicles = self._vehicles(row)
            return RowEnds(self.asking, self.known, self.mapping, row, vehicles).conditions()
        except (Waits, NoFitmentMade):
            return []

    def _vehicles(self, row: ListRow) -> Vehicles | None:
        """What the row fits; None when only its chassis numbers can say. Raises Waits, NoFitment."""
        text = row["fits"]
        if not text:
            if row["from"] or row["to"]:
                return None
            sentence = f"{self.asking.number} sits somewhere, but the row does not say in which vehicles."
            offered = [(EVERY, "in every vehicle that has the position"), (OUT, "no fitment from these rows")]
            answer = self.asking.ask("no_fits", self.asking.number, sentence, offered, for_all=True)
            if answer is None:
                raise Waits
            if answer == OUT:
                raise NoFitmentMade
            return Vehicles(frozenset(self.known.variants))
        if whole := self.known.vehicles(text):
            return whole
        words = [word for part in pieces(text) for word in self._words(part)]
        meant = [found for word in words if (found := self._word(word))]
        if not meant:
            raise NoFitmentMade
        return _together(meant)

    def _words(self, part: str) -> list[str]:
        if part not in self.parted:
            whole = self.known.vehicles(part) or self.known.is_like_a_title(part)
            self.parted[part] = [part] if whole else list(pieces(_AND.sub(",", part), ",/&+"))
        return self.parted[part]

    def _word(self, word: str) -> Vehicles | None:
        """What a word for vehicles means; None when it was left out. Raises Waits."""
        if word in self.looked:
            return self.looked[word]
        if found := self.known.vehicles(word):
            self.looked[word] = found
            return found
        sentence = f"“{word[:80]}” is not known as a word for vehicles, or can be read in two ways."
        answer = self.asking.ask(
            "fits", word[:80].casefold(), sentence,
            [*self.known.vehicles_near(word), (EVERY, "every vehicle"), (OUT, "leave this word out")],
            typed="vehicle", reads=lambda typed: self._meant(typed) is not None,
        )  # fmt: skip
        if answer is None:
            raise Waits
        self.looked[word] = None if answer == OUT else self._meant(answer)
        return self.looked[word]

    def _meant(self, text: str) -> Vehicles | None:
        """What one word or several mean together; None when one of them is not known."""
        meant = [self.known.vehicles(word) for part in pieces(text) for word in self._words(part)]
        known = [one for one in meant if one]
        return _together(known) if known and len(known) == len(meant) else None

    def _section(self, number: str, name: str, rows: Sequence[ListRow], fits: Sequence[ListFit]) -> str:
        text = self._one(number, rows, "section")
        if text and (section := self.known.section(text)):
            return section
        if not text:
            for one in fits:
                return self.known.positions[one["position"]].section
            if self.mapping.section:
                return self.mapping.section
        about = text or name
        if not about or number in self.asking.waiting:
            return ""  # where it sits may say it, once that is known
        sentence = f"“{text[:80]}” is no section." if text else f"No section is said for “{name[:80]}”."
        every = list(self.known.sections.items())
        return self.asking.ask("section", about[:120].casefold(), sentence, every, for_all=not text) or ""

    # What it costs

    def _offers_in(self, number: str, rows: Sequence[ListRow]) -> tuple[dict[str, OfferFields], str, int]:
        """Offers by supplier, the list price, and the pack of what nobody in particular offers."""
        by_seller: dict[str, list[ListRow]] = defaultdict(list)
        for row in rows:
            self.asking.at(number, [row.line])
            if row["price"] or row["pack"] or row["lead_days"] or row["deposit"]:
                by_seller[self._seller(row)].append(row)
        offers: dict[str, OfferFields] = {}
        price, pack = "", 0
        for seller, some in by_seller.items():
            self.asking.at(number, [row.line for row in some])
            offer = self._offer_in(number, seller, some)
            if not seller:
                price, pack = offer["price"], offer["pack"]
            elif seller != OUT and offer["price"]:
                offers[seller] = offer
        return offers, price, pack

    def _offer_in(self, number: str, seller: str, rows: Sequence[ListRow]) -> OfferFields:
        def one(field: FieldWord) -> ListRow:
            return ListRow(0, {field: self._one(number, rows, field, seller)})

        price, currency = self._price(one("price")["price"], one("currency")["currency"])
        deposit, _ = self._price(one("deposit")["deposit"], currency)
        return {
            "price": price, "currency": currency, "pack": self._count(one("pack"), "pack") or 0,
            "lead_days": self._count(one("lead_days"), "lead_days", least=0), "deposit": deposit,
        }  # fmt: skip

    def _seller(self, row: ListRow) -> str:
        """The supplier's name; empty: it is the list price, `out`: not to be taken."""
        text = row["supplier"]
        if not text:
            if "supplier" not in self.mapping.columns or self.mapping.supplier:
                return self.mapping.supplier
            sentence = f"{self.asking.number} has a price, but no supplier."
            offered = [("list", "it is the list price"), (OUT, "leave the price out")]
            answer = self.asking.ask("no_supplier", self.asking.number, sentence, offered, for_all=True)
            return "" if answer == "list" else OUT
        if name := self.known.supplier(text) or self.new_suppliers.get(text, ""):
            return name
        new = _SLUG.sub("-", without_accents(text).casefold()).strip("-")[:60] or "supplier"
        new = f"{new}-2" if new in self.known.suppliers else new
        near = [(name, title) for name, title in self.known.suppliers.items() if _shares_a_word(text, title)]
        sentence = f"“{text[:80]}” is not known as a supplier."
        every = [*near[:6], ("new", f"a new supplier, {new}"), (OUT, "leave its offers out")]
        answer = self.asking.ask(
            "supplier", text[:80].casefold(), sentence, every, typed="supplier",
            reads=lambda typed: bool(self.known.supplier(typed)), for_all=True,
        )  # fmt: skip
        if answer == "new":
            return self.new_suppliers.setdefault(text, new)
        return OUT if answer in (None, OUT) else self.known.supplier(answer or "")

    def _price(self, text: str, currency: str) -> tuple[str, str]:
        """A price with two decimals, empty: none; and its currency, empty: the catalogue's."""
        currency = currency or self.mapping.currency
        if not text:
            return "", currency
        found = money_in(text)
        if found is None or not any(found.ways.values()):
            answer = self.asking.ask(
                "price", text[:60], f"“{text[:60]}” is no price.", [_NO_PRICE], typed="price", for_all=True,
                reads=lambda typed: bool((read := money_in(typed)) and not read.doubtful and _one_way(read)),
            )  # fmt: skip
            read = money_in(answer) if answer and answer != OUT else None
            return (str(_one_way(read)) if read else ""), currency
        if found.sign:
            currency = self._currency(found.sign, currency)
        return self._amount(text, found), currency

    def _amount(self, text: str, found: Sum) -> str:
        style = self.mapping.decimal
        if style != "ask" and (amount := found.ways.get(style)):
            return str(amount)
        if not found.doubtful and style == "ask":
            return str(_one_way(found))
        words = {way: f"the {way} stands before the decimals" for way in ("point", "comma")}
        offered = [(way, f"{amount}: {words[way]}") for way, amount in found.ways.items()]
        sentence = f"“{text}” can be read in two ways."
        if not found.doubtful:
            sentence = f"“{text}” is not written as the mapping says: {words[style]}."
        answer = self.asking.ask("price_mark", text, sentence, [*offered, _NO_PRICE], for_all=found.doubtful)
        return str(found.ways[answer]) if answer in found.ways else ""

    def _currency(self, sign: str, said: str) -> str:
        code = SIGNS.get(sign) or (sign.upper() if sign.isalpha() else "")
        if said and said == code:
            return said
        sentence = f"Prices carry “{sign}”" + (f", but the mapping says {said}." if said else ".")
        own = (said or "own", f"that is {said}" if said else "that is the catalogue's own currency")
        offered = [own, *([(code, f"{code}, told with each offer")] if code else [])]
        answer = self.asking.ask(
            "currency", f"{sign} {said}".strip(), sentence, offered, typed="currency",
            reads=lambda typed: bool(re.fullmatch("[A-Z]{3}", typed)),
        )  # fmt: skip
        return "" if answer in (None, "own") else answer or ""

    def _count(self, row: ListRow, field: FieldWord, least: int = 1) -> int | None:
        if not (text := row[field]):
            return None
        found = count_in(text)
        if found is not None and least <= found <= 100_000:
            return found
        offered = [("1", "1"), ("2", "2")] if least else []
        answer = self.asking.ask(
            "count", f"{field} {text[:60]}",
            f"“{text[:60]}” in the column {self.mapping.columns[field]} is no count.",
            [*offered, (OUT, "as if nothing stood there")], typed="count", for_all=True,
            reads=lambda typed: typed.isascii() and typed.isdigit() and least <= int(typed[:9]) <= 100_000,
        )  # fmt: skip
        return int(answer) if answer and answer != OUT else None

    # What it replaces

    def _replaces(self, number: str, rows: Sequence[ListRow]) -> list[str]:
        typed = [one for row in rows for part in pieces(row["replaces"]) for one in pieces(part, ",")]
        found: list[str] = []
        for text in dict.fromkeys(plain_text(one) for one in typed):
            if as_typed(text) == as_typed(number):
                self.asking.tell(f"{number} says that it replaces itself; that is left out.")
            elif text not in found:
                found.append(text)
        return found


def _sides(near: Sequence[tuple[str, str]]) -> list[tuple[tuple[str, str], tuple[str, str]]]:
    """Pairs of left and right among positions."""
    titled = {title.casefold(): (name, title) for name, title in near}
    return [
        (one, other)
        for title, one in titled.items()
        if "left" in title and (other := titled.get(title.replace("left", "right")))
    ]


def _together(meant: Sequence[Vehicles]) -> Vehicles:
    """What several words mean together: one column where all of them are of one, else the variants."""
    if len(meant) == 1:
        return meant[0]
    columns = {tuple(column for column, _ in one.condition) for one in meant}
    variants = frozenset[str]().union(*(one.variants for one in meant))
    if any(not one.condition for one in meant):
        return Vehicles(variants)
    if len(columns) == 1 and len(column := next(iter(columns))) == 1 and column[0] != "steering":
        values = dict.fromkeys(value for one in meant for value in one.condition[0][1])
        return Vehicles(variants, ((column[0], tuple(values)),))
    return Vehicles(variants, (("variants", tuple(sorted(variants))),))


def _shares_a_word(one: str, other: str) -> bool:
    return bool({w for w in one.casefold().split() if len(w) > 3} & set(other.casefold().split()))


def _says_something(text: str) -> bool:
    return bool(text.strip()) and is_printable(text)


def _one_way(found: Sum) -> Decimal:
    return next(iter(found.ways.values()))
