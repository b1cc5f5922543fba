"""Files that are there whole or not at all."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from graftbook.temporary_files import clear_abandoned, held_from_the_first


class Refused(ValueError):
    """A backup or a restore that is not done; nothing was changed. Says what to do."""


@contextmanager
def written_whole(target: Path) -> Iterator[Path]:
    """A temporary file beside the target, to be written to; it takes the target's name when the block ends.

    Only its owner may read it. When the block raises, or the process dies, the target is as it was; what a
    process that died has left here goes first.
    """
    prefix, suffix = f".{target.name}.", ".part"
    clear_abandoned(target.parent, prefix, suffix)

    def made() -> Path:
        handle, name = tempfile.mkstemp(prefix=prefix, suffix=suffix, dir=target.parent)
        os.close(handle)
        return Path(name)

    with held_from_the_first(made) as part:
        try:
            yield part
            _to_disk(part)
            part.replace(target)
            _to_disk(target.parent)
        finally:
            part.unlink(missing_ok=True)


def _to_disk(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def starts_with(path: Path, mark: bytes) -> bool:
    """Whether a file begins so."""
    with path.open("rb") as stream:
        return stream.read(len(mark)) == mark
