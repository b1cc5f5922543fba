"""A large invented catalogue, written as a sheet: as many ranges as it takes for a number of components.

Every range is alike in shape (a family of vehicles with its own parts, rules and evidence), its
numbers are drawn from a seed, and nothing in it means anything.
"""

import random
from collections.abc import Iterator

SECTIONS = 10
POSITIONS = 300
VARIANTS = 8
COMPONENTS = 4 * POSITIONS
"""Of one range: for each position an original, a later one, a modern one and a loose one."""

_KINDS = "[characteristic_kind]\nname,title,quantity\nbore,bore,length\nload,load,force\n\n"


def sheet(components: int, seed: int = 1) -> Iterator[str]:
    """The pieces of a sheet with about so many components; memory does not grow with their number."""
    yield _KINDS
    yield "[section]\nname,title,order\n" + "".join(f"s{n},Section {n},{n}\n" for n in range(SECTIONS)) + "\n"
    for number in range(max(1, round(components / COMPONENTS))):
        yield from family(number, random.Random(f"{seed}/{number}"))


def family(number: int, chance: random.Random) -> Iterator[str]:
    """The pieces of one range."""
    name = f"f{number:05d}"
    yield f"[range]\nname,title\n{name},Family {number}\n\n"
    yield _variants(name, number)
    yield (
        "[evidence]\nname,grade,reference,fitted\n"
        + "".join(
            f"{name}-e{n},{grade},sheet {n},{n}\n"
            for n, grade in enumerate(("parts book", "measured", "trial fitted"))
        )
        + "\n"
    )
    yield _table(
        "position",
        "name,range,section,title,essential",
        (
            f"{name}.p{p},{name},s{p % SECTIONS},Place {p},{'yes' if p % 3 else 'no'}"
            for p in range(POSITIONS)
        ),
    )
    yield _table(
        "component",
        "number,name,section,origin,price,mass,visible",
        (
            f"{name}-{p}{letter},{word} {p},s{p % SECTIONS},{origin},{chance.randint(100, 90000) / 100:.2f},"
            f"{chance.randint(1, 99) / 10} kg,{'yes' if p % 5 == 0 else 'no'}"
            for p in range(POSITIONS)
            for letter, word, origin in _PARTS
        ),
    )
    yield _table(
        "characteristic",
        "component,kind,value,evidence",
        (f"{name}-{p}{letter},bore,{10 + p % 40} mm,{name}-e1" for p in range(POSITIONS) for letter in "am"),
    )
    yield _table(
        "fitment",
        "range,component,position,effort,minutes,from_new,evidence,generations",
        (
            f"{name},{name}-{p}{letter},{name}.p{p},{effort},{chance.randint(5, 90)},{new}"
            f",{name}-e0,{generation}"
            for p in range(POSITIONS)
            for letter, effort, new, generation in (
                ("a", "direct", "yes", ""),
                ("b", "direct", "", "two"),
                ("m", "machining", "", ""),
            )
        ),
    )
    yield _table("companion", "range,name,component,reason,fit,at,evidence", _companions(name, chance))
    yield _table("supersession", "old,new", (f"{name}-{p}b,{name}-{p}m" for p in range(0, POSITIONS, 10)))


_PARTS = (
    ("a", "plain part", "original"),
    ("b", "later part", "later-model"),
    ("m", "better part", "modern"),
    ("k", "kit for part", "modern"),
)


def _companions(name: str, chance: random.Random) -> Iterator[str]:
    for p in range(POSITIONS):
        other = min(POSITIONS - 1, p - p % SECTIONS + chance.randrange(SECTIONS))
        if other != p:
            place, reason = f"{name}.p{other}", "It needs the better one beside it."
            yield f"{name},{name}-c{p},{name}-{p}m,{reason},{name}-{other}m,{place},{name}-e2"
        yield f"{name},{name}-k{p},{name}-{p}m,It is mounted with its kit.,{name}-{p}k,,"


def _variants(name: str, number: int) -> str:
    variants, spans = [], []
    for n in range(VARIANTS):
        generation, steering = ("one", "two")[n // 4], ("left", "right")[n % 2]
        market, body = ("home", "export")[n % 2], ("open", "closed")[n // 2 % 2]
        variants.append(
            f"{name}-v{n},{name},Family {number} version {n},{generation},{body},e,rear,{steering},{market}"
        )
        spans.append(
            f"{name}-v{n},{_letters(number)}{n}-000001,{_letters(number)}{n}-050000,1960-01-01,1969-12-31"
        )
    return _table(
        "variant", "name,range,title,generation,body,engine,drive,steering,market", variants
    ) + _table("chassis_span", "variant,first,last,built_from,built_to", spans)


def _letters(number: int) -> str:
    """A chassis prefix's letters for a range: A, B, … ZZZZ."""
    text = ""
    while True:
        number, letter = divmod(number, 26)
        text = chr(ord("A") + letter) + text
        if not number:
            return f"W{text}"


def _table(kind: str, columns: str, rows: object) -> str:
    return f"[{kind}]\n{columns}\n" + "\n".join(rows) + "\n\n"
