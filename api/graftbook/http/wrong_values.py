"""What is wrong with a value that somebody sent, as a fitter would say it.

The validation library has its own words for each kind of mistake, which speak of dictionaries and patterns.
"""

from typing import Any

_WORDS = {
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
_OF_PATTERN = {
    r"^[A-Za-z0-9][A-Za-z0-9._-]{0,79}$": "a name is 1 to 80 letters, digits, dots, dashes and underscores, "
    "without spaces, and begins with a letter or a digit",
}


def in_words(mistake: Any) -> str:
    """One of the library's mistakes in our words; in its own where we have none."""
    context = mistake.get("ctx") or {}
    if mistake["type"] in ("string_too_short", "too_short") and context.get("min_length") == 1:
        return "it must not be empty"
    if mistake["type"] == "string_pattern_mismatch" and context.get("pattern") in _OF_PATTERN:
        return _OF_PATTERN[context["pattern"]]
    if mistake["type"] in _WORDS:
        return _WORDS[mistake["type"]].format_map(context)
    return str(mistake["msg"]).removeprefix("Value error, ")
