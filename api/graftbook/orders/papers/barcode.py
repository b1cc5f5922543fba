"""Code 128 (ISO/IEC 15417), code set B: printable ASCII, one sign a letter."""

from functools import cache

_TABLE = (
    "212222 222122 222221 121223 121322 131222 122213 122312 132212 221213 221312 231212 112232 122132 "
    "122231 113222 123122 123221 223211 221132 221231 213212 223112 312131 311222 321122 321221 312212 "
    "322112 322211 212123 212321 232121 111323 131123 131321 112313 132113 132311 211313 231113 231311 "
    "112133 112331 132131 113123 113321 133121 313121 211331 231131 213113 213311 213131 311123 311321 "
    "331121 312113 312311 332111 314111 221411 431111 111224 111422 121124 121421 141122 141221 112214 "
    "112412 122114 122411 142112 142211 241211 221114 413111 241112 134111 111242 121142 121241 114212 "
    "124112 124211 411212 421112 421211 212141 214121 412121 111143 111341 131141 114113 114311 411113 "
    "411311 113141 114131 311141 411131 211412 211214 211232"
)
WIDTHS = tuple(_TABLE.split())
"""The symbol characters by value (table 1): widths of bar, space, bar, space, bar, space in modules."""
START_B, STOP = 104, "2331112"
QUIET = 10
"""Modules left white on either side (4.3.2)."""


def can_be_written(text: str) -> bool:
    """Whether code set B has every sign of a text."""
    return bool(text) and all(" " <= letter <= "~" for letter in text)


@cache
def bars(text: str) -> tuple[tuple[int, int], ...]:
    """The bars as (modules from the left edge, modules wide), the white edge before them counted in.

    Raises ValueError for a text that code set B cannot write.
    """
    if not can_be_written(text):
        raise ValueError(f"Code 128 has no sign for a letter of {text!r}")
    found, at = [], QUIET
    for place, width in enumerate(map(int, "".join(WIDTHS[value] for value in _values(text)) + STOP)):
        if place % 2 == 0:
            found.append((at, width))
        at += width
    return tuple(found)


def _values(text: str) -> list[int]:
    """Start, a value a letter, and the check character: the sum of values by place, modulo 103 (4.4.3)."""
    values = [ord(letter) - 32 for letter in text]
    check = (START_B + sum(place * value for place, value in enumerate(values, 1))) % 103
    return [START_B, *values, check]


def modules(text: str) -> int:
    """How wide the whole symbol is, both white edges with it: start, letters, check, stop."""
    return 11 * (len(text) + 2) + 13 + 2 * QUIET
