"""A suggestion to whoever types a record: what to say too, on what ground. Never taken by itself."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Suggestion:
    """`fields` fill the form of a new record of `kind`; `instead` may stand in `column`."""

    words: str
    ground: str
    kind: str = ""
    fields: dict[str, str] = field(default_factory=dict)
    column: str = ""
    instead: str = ""
