"""Files that are there whole or not at all."""

import fcntl
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


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
    handle, name = tempfile.mkstemp(prefix=prefix, suffix=suffix, dir=target.parent)
    part = Path(name)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield part
        _to_disk(part)
        part.replace(target)
        _to_disk(target.parent)
    finally:
        part.unlink(missing_ok=True)
        os.close(handle)


@contextmanager
def work_folder(parent: Path, prefix: str) -> Iterator[Path]:
    """A folder to work in that is gone when the block ends; what a process that died has left goes first."""
    clear_abandoned(parent, prefix)
    with tempfile.TemporaryDirectory(dir=parent, prefix=prefix) as folder:
        handle = os.open(folder, os.O_RDONLY)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX)
            yield Path(folder)
        finally:
            os.close(handle)


def clear_abandoned(folder: Path, prefix: str, suffix: str = "") -> None:
    """Remove what is named so and nobody holds: its process died. Whoever works holds it locked."""
    for left in folder.iterdir():
        if left.name.startswith(prefix) and left.name.endswith(suffix) and not _is_held(left):
            shutil.rmtree(left, ignore_errors=True) if left.is_dir() else left.unlink(missing_ok=True)


def _is_held(path: Path) -> bool:
    """Whether some process holds it locked, or it cannot be told."""
    try:
        handle = os.open(path, os.O_RDONLY)
    except OSError:
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return True
    finally:
        os.close(handle)
    return False


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
