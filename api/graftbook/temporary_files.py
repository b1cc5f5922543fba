"""Files and folders of work in progress: what a process that died has left goes with the next one's."""

import fcntl
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def work_folder(parent: Path, prefix: str) -> Iterator[Path]:
    """A folder to work in that is gone when the block ends; what a process that died has left goes first.

    Only its owner may look into it. It gets the name by which others know it when it is held already.
    """
    clear_abandoned(parent, prefix)
    made = Path(tempfile.mkdtemp(dir=parent, prefix=f".new{prefix}"))
    folder = made.with_name(made.name.removeprefix(".new"))
    handle = os.open(made, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        made.rename(folder)
        yield folder
    finally:
        os.close(handle)
        shutil.rmtree(made, ignore_errors=True)
        shutil.rmtree(folder, ignore_errors=True)


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
