"""Where add-ons may go, and which of them are ordered loose."""

from collections.abc import Iterable

from graftbook.rulebook.scope import Fit, Scope


def add_on_fits(scope: Scope, numbers: Iterable[str]) -> tuple[list[Fit], list[str]]:
    """Where add-ons may be fitted, and which may be ordered loose."""
    fits: list[Fit] = []
    loose: list[str] = []
    for number in numbers:
        fits.extend(f for f in scope.serving(number) if f not in fits)
        if number in scope.index.loose:
            loose.extend(n for n in scope.loose_servers(number) if n not in loose)
    return fits, loose
