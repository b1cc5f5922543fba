"""A sheet of very many records that the demo range takes: components beside it, each with a property."""

import io
from collections.abc import Iterator


def large_sheet(components: int, price: str = "12.00") -> io.StringIO:
    """A sheet with so many components, and a third as many characteristics of theirs."""
    return io.StringIO("".join(_lines(components, price)))


def _lines(components: int, price: str) -> Iterator[str]:
    yield "[component]\nnumber,name,section,origin,price\n"
    for n in range(components):
        yield f'LS-{n:06d},"bracket, rear, size {n % 40}",brakes,modern,{price}\n'
    yield "[characteristic]\ncomponent,kind,value\n"
    for n in range(0, components, 3):
        yield f"LS-{n:06d},material,plain steel\n"
