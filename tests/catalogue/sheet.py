"""A small invented catalogue that tests change a line of."""

import io
from pathlib import Path

SMALL = (Path(__file__).parent / "small.csv").read_text(encoding="utf-8")


def sheet(text: str, name: str = "sheet.csv") -> io.StringIO:
    """An open sheet of that name."""
    stream = io.StringIO(text, newline="")
    stream.name = name
    return stream


def small(*changes: tuple[str, str]) -> io.StringIO:
    """The small catalogue with texts replaced; each must stand in it exactly once."""
    text = SMALL
    for old, new in changes:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
        text = text.replace(old, new)
    return sheet(text, "small.csv")
