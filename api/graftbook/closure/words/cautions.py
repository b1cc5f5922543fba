"""The cautions that go with an answer: work on these sections can hurt people."""

from collections.abc import Iterable

from graftbook.closure.answer import Change, Loose
from graftbook.rulebook.model import Effort, RuleBook

_LICENSED = (
    "Have this work done and inspected by someone licensed for it; "
    "local rules on changed vehicles come first."
)

_STRUCTURE = (
    "The frame carries everything, and where there is none the body does: rated stands, never a jack alone. "
    f"{_LICENSED}"
)
_WHEELS = f"A wheel that comes off kills. Use new locking parts and the recorded torque. {_LICENSED}"

BY_WORD = {
    "brake": f"Brakes hold lives. {_LICENSED}",
    "steer": f"A steering fault cannot be driven around. {_LICENSED}",
    "fuel": f"Fuel burns and its vapour explodes: cold engine, no flame, battery off. {_LICENSED}",
    "electric": f"Take the battery off first: high current burns and starts fires. {_LICENSED}",
    "chassis": _STRUCTURE,
    "frame": _STRUCTURE,
    "structure": _STRUCTURE,
    "shell": _STRUCTURE,
    "suspension": f"Springs hold stored force; support the vehicle on rated stands. {_LICENSED}",
    "axle": _WHEELS,
    "hub": _WHEELS,
    "wheel": _WHEELS,
}
"""By a word in the section's name or title, in the order in which they are given."""

CUTTING = (
    "Cutting or welding a vehicle changes its structure: only by a licensed welder, with what burns "
    "taken out, and inspected afterwards as local rules ask."
)


STANDS = (
    "A vehicle that slips off a jack kills: firm level ground, the wheels that stay on chocked, rated stands "
    "where it is made to be lifted (the frame, or the strong points of a body without one) before anybody "
    f"reaches under it or takes a wheel off. {_LICENSED}"
)


def cautions_for(book: RuleBook, changes: Iterable[Change], loose: Iterable[Loose] = ()) -> tuple[str, ...]:
    """Every caution that the changes call for, each once, and the hazards of the parts themselves."""
    changes, loose = tuple(changes), tuple(loose)
    numbers = [c.component for c in changes if c.component] + [part.component for part in loose]
    cut = Effort.cutting in {*(c.effort for c in changes), *(part.effort for part in loose)}
    return cautions_of(book, {c.section for c in changes}, numbers, [p.component for p in loose], cut=cut)


def cautions_of(
    book: RuleBook, sections: Iterable[str], numbers: Iterable[str], loose: Iterable[str], *, cut: bool
) -> tuple[str, ...]:
    """The cautions of sections, of loose parts' own sections, of cutting, and the hazards of the numbers."""
    bought = (book.components.get(number) for number in loose)
    touched = {*sections, *(part.section for part in bought if part)}
    order = list(dict.fromkeys(BY_WORD.values()))
    found = {caution for section in touched for caution in section_cautions(book, section)}
    sentences = sorted(found, key=order.index) + [CUTTING] * cut
    return (*sentences, *dict.fromkeys(h for n in numbers if (h := _hazard(book, n))))


def section_cautions(book: RuleBook, section: str) -> tuple[str, ...]:
    """The cautions of one section, by the words of its name and title."""
    known = book.sections.get(section)
    words = f"{section} {known.title if known else ''}".lower()
    return tuple(dict.fromkeys(caution for word, caution in BY_WORD.items() if word in words))


def _hazard(book: RuleBook, number: str) -> str:
    component = book.components.get(number)
    return f"{number}: {component.hazard}" if component and component.hazard else ""
