"""Stable names: how each kind of record is called, and numbers as people type them."""

import re

from api.catalogue import records as r

_NOT_IN_A_NUMBER = re.compile(r"[\s.\-_/]+")
_DIGITS = re.compile(r"\d+")
_WORD = re.compile(r"[^\W_]+")


def as_typed(number: str) -> str:
    """A part number without what people leave out or add: case, spaces, dashes, dots, strokes."""
    return _NOT_IN_A_NUMBER.sub("", number).upper()


def sort_key(number: str) -> str:
    """A key by which "9" stands before "10" and case does not count, alike on every engine."""
    return _DIGITS.sub(lambda digits: digits.group().zfill(10), number.upper())[:400]


def words_of(*texts: str) -> set[str]:
    """The distinct words of some texts in small letters, each at most 60 letters long."""
    return {word[:60] for text in texts for word in _WORD.findall(text.lower())}


def fitment_name(component: str, position: str) -> str:
    """What a fitment without a name of its own is called."""
    return f"{component}@{position}"


def substitute_name(original: str, component: str) -> str:
    """What a substitute without a name of its own is called."""
    return f"{original}>{component}"


def supersession_name(old: str, new: str) -> str:
    """What a supersession without a name of its own is called."""
    return f"{old}>>{new}"


def characteristic_name(component: str, variant: str, kind: str) -> str:
    """What a characteristic is called: it has no column for a name."""
    return f"{component}:{kind}" if component else f"variant {variant}:{kind}"


def name_of(record: r.Record) -> str:
    """The stable name of a record, unique among the records of its kind (claims: among all claims)."""
    match record:
        case r.ComponentRecord():
            return record.number
        case r.ChassisSpanRecord():
            return f"{record.variant} {record.first}"
        case r.CharacteristicRecord():
            return characteristic_name(record.component, record.variant, record.kind)
        case r.FitmentRecord():
            return record.name or fitment_name(record.component, record.position)
        case r.SubstituteRecord():
            return record.name or substitute_name(record.original, record.component)
        case r.SupersessionRecord():
            return record.name or supersession_name(record.old, record.new)
    return str(record.name)


def chassis_parts(chassis: str) -> tuple[str, int]:
    """The halves of "24L-018412": prefix and serial."""
    prefix, _, serial = chassis.rpartition("-")
    return prefix, int(serial)
