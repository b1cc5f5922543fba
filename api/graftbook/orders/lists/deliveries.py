"""What a delivery means for the lines of a list, and what about it should be looked at before it is booked.

Pure. All counts are pieces; a count of packs becomes pieces first. How far a line has come follows from the
bookings that stand, in their order, so that one that is taken back leaves nothing behind.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from graftbook.catalogue.format.names import as_typed
from graftbook.problems import InvalidRequest

if TYPE_CHECKING:
    from graftbook.orders.lists.schemas import ProgressOut
    from graftbook.orders.schemas import OrderLineOut, StateWord

Facts = dict[str, Any]
"""A row of a delivery in pieces, or what is doubted of it and goes into the problem document."""
SENT: StateWord = "sent"
PARTLY: StateWord = "partly received"
RECEIVED: StateWord = "received"
PIECES, PACKS = "pieces", "packs"
DoubtWord = Literal["too many", "given up", "part of a pack", "other supplier", "booked before"]
TOO_MANY: DoubtWord = "too many"
GIVEN_UP: DoubtWord = "given up"
PART_OF_PACK: DoubtWord = "part of a pack"
OTHER_SUPPLIER: DoubtWord = "other supplier"
BOOKED_BEFORE: DoubtWord = "booked before"
KINDS = (TOO_MANY, GIVEN_UP, PART_OF_PACK, OTHER_SUPPLIER, BOOKED_BEFORE)
"""What may be doubted of a delivery; each is the word that accepts it."""
MOST_PIECES = 1_000_000
COUNTS = ("received", "back_ordered", "given_up")


@dataclass(frozen=True, slots=True)
class Delivery:
    """What somebody wants to book: rows of lines, whose delivery note it is, what is accepted all the same.

    A row: line, unit (pieces or packs), received, back_ordered (promised for later, `promised` the day),
    given_up.
    """

    lines: Sequence[Mapping[str, Any]]
    supplier: str = ""
    delivery_note: str = ""
    remark: str = ""
    accept: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Progress:
    """How far one line has come, in pieces."""

    pieces: int
    received: int = 0
    back_ordered: int = 0
    given_up: int = 0

    @property
    def open(self) -> int:
        """Neither come nor given up."""
        return max(0, self.pieces - self.received - self.given_up)

    @property
    def too_many(self) -> int:
        """Come beyond what was ordered."""
        return max(0, self.received - self.pieces)

    def after(self, row: Mapping[str, Any]) -> Progress:
        """With one booking's row more. What came is not given up, and what is not open is not promised."""
        received = self.received + row["received"]
        given_up = min(self.given_up + row["given_up"], max(0, self.pieces - received))
        left = max(0, self.pieces - received - given_up)
        return Progress(self.pieces, received, min(left, row["back_ordered"]), given_up)

    def facts(self) -> ProgressOut:
        """As a line of a list tells it."""
        return {
            "received": self.received,
            "back_ordered": self.back_ordered,
            "given_up": self.given_up,
            "open": self.open,
            "too_many": self.too_many,
        }


def progress_of(pieces: Mapping[int, int], rows: Iterable[Mapping[str, Any]]) -> dict[int, Progress]:
    """How far each line has come. `pieces`: line → pieces ordered; `rows`: of the bookings that stand."""
    found = {line: Progress(ordered) for line, ordered in pieces.items()}
    for row in rows:
        if row["line"] in found:
            found[row["line"]] = found[row["line"]].after(row)
    return found


def state_of(lines: Iterable[Progress]) -> StateWord:
    """What the lines say: all there (or given up), some there, or nothing yet."""
    known = list(lines)
    if all(not line.open for line in known):
        return RECEIVED
    return PARTLY if any(line.received or line.given_up for line in known) else SENT


def in_pieces(
    delivery: Delivery, lines: Mapping[int, OrderLineOut], come: Mapping[int, Progress]
) -> list[Facts]:
    """The rows with their counts in pieces. `lines`: the list's own, by number.

    Raises InvalidRequest for a line that the list does not have or that stands twice, and for more pieces
    promised or given up than are left.
    """
    rows: list[Facts] = []
    for place, row in enumerate(delivery.lines):
        number = row["line"]
        if number not in lines:
            raise InvalidRequest(f"The list has no line {number}", pointer=f"/lines/{place}/line")
        if any(number == other["line"] for other in rows):
            raise InvalidRequest(f"Line {number} stands twice", pointer=f"/lines/{place}/line")
        rows.append(_converted(row, lines[number]["pack"], place))
        _must_be_left(rows[-1], come[number], place)
    return rows


def _converted(row: Mapping[str, Any], pack: int, place: int) -> Facts:
    each = pack if row.get("unit", PIECES) == PACKS else 1
    counts = {name: row[name] * each for name in COUNTS}
    for name, pieces in counts.items():
        if pieces > MOST_PIECES:
            message = f"{row[name]:,} packs of {pack:,} are more than {MOST_PIECES:,} pieces"
            raise InvalidRequest(message, pointer=f"/lines/{place}/{name}")
    return {"line": row["line"], "promised": row.get("promised"), "each": each, "place": place, **counts}


def _must_be_left(row: Facts, before: Progress, place: int) -> None:
    """Raises InvalidRequest when more is promised or given up than is left beside what came."""
    left = max(0, before.pieces - before.received - row["received"] - before.given_up)
    for name, words in (("given_up", "to give up"), ("back_ordered", "to be promised for later")):
        if row[name] > left:
            message = f"Line {row['line']} has no {counted(row[name])} left {words}, it has {left}"
            raise InvalidRequest(message, pointer=f"/lines/{place}/{name}")
        left -= row[name]


def supplier_of(delivery: Delivery, lines: Mapping[int, OrderLineOut]) -> str:
    """Whose delivery it is: the supplier named, else the one that all its lines were ordered from, else "".

    Raises InvalidRequest for a supplier that nothing is ordered from.
    """
    known = {line["supplier"] for line in lines.values() if line["supplier"]}
    if delivery.supplier and delivery.supplier not in known:
        message = f"Nothing on this list is ordered from '{delivery.supplier}'"
        raise InvalidRequest(message, pointer="/supplier", near=sorted(known)[:5])
    of_lines = {lines[row["line"]]["supplier"] or "" for row in delivery.lines}
    return delivery.supplier or (of_lines.pop() if len(of_lines) == 1 else "")


def doubts_of(
    delivery: Delivery,
    rows: Sequence[Facts],
    lines: Mapping[int, OrderLineOut],
    come: Mapping[int, Progress],
    noted: Sequence[Facts],
) -> list[Facts]:
    """What should be looked at before this is booked, each with its word, pointer, figures and a sentence.

    `rows` in pieces; `noted`: bookings that stand and carry a delivery note of the same number.
    """
    found: list[Facts] = []
    for row in rows:
        found += _of_line(row, lines[row["line"]], come[row["line"]])
    found += _of_suppliers(delivery, rows, lines)
    return found + [_booked_before(delivery, booking) for booking in noted]


def _of_line(row: Facts, line: OrderLineOut, before: Progress) -> list[Facts]:
    came, found = row["received"], []
    if came > before.open and before.given_up:
        gone = before.given_up
        words = f"{counted(gone)} of it {_were(gone)} given up, and {counted(came)} came."
        found.append(_doubt(GIVEN_UP, row, line, before, words))
    after = before.received + came
    if came and after > before.pieces:
        found.append(_doubt(TOO_MANY, row, line, before, *_too_many(row, line["pack"], before)))
    elif came and after % line["pack"]:
        found.append(_doubt(PART_OF_PACK, row, line, before, *_part_of_pack(came, line["pack"], before.open)))
    return found


def _doubt(
    kind: DoubtWord, row: Facts, line: OrderLineOut, before: Progress, words: str, meant: Facts | None = None
) -> Facts:
    return {
        "kind": kind,
        "pointer": f"/lines/{row['place']}/received",
        "line": row["line"],
        "number": line["number"],
        "ordered": before.pieces,
        "received": before.received,
        "given_up": before.given_up,
        "open": before.open,
        "came": row["received"],
        "beyond": max(0, before.received + row["received"] - before.pieces),
        "pack": line["pack"],
        "meant": meant,
        "sentence": f"{line['number']} ({line['name']}): {words}",
    }


def _too_many(row: Facts, pack: int, before: Progress) -> tuple[str, Facts | None]:
    came = row["received"]
    beyond = before.received + came - before.pieces
    told = packed(came, pack) if row["each"] > 1 else counted(came)
    still = f"{before.open} {_is(before.open)} open" if before.open else "none is open"
    words = f"{told} came, {before.pieces:,} {_were(before.pieces)} ordered and {still}: {beyond:,} too many."
    hint, meant = _miscounted(row, pack, before.open)
    return f"{words} {hint}".rstrip(), meant


def _miscounted(row: Facts, pack: int, still: int) -> tuple[str, Facts | None]:
    """Packs taken for pieces or pieces for packs, where the figures look like it."""
    came, each = row["received"], row["each"]
    if each > 1 and came // each <= still:
        meant = came // each
        return f"Did you mean {counted(meant)}, not packs?", {"unit": PIECES, "received": meant}
    if not still or came % still:
        return "", None
    if pack > 1 and came == still * pack:
        return f"Did you mean {packed(still, pack)}?", {"unit": PIECES, "received": still}
    if pack == 1 and came > still:
        return f"Did you mean {still} in a pack of {came // still:,}?", {"unit": PIECES, "received": still}
    return "", None


def _part_of_pack(came: int, pack: int, still: int) -> tuple[str, Facts | None]:
    words = f"it is bought in packs of {pack}, and {counted(came)} came: no whole packs."
    if came * pack > still:
        return words, None
    return f"{words} Did you mean {packed(came * pack, pack)}?", {"unit": PACKS, "received": came}


def _of_suppliers(
    delivery: Delivery, rows: Sequence[Facts], lines: Mapping[int, OrderLineOut]
) -> list[Facts]:
    titles = {line["supplier"]: line["supplier_title"] or "" for line in lines.values() if line["supplier"]}
    if delivery.supplier:
        return [
            _of_another(row, lines[row["line"]], titles[delivery.supplier])
            for row in rows
            if lines[row["line"]]["supplier"] != delivery.supplier
        ]
    theirs = sorted({titles.get(lines[row["line"]]["supplier"] or "", "nobody known") for row in rows})
    if not delivery.delivery_note or len(theirs) < 2:
        return []
    words = f"Note {delivery.delivery_note} is one supplier's, and its lines are of {' and '.join(theirs)}."
    return [{"kind": OTHER_SUPPLIER, "pointer": "/supplier", "suppliers": theirs, "sentence": words}]


def _of_another(row: Facts, line: OrderLineOut, of_note: str) -> Facts:
    bought = f"ordered from {line['supplier_title']}" if line["supplier"] else "ordered from nobody named"
    return {
        "kind": OTHER_SUPPLIER,
        "pointer": f"/lines/{row['place']}/line",
        "line": row["line"],
        "number": line["number"],
        "ordered_from": line["supplier"],
        "sentence": f"{line['number']} ({line['name']}) was {bought}, and this delivery is {of_note}'s.",
    }


def _booked_before(delivery: Delivery, booking: Facts) -> Facts:
    who = f" by {booking['who']}" if booking["who"] else ""
    words = (
        f"Delivery note {delivery.delivery_note} was booked before, on {booking['at'][:10]}{who}: "
        f"booking {booking['booking']} of the list {booking['list']}."
    )
    return {"kind": BOOKED_BEFORE, "pointer": "/delivery_note", **booking, "sentence": words}


def note_key(delivery_note: str) -> str:
    """The number of a note without what people leave out or add, by which it is known again."""
    return as_typed(delivery_note)


def counted(pieces: int) -> str:
    """`1 piece`, `1,002 pieces`."""
    return f"{pieces:,} {'piece' if pieces == 1 else 'pieces'}"


def packed(pieces: int, pack: int) -> str:
    """`8 pieces`, and with packs `2 packs of 4 = 8 pieces`."""
    if pack == 1 or not pieces or pieces % pack:
        return counted(pieces)
    packs = pieces // pack
    return f"{packs:,} {'pack' if packs == 1 else 'packs'} of {pack:,} = {counted(pieces)}"


def _is(count: int) -> str:
    return "is" if count == 1 else "are"


def _were(count: int) -> str:
    return "was" if count == 1 else "were"
