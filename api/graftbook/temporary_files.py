"""Files and folders of work in progress: what a process that died has left goes with the next one's."""

import fcntl
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path


@contextmanager
def work_folder(parent: Path, prefix: str) -> Iterator[Path]:
    """A folder to work in that is gone when the block ends; what a process that died has left goes first.

    Only its owner may look into it.
    """
    clear_abandoned(parent, prefix)
    with held_from_the_first(lambda: Path(tempfile.mkdtemp(dir=parent, prefix=prefix))) as folder:
        try:
            yield folder
        finally:
            shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def held_from_the_first(make: Callable[[], Path]) -> Iterator[Path]:
    """The file or folder that this makes, held until the block ends, so that nobody takes it for abandoned.

    It is made once more where somebody did before it was held.
    """
    while True:
        path = make()
        with suppress(FileNotFoundError):
            handle = os.open(path, os.O_RDONLY)
            fcntl.flock(handle, fcntl.LOCK_EX)
            if path.exists():
                break
            os.close(handle)
    try:
        yield path
    finally:
        os.close(handle)


def clear_abandoned(folder: Path, prefix: str, suffix: str = "") -> None:
    """Remove what is named so and nobody holds: its process died. Whoever works holds it."""
    for left in folder.iterdir():
        if left.name.startswith(prefix) and left.name.endswith(suffix):
            with suppress(OSError):  # held, or gone by now
                _remove_if_free(left)


def _remove_if_free(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        shutil.rmtree(path, ignore_errors=True) if path.is_dir() else path.unlink(missing_ok=True)
    finally:
        os.close(handle)
