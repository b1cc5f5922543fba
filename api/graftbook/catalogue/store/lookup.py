"""From what people have in hand to what the catalogue calls it: chassis numbers and part numbers."""

import re
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache, lru_cache, partial
from typing import Any

from rapidfuzz import process
from rapidfuzz.distance import Levenshtein
from sqlalchemy import (
    BindParameter,
    CompoundSelect,
    Connection,
    Integer,
    Select,
    bindparam,
    exists,
    func,
    select,
    union_all,
)
from sqlmodel import Session

from graftbook.catalogue.format.names import END, as_typed, plain_text
from graftbook.catalogue.store.nearest import components_near
from graftbook.catalogue.store.tables import table
from graftbook.database import as_list, listed_under
from graftbook.problems import UnknownChassis, UnknownComponent
from graftbook.rulebook.model import Vehicle
from graftbook.rulebook.units import chassis_number

_NOT_IN_A_CHASSIS = re.compile(r"[\s.\-_/]+")
_MOST_DIGITS = 9
_PARTED = re.compile(r"([A-Z0-9](?:.*[^\s.\-_/])?)[\s.\-_/]+([0-9]{1,9})", re.ASCII)
_SERIAL = re.compile(r"[0-9]{1,9}")
_HALVES = re.compile(r"^([A-Z0-9]*[A-Z])([0-9]{1,9})$")
CANDIDATES = 2000
_BETWEEN_WORDS = re.compile(r"[\s\-_]+")


@dataclass(frozen=True, slots=True)
class VehicleFound:
    """A chassis number that the catalogue knows. `estimated`: the day built is an estimate."""

    vehicle: Vehicle
    chassis: str
    estimated: bool


def find_vehicle(
    session: Session,
    chassis: str,
    *,
    options: frozenset[str] = frozenset(),
    built: date | None = None,
    near: bool = True,
) -> VehicleFound:
    """The vehicle with a chassis number, however it is typed: "24fl 9401" is 24FL-009401.

    The day built is the asker's `built`, else the serial's linear place in its span. Raises
    UnknownChassis with chassis numbers like it, looked for only where `near`.
    """
    connection = session.connection()
    for prefix, serial in readings(chassis):
        if row := _span_of(connection, prefix, serial):
            vehicle = Vehicle(row.variant, prefix, serial, built or day_built(row, serial), options)
            return VehicleFound(vehicle, chassis_number(prefix, serial, row.digits), built is None)
    raise UnknownChassis(chassis, chassis_near(session, chassis) if near else [])


def find_vehicles(session: Session, asked: Iterable[tuple[str, date | None]]) -> dict[Any, VehicleFound]:
    """The vehicles of many (chassis number, day built); those that no span holds are missing.

    One query however many there are, the spans of the prefixes that they may have.
    """
    read = {one: readings(one[0]) for one in asked}
    connection = session.connection()
    prefixes = {prefix for every in read.values() for prefix, _ in every}
    spans: dict[str, list[Any]] = defaultdict(list)
    firsts: dict[str, list[int]] = defaultdict(list)
    query = _spans_of(connection.dialect.name)
    for one in connection.execute(query, {"prefixes": as_list(sorted(prefixes))}):
        spans[one.prefix].append(one)
        firsts[one.prefix].append(one.first_serial)
    found: dict[Any, VehicleFound] = {}
    for (chassis, built), every in read.items():
        for prefix, serial in every:
            at = bisect_right(firsts[prefix], serial) - 1
            if at >= 0 and serial <= (held := spans[prefix][at]).last_serial:
                vehicle = Vehicle(held.variant, prefix, serial, built or day_built(held, serial), frozenset())
                written = chassis_number(prefix, serial, held.digits)
                found[chassis, built] = VehicleFound(vehicle, written, built is None)
                break
    return found


@lru_cache
def _spans_of(dialect: str) -> Select[Any]:
    span = table("chassis_span")
    query = select(span).where(span.c.prefix.in_(listed_under(dialect, "prefixes")))
    return query.order_by(span.c.prefix, span.c.first_serial)


def day_built(span: Any, serial: int) -> date:
    """The day on which a serial was built if its span was built evenly."""
    began: date = span.built_from
    first = span.first_serial
    steps = span.last_serial - first
    return began + timedelta((span.built_to - began).days * (serial - first) // steps) if steps else began


def chassis_near(session: Session, chassis: str) -> list[str]:
    """Chassis numbers like one that no span holds: an end of a span with its prefix, or like prefixes."""
    span = table("chassis_span")
    connection = session.connection()
    for prefix, serial in readings(chassis):
        rows = connection.execute(select(span).where(span.c.prefix == prefix)).all()
        ends = [
            (abs(end - serial), chassis_number(prefix, end, row.digits))
            for row in rows
            for end in (row.first_serial, row.last_serial)
        ]
        if ends:
            return [text for _, text in sorted(ends)[:2]]
    typed = _NOT_IN_A_CHASSIS.sub("", chassis).upper()
    rows = connection.execute(
        select(span.c.prefix, span.c.first_serial, span.c.digits).order_by(span.c.prefix).limit(CANDIDATES)
    ).all()
    examples = {
        row.prefix: chassis_number(row.prefix, row.first_serial, row.digits) for row in reversed(rows)
    }
    letters = typed.rstrip("0123456789") or typed[:4]
    return [examples[prefix] for prefix in _prefixes_like(letters, sorted(examples))]


def _prefixes_like(prefix: str, known: list[str]) -> list[str]:
    """Up to three prefixes that differ in a letter or two; prefixes are too short for shares of likeness."""
    most = 1 if len(prefix) < 4 else 2
    near = process.extract(prefix, known, scorer=Levenshtein.distance, score_cutoff=most, limit=3)
    return [name for name, _distance, _index in near]


@dataclass(frozen=True, slots=True)
class SpanFound:
    """Chassis numbers of one span: the first and the last of them as the house writes them, and the variant's
    title. Of a number that is typed in whole both are that number."""

    first: str
    last: str
    title: str


def chassis_starting(session: Session, text: str, limit: int) -> list[SpanFound]:
    """The spans with a prefix that starts like what is being typed; once digits of the serial stand there
    too, of each span what it may become: that number, else all that begin so.

    Each way to read the text is a range of the index by prefix and serial, and no more of it than `limit`.
    """
    letters = _NOT_IN_A_CHASSIS.sub("", text).upper()[:20]
    connection = session.connection()
    most = {"most": limit}
    rows = list(connection.execute(_with_prefix(), most | {"from": letters, "to": letters + END}))
    for prefix in _prefixes_of(connection, letters):
        digits = letters[len(prefix) :]
        steps = [10**missing for missing in range(_MOST_DIGITS - len(digits) + 1)]
        bounds = {f"least{n}": int(digits) * step for n, step in enumerate(steps)}
        bounds |= {f"last{n}": (int(digits) + 1) * step - 1 for n, step in enumerate(steps)}
        rows += connection.execute(_with_serial(len(digits)), most | bounds | {"prefix": prefix})
    found: dict[str, SpanFound] = {}
    for row in sorted(rows, key=lambda row: (row.prefix, row.first_serial)):
        if serials := _begun_in(row, letters[len(row.prefix) :]):
            first, last = (chassis_number(row.prefix, serial, row.digits) for serial in serials)
            found.setdefault(first, SpanFound(first, last, row.title))
    return list(found.values())[:limit]


def _prefixes_of(connection: Connection, letters: str) -> list[str]:
    """The prefixes behind which a text has nothing but digits, at most as many as a serial has; each is one
    step in the index."""
    span = table("chassis_span")
    shortest = max(0, len(letters.rstrip("0123456789")), len(letters) - _MOST_DIGITS)
    may_be = [letters[:length] for length in range(shortest, len(letters))]
    if not may_be:
        return []
    there = connection.execute(select(*(exists().where(span.c.prefix == prefix) for prefix in may_be))).one()
    return [prefix for prefix, is_there in zip(may_be, there, strict=True) if is_there]


@cache
def _with_prefix() -> Select[Any]:
    """The first spans whose prefix lies between two texts, with the titles of their variants."""
    span = table("chassis_span")
    within = span.c.prefix.between(bindparam("from"), bindparam("to"))
    return _with_title(_first_of(select(span).where(within)))


@cache
def _with_serial(length: int) -> Select[Any]:
    """The first spans of a prefix that may have a serial which begins with so many digits, by how many are
    still to come.

    Spans of a prefix do not overlap, so the first of them is the last that begins at the least such serial
    or before it."""
    span = table("chassis_span")
    of_prefix = span.c.prefix == bindparam("prefix")
    ranges = []
    for missing in range(_MOST_DIGITS - length + 1):
        least: BindParameter[int] = bindparam(f"least{missing}", type_=Integer)
        begins = select(func.max(span.c.first_serial)).where(of_prefix, span.c.first_serial <= least)
        within = span.c.first_serial.between(
            func.coalesce(begins.scalar_subquery(), least), bindparam(f"last{missing}")
        )
        wide = span.c.digits == length + missing if missing else span.c.digits >= length
        ranges.append(_first_of(select(span).where(of_prefix, within, span.c.last_serial >= least, wide)))
    return _with_title(union_all(*(select(each.subquery()) for each in ranges)))


def _first_of(spans: Select[Any]) -> Select[Any]:
    span = table("chassis_span")
    return spans.order_by(span.c.prefix, span.c.first_serial).limit(bindparam("most"))


def _with_title(spans: Select[Any] | CompoundSelect[Any]) -> Select[Any]:
    variant, held = table("variant"), spans.subquery()
    return select(held, variant.c.title).join(variant, variant.c.name == held.c.variant)


def _begun_in(span: Any, digits: str) -> tuple[int, int] | None:
    """The first and the last serial of a span that typed digits may be or become; none: no such serial."""
    if not digits:
        return span.first_serial, span.last_serial
    missing = span.digits - len(digits)
    if not (digits.isascii() and digits.isdigit()) or missing < 0:
        return None
    serial = int(digits)
    whole = missing == 0 or digits[0] != "0"
    if whole and span.first_serial <= serial <= span.last_serial:
        return serial, serial
    first = max(serial * 10**missing, span.first_serial)
    last = min((serial + 1) * 10**missing - 1, span.last_serial)
    return (first, last) if first <= last else None


def find_components(session: Session, number: str) -> list[str]:
    """The numbers that a number as typed may mean: case, spaces, dashes and dots do not count.

    The number itself first when it is one; more than one when numbers differ in those only. Raises
    UnknownComponent with numbers like it.
    """
    component = table("component").c
    query = select(component.number).where(component.typed == as_typed(number)).order_by(component.number)
    found = list(session.connection().execute(query).scalars())
    if not found:
        raise UnknownComponent(number, numbers_near(session, number))
    return sorted(found, key=lambda one: (one != number, one))


def find_flaw(session: Session, name: str) -> str | None:
    """The known flaw of a name as typed, whatever variants it is recorded for; None if no flaw has it.

    Case, spaces, dashes and underscores do not count where the name is written in small letters with one of
    these between its words: a few keys are looked up, however many flaws there are.
    """
    may_be = flaw_names(name)
    claim = table("claim")
    query = (
        select(claim.c.name).where(claim.c.kind == "flaw", claim.c.name.in_(may_be)).order_by(claim.c.name)
    )
    found = list(session.connection().execute(query).scalars())
    return next((one for one in may_be if one in found), None)


def flaw_names(name: str) -> list[str]:
    """The names that a known flaw may bear which was typed like this, the likeliest first."""
    typed = plain_text(name).strip()
    words = _BETWEEN_WORDS.split(typed.lower())
    return list(dict.fromkeys([typed, typed.lower(), *(between.join(words) for between in ("-", "_", " "))]))


_MOST_WORDS = 8


def numbers_near(session: Session, number: str) -> list[str]:
    """Up to three component numbers like one that nobody has; before all others what the longest beginning of
    it means: `QB 3311 front brake`."""
    words = number.split()[:_MOST_WORDS]
    beginnings = [" ".join(words[:count]) for count in range(len(words), 0, -1)]
    meant = numbers_meant(session, beginnings)
    if found := next((meant[beginning] for beginning in beginnings if beginning in meant), []):
        return found[:3]
    component = table("component").c
    return components_near(session.connection(), component.number, component.typed, number)


def numbers_meant(session: Session, numbers: Iterable[str]) -> dict[str, list[str]]:
    """For each number as typed the components that it may mean, the number itself first when it is one;
    those that nobody has are missing. One query however many there are."""
    connection = session.connection()
    typed = {number: as_typed(number) for number in numbers}
    query = _meant_by(connection.dialect.name)
    known: dict[str, list[str]] = {}
    for row in connection.execute(query, {"typed": as_list(set(typed.values()))}):
        known.setdefault(row.typed, []).append(row.number)
    return {
        number: sorted(known[key], key=partial(_itself_first, number))
        for number, key in typed.items()
        if key in known
    }


@lru_cache
def _meant_by(dialect: str) -> Select[Any]:
    component = table("component").c
    query = select(component.typed, component.number)
    return query.where(component.typed.in_(listed_under(dialect, "typed"))).order_by(component.number)


def _itself_first(number: str, one: str) -> tuple[bool, str]:
    return one != number, one


def numbers_as_typed(session: Session, numbers: list[str]) -> dict[str, str]:
    """The component that each number as typed means; those that nobody has are missing.

    Where several components differ in dashes only, the one typed exactly, else the first by number.
    """
    return {number: meant[0] for number, meant in numbers_meant(session, numbers).items()}


def readings(chassis: str) -> list[tuple[str, int]]:
    """(prefix, serial) as the text may be read; what stands between them settles it, else the last letter
    does. Digits alone are a serial without a prefix."""
    text = plain_text(chassis).strip().upper()
    readings = []
    if match := _PARTED.fullmatch(text):
        prefix = _NOT_IN_A_CHASSIS.sub("", match[1])
        readings.append((prefix, int(match[2])))
        if prefix[-1:].isalpha():
            return readings  # run together it reads the same
    run_together = _NOT_IN_A_CHASSIS.sub("", text)
    if match := _HALVES.match(run_together):
        readings.append((match[1], int(match[2])))
    elif _SERIAL.fullmatch(run_together):
        readings.append(("", int(run_together)))
    return list(dict.fromkeys(readings))


def _span_of(connection: Connection, prefix: str, serial: int) -> Any:
    """The span that holds a serial; None if none does. Spans of a prefix do not overlap."""
    span = table("chassis_span")
    query = (
        select(span)
        .where(span.c.prefix == prefix, span.c.first_serial <= serial)
        .order_by(span.c.first_serial.desc())
        .limit(1)
    )
    row = connection.execute(query).first()
    return row if row and serial <= row.last_serial else None
