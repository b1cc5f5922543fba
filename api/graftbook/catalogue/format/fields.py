"""What the records of the text format are made of: names, texts, money, and their common columns.

In a sheet a cell is text: a list is written with `;` between its items, yes and no are `yes` and
`no`, a date is `1968-03-01`, an empty cell is the field's default.
"""

import re
from datetime import date
from decimal import Decimal
from typing import Annotated, Any, ClassVar, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints
from pydantic.fields import FieldInfo

from graftbook.rulebook.units import units_of

UNIT = "unit"
"""The member of a column's JSON Schema that says what its figures count or are measured in."""
CATALOGUE_MONEY, OFFER_MONEY, OF_ITS_KIND = "the catalogue's currency", "the offer's currency", "of its kind"
PER_CENT, PART = "per cent", "part of 1"

LONGEST_LIST = 20_000
"""Characters of a list of texts in all."""

NAME_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9 ._:/>@+-]{0,119}$"
SAID_PATTERN = r"^[^\W_][\w .':/>@+-]*$"
"""What people say, in the letters of any language."""
SLUG_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9._-]{0,79}$"
"""What stands in an address: a build, a specification, an order list, a flat list."""
CHASSIS_PATTERN = r"^([A-Z0-9]{1,8}-)?[0-9]{1,9}$"
# Control characters, bidirectional marks and lone surrogates have no place in a parts book.
NOT_PRINTED = r"\x00-\x08\x0b-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2066-\u2069\ufeff"
_UNPRINTABLE = re.compile(f"[{NOT_PRINTED}\\ud800-\\udfff]")


def is_printable(text: str) -> bool:
    """Whether every character of a text can be stored and shown, on every engine."""
    return text.isprintable() or not _UNPRINTABLE.search(text)


def clean(value: Any) -> Any:
    """Text without space around it; raises ValueError for a character that cannot be stored."""
    if isinstance(value, str):
        if not value.isprintable() and (found := _UNPRINTABLE.search(value)):
            raise ValueError(f"character U+{ord(found.group()):04X} cannot be stored")
        return value.strip()
    return value


def _split(value: Any) -> Any:
    if isinstance(value, str):
        return [item.strip() for item in value.split(";") if item.strip()]
    return value


def _one_item(text: str) -> str:
    if ";" in text:
        raise ValueError("an item of a list holds no `;`, which stands between the items")
    return text


def _fits_a_cell(items: list[str]) -> list[str]:
    """A list must fit in one cell of a sheet, or an export could not be loaded."""
    if sum(map(len, items)) + 2 * len(items) > LONGEST_LIST:
        raise ValueError(f"all items of a list together have at most {LONGEST_LIST} characters")
    return items


def _yes_no(value: Any) -> Any:
    if isinstance(value, str):
        word = value.strip().lower()
        if word in ("yes", "no"):
            return word == "yes"
        raise ValueError("yes or no is expected")
    return value


def whole(value: Any) -> Any:
    """The library would count `true` as 1."""
    if isinstance(value, bool):
        raise ValueError("a whole number is needed here")
    return value


def _day(value: Any) -> Any:
    """A number is no day: the library would count seconds from 1970 in it."""
    if isinstance(value, date) or (isinstance(value, str) and _ISO.fullmatch(value.strip())):
        return value
    alone = isinstance(value, str | int) and _YEAR.search(str(value)[:80])
    of_a_year = (
        f"; of a year alone write its first or its last day, such as {alone[0]}-01-01" if alone else ""
    )
    raise ValueError(f"a day is written year-month-day, such as 1964-01-31{of_a_year}")


_ISO = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_YEAR = re.compile(r"(?<![\d./-])(18|19|20)\d\d(?![\d./-])", re.ASCII)

Name = Annotated[str, BeforeValidator(clean), StringConstraints(pattern=NAME_PATTERN)]
Said = Annotated[str, BeforeValidator(clean), StringConstraints(pattern=SAID_PATTERN, max_length=120)]
OptionalName = Annotated[str, BeforeValidator(clean), StringConstraints(pattern=rf"^$|{NAME_PATTERN}")]
# Lengths stand before what is done to a text first: behind it the library checks them in Python.
Text = Annotated[str, StringConstraints(max_length=2000), BeforeValidator(clean)]
Sentence = Annotated[str, StringConstraints(min_length=1, max_length=2000), BeforeValidator(clean)]
Names = Annotated[list[Name], Field(max_length=200), BeforeValidator(_split)]
Texts = Annotated[
    list[Annotated[Sentence, AfterValidator(_one_item)]],
    Field(max_length=200),
    BeforeValidator(_split),
    AfterValidator(_fits_a_cell),
]
YesNo = Annotated[bool, BeforeValidator(_yes_no)]
Chassis = Annotated[str, StringConstraints(pattern=CHASSIS_PATTERN), BeforeValidator(clean)]
WithUnit = Annotated[
    str,
    StringConstraints(max_length=60),
    BeforeValidator(clean),
    Field(json_schema_extra={UNIT: OF_ITS_KIND}),
]
Money = Annotated[
    Decimal,
    Field(
        ge=0, max_digits=12, decimal_places=2, json_schema_extra={UNIT: CATALOGUE_MONEY, "format": "decimal"}
    ),
]
Day = Annotated[date, BeforeValidator(_day)]
OptionalDay = Annotated[date | None, BeforeValidator(lambda value: value if value is None else _day(value))]
Count = Annotated[int, Field(ge=0, le=1_000_000), BeforeValidator(whole)]
Quantity = Annotated[int, Field(ge=1, le=100_000), BeforeValidator(whole)]


def several(description: str) -> Any:
    """A column that holds a list: empty where nothing is given. A default that is a list would be copied for
    each record, and ten such columns cost more than all the others."""
    return Field(default_factory=list, json_schema_extra={"default": []}, description=description)


def usual(field: FieldInfo) -> Any:
    """What a column holds where nothing is given. The field's own `get_default` reads the signature of the
    factory each time, half of what an export took."""
    return [] if field.default_factory is list else field.default


def measured(*quantities: str) -> dict[str, Any]:
    """The units in which a column may be written, for its JSON Schema."""
    return {UNIT: ", ".join(unit for quantity in quantities for unit in units_of(quantity) if unit)}


class Record(BaseModel):
    """One record. `kind_of_record` is the word in the sheet's `[…]` row."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, defer_build=True)
    kind_of_record: ClassVar[str]


class Conditional(Record):
    """Columns of every record that may hold for some vehicles only; all that are given must hold.

    A second record says "or". Empty means: wherever it makes sense.
    """

    range: OptionalName = Field(
        "", description="the range it holds for; may be empty while the catalogue has one range"
    )
    variants: Names = several(description="variant names")
    generations: Names = several(description="generations")
    bodies: Names = several(description="body styles")
    engines: Names = several(description="engines")
    drives: Names = several(description="driven wheels")
    steering: Literal["", "left", "right"] = Field("", description="steering side")
    markets: Names = several(description="markets")
    options: Names = several(description="options that the vehicle must have")
    without: Names = several(description="options that it must not have")
    chassis_from: Annotated[
        str, StringConstraints(pattern=rf"^$|{CHASSIS_PATTERN}"), BeforeValidator(clean)
    ] = Field("", description="first chassis number")
    chassis_to: Annotated[
        str, StringConstraints(pattern=rf"^$|{CHASSIS_PATTERN}"), BeforeValidator(clean)
    ] = Field("", description="last chassis number")
    built_from: OptionalDay = Field(None, description="first day built")
    built_to: OptionalDay = Field(None, description="last day built")


class Stated(Conditional):
    """A claim: a conditional record with evidence."""

    evidence: Names = several(description="names of evidence records")
    note: Text = Field("", description="anything worth knowing")


_MISTAKES = {
    "extra_forbidden": "there is no such field; take it out",
    "missing": "a value is needed here",
    "model_attributes_type": "an object is needed here: fields with their values, in braces",
    "model_type": "an object is needed here: fields with their values, in braces",
    "dict_type": "an object is needed here: fields with their values, in braces",
    "list_type": "a list is needed here, in square brackets",
    "string_type": "text is needed here, in quotes",
    "bool_type": "true or false is needed here",
    "bool_parsing": "true or false is needed here",
    "int_type": "a whole number is needed here",
    "int_parsing": "a whole number is needed here",
    "int_from_float": "a whole number is needed here",
    "float_type": "a number is needed here",
    "float_parsing": "a number is needed here",
    "decimal_type": "a number is needed here",
    "decimal_max_digits": "at most {max_digits} digits can stand here",
    "decimal_max_places": "at most {decimal_places} digits can stand behind the dot",
    "decimal_whole_digits": "at most {whole_digits} digits can stand before the dot",
    "finite_number": "a finite number is needed here",
    "literal_error": "one of {expected} is needed here",
    "greater_than": "it must be more than {gt}",
    "greater_than_equal": "it must be at least {ge}",
    "less_than": "it must be less than {lt}",
    "less_than_equal": "it must be at most {le}",
    "string_too_short": "at least {min_length} characters are needed here",
    "string_too_long": "at most {max_length} characters can stand here",
    "too_short": "at least {min_length} are needed here",
    "too_long": "at most {max_length} can stand here",
    "string_unicode": "this is no text that can be written: half of a character stands in it",
}
"""What a library that reads what is sent calls a mistake → the words for it."""


_PATTERNS = {
    CHASSIS_PATTERN: "a chassis number is letters, digits and a dash, then the serial: 24PL-018412, or "
    "1204 alone",
    NAME_PATTERN: "a name begins with a letter or a digit, and has letters, digits, spaces and "
    ". _ : / > @ + - only, at most 120 of them",
    SAID_PATTERN: "what is said begins with a letter or a digit, and has letters of any language, digits, "
    "spaces and . ' _ : / > @ + - only",
    SLUG_PATTERN: "a name is 1 to 80 letters, digits, dots, dashes and underscores, "
    "without spaces, and begins with a letter or a digit",
    **dict.fromkeys(
        ("^[A-Z]{3}$", "^([A-Z]{3})?$"), "three capital letters are needed, such as EUR (ISO 4217)"
    ),
}
"""A pattern that is not met → the words for what is needed."""
_OF_WORDS = re.compile(r"\^\(([\w|]+)\)\??\$")
"""A pattern that is nothing but words to choose from."""


def mistake_in_words(mistake: Any) -> str:
    """A mistake of that library (its `type`, `ctx`, `msg`) in our words; in its own where we have none."""
    context = mistake.get("ctx") or {}
    if mistake["type"] in ("string_too_short", "too_short") and context.get("min_length") == 1:
        return "it must not be empty"
    if mistake["type"] == "literal_error" and context["expected"].startswith("'', "):
        return f"one of {context['expected'][4:]} is needed here, or nothing"
    if mistake["type"] == "string_pattern_mismatch":
        if words := _OF_WORDS.fullmatch(context["pattern"]):
            return f"one of {words[1].replace('|', ', ')} is needed here"
        if known := _PATTERNS.get(context["pattern"].removeprefix("^$|")):
            return known
    if mistake["type"] in _MISTAKES:
        return _MISTAKES[mistake["type"]].format_map(context)
    return str(mistake["msg"]).removeprefix("Value error, ")
