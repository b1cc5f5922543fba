"""What a delivery means for the lines of a list, and what about it should be looked at before it is booked.

Pure. All counts are pieces; a count of packs becomes pieces first. How far a line has come follows from the
bookings that stand, in their order, so that one that is taken back leaves nothing behind.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any, Literal, NotRequired, TypedDict

from graftbook.catalogue.format.names import as_typed
from graftbook.problems import InvalidRequest

if TYPE_CHECKING:
    from graftbook.orders.lists.schemas import ProgressOut
    from graftbook.orders.schemas import OrderLineOut, StateWord

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


class Counts(TypedDict):
    """What a booking says of a line, in pieces; `back_ordered` is promised for later."""

    line: int
    received: int
    back_ordered: int
    given_up: int
    promised: date | None


class Row(Counts):
    """A row of a delivery in pieces: `each` of what was counted, at this place of what was sent."""

    each: int
    place: int


class MeantCount(TypedDict):
    """What was probably meant by a count."""

    unit: str
    received: int


class Noted(TypedDict):
    """A booking that carries a delivery note of the same number."""

    list: str
    booking: int
    at: str
    who: str


class Doubt(TypedDict):
    """What is doubted of a delivery, in the problem document; `kind` says which figures there are."""

    kind: DoubtWord
    pointer: str
    sentence: str
    line: NotRequired[int]
    number: NotRequired[str]
    ordered: NotRequired[int]
    received: NotRequired[int]
    given_up: NotRequired[int]
    open: NotRequired[int]
    came: NotRequired[int]
    beyond: NotRequired[int]
    pack: NotRequired[int]
    meant: NotRequired[MeantCount | None]
    suppliers: NotRequired[Sequence[str]]
    ordered_from: NotRequired[str | None]
    list: NotRequired[str]
    booking: NotRequired[int]
    at: NotRequired[str]
    who: NotRequired[str]


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

    def after(self, row: Counts) -> Progress:
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


def progress_of(pieces: Mapping[int, int], rows: Iterable[Counts]) -> dict[int, Progress]:
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
) -> list[Row]:
    """The rows with their counts in pieces. `lines`: the list's own, by number.

    Raises InvalidRequest for a line that the list does not have or that stands twice, and for more pieces
    promised or given up than are left.
    """
    rows: list[Row] = []
    for place, row in enumerate(delivery.lines):
        number = row["line"]
        if number not in lines:
            raise InvalidRequest(f"The list has no line {number}", pointer=f"/lines/{place}/line")
        if any(number == other["line"] for other in rows):
            raise InvalidRequest(f"Line {number} stands twice", pointer=f"/lines/{place}/line")
        rows.append(_in_pieces(row, lines[number]["pack"], place))
        _must_be_left(rows[-1], come[number], place)
    return rows


def _in_pieces(row: Mapping[str, Any], pack: int, place: int) -> Row:
    each = pack if row.get("unit", PIECES) == PACKS else 1
    for name in COUNTS:
        if row[name] * each > MOST_PIECES:
            message = f"{row[name]:,} packs of {pack:,} are more than {MOST_PIECES:,} pieces"
            raise InvalidRequest(message, pointer=f"/lines/{place}/{name}")
    return {
        "line": row["line"],
        "received": row["received"] * each,
        "back_ordered": row["back_ordered"] * each,
        "given_up": row["given_up"] * each,
        "promised": row.get("promised"),
        "each": each,
        "place": place,
    }


def _must_be_left(row: Row, before: Progress, place: int) -> None:
    """Raises InvalidRequest when more is promised or given up than is left beside what came."""
    left = max(0, before.pieces - before.received - row["received"] - before.given_up)
    wanted = (
        ("given_up", row["given_up"], "to give up"),
        ("back_ordered", row["back_ordered"], "to be promised for later"),
    )
    for name, some, words in wanted:
        if some > left:
            message = f"Line {row['line']} has no {counted(some)} left {words}, it has {left}"
            raise InvalidRequest(message, pointer=f"/lines/{place}/{name}")
        left -= some


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
    rows: Sequence[Row],
    lines: Mapping[int, OrderLineOut],
    come: Mapping[int, Progress],
    noted: Sequence[Noted],
) -> list[Doubt]:
    """What should be looked at before this is booked, each with its word, pointer, figures and a sentence.

    `rows` in pieces; `noted`: bookings that stand and carry a delivery note of the same number.
    """
    found: list[Doubt] = []
    for row in rows:
        found += _of_line(row, lines[row["line"]], come[row["line"]])
    found += _of_suppliers(delivery, rows, lines)
    return found + [_booked_before(delivery, booking) for booking in noted]


def _of_line(row: Row, line: OrderLineOut, before: Progress) -> list[Doubt]:
    came, found = row["received"], list[Doubt]()
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
    kind: DoubtWord,
    row: Row,
    line: OrderLineOut,
    before: Progress,
    words: str,
    meant: MeantCount | None = None,
) -> Doubt:
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


def _too_many(row: Row, pack: int, before: Progress) -> tuple[str, MeantCount | None]:
    came = row["received"]
    beyond = before.received + came - before.pieces
    arrived = packed(came, pack) if row["each"] > 1 else counted(came)
    still = f"{before.open} {'is' if before.open == 1 else 'are'} open" if before.open else "none is open"
    words = (
        f"{arrived} came, {before.pieces:,} {_were(before.pieces)} ordered and {still}: {beyond:,} too many."
    )
    hint, meant = _packs_for_pieces(row, pack, before.open)
    return f"{words} {hint}".rstrip(), meant


def _packs_for_pieces(row: Row, pack: int, still: int) -> tuple[str, MeantCount | None]:
    """Packs taken for pieces or pieces for packs, where the figures look like it."""
    came, each = row["received"], row["each"]
    if each > 1 and came // each <= still:
        meant = came // each
        return f"Did you mean {counted(meant)}, not packs?", {"unit": PIECES, "received": meant}
    if not still or came % still:
        return "", None
    if pack > 1 and came == still * pack:
        return f"Did you mean {packed(still, pack)}?", {"unit": PIECES, "received": still}
    if pack == 1 and came > still > 1:  # whatever came is a multiple of one piece: that says nothing
        return f"Did you mean {still} in a pack of {came // still:,}?", {"unit": PIECES, "received": still}
    return "", None


def _part_of_pack(came: int, pack: int, still: int) -> tuple[str, MeantCount | None]:
    words = f"it is bought in packs of {pack}, and {counted(came)} came: no whole packs."
    if came * pack > still:
        return words, None
    return f"{words} Did you mean {packed(came * pack, pack)}?", {"unit": PACKS, "received": came}


def _of_suppliers(delivery: Delivery, rows: Sequence[Row], lines: Mapping[int, OrderLineOut]) -> list[Doubt]:
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


def _of_another(row: Row, line: OrderLineOut, of_note: str) -> Doubt:
    bought = f"ordered from {line['supplier_title']}" if line["supplier"] else "ordered from nobody named"
    return {
        "kind": OTHER_SUPPLIER,
        "pointer": f"/lines/{row['place']}/line",
        "line": row["line"],
        "number": line["number"],
        "ordered_from": line["supplier"],
        "sentence": f"{line['number']} ({line['name']}) was {bought}, and this delivery is {of_note}'s.",
    }


def _booked_before(delivery: Delivery, booking: Noted) -> Doubt:
    who = f" by {booking['who']}" if booking["who"] else ""
    words = (
        f"Delivery note {delivery.delivery_note} was booked before, on {booking['at'][:10]}{who}: "
        f"booking {booking['booking']} of the list {booking['list']}."
    )
    return {
        "kind": BOOKED_BEFORE,
        "pointer": "/delivery_note",
        "list": booking["list"],
        "booking": booking["booking"],
        "at": booking["at"],
        "who": booking["who"],
        "sentence": words,
    }


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


def _were(count: int) -> str:
    return "was" if count == 1 else "were"
