"""How tight: the recorded values of a position as a fitter reads them. Pure."""

from collections.abc import Iterator

from graftbook.rulebook.model import RuleBook, Tightening, Vehicle


def tightenings_of(book: RuleBook, vehicle: Vehicle, position: str, number: str) -> Iterator[Tightening]:
    """The records for a component at a position, by name."""
    for record in sorted(book.tightenings, key=lambda t: t.name):
        here = record.position == position and record.component in ("", number)
        if here and record.when.holds(vehicle):
            yield record


def tightenings_at(book: RuleBook, vehicle: Vehicle, position: str, number: str) -> tuple[str, ...]:
    return tuple(tightened(record) for record in tightenings_of(book, vehicle, position, number))


def tightened(record: Tightening, *, now: bool = True) -> str:
    """ "Wheel nuts: 130 Nm, then 60 deg; again after 50 mile"; values as they were recorded."""
    angle = f", then {record.angle.written}" if record.angle else ""
    again = f"; again after {distance(record.again_after.written)}" if record.again_after and now else ""
    note = f" ({record.note})" if record.note else ""
    return f"{record.fastener}: {record.torque.written}{angle}{again}{note}"


def distance(written: str) -> str:
    """`50 mile` as people say it: "50 miles"."""
    return f"{written}s" if written.endswith(" mile") and written != "1 mile" else written
