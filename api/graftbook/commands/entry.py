"""The console script: how the command begins before anything is loaded, and how it ends whatever happens.

Nothing but the standard library is imported up here, so that Ctrl-C is heard from the first moment on. The
codes are those of `commands.exits`, which loads more than this may.
"""

import os
import signal
import sys
from types import FrameType
from typing import NoReturn

_heard: list[int] = []
"""The signals that came: a library may swallow the exception that one raises, but not this."""


def main() -> NoReturn:
    """Run the command that was typed, and end the process with a code of `commands.exits`."""
    signal.signal(signal.SIGINT, _interrupt)
    code = 130
    try:
        _open_what_is_closed()
        code = _ended()
    except KeyboardInterrupt:
        pass
    finally:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # what is done stays done; only the process ends now
    sys.exit(130 if _heard else code)


def _interrupt(number: int, _frame: FrameType | None) -> NoReturn:
    _heard.append(number)
    raise KeyboardInterrupt


def _open_what_is_closed() -> None:
    """Output that was closed goes nowhere; text that a terminal's coding lacks is written in escapes."""
    for name in ("stdout", "stderr"):
        if (stream := getattr(sys, name)) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))
        else:
            stream.reconfigure(errors="backslashreplace")


def _ended() -> int:
    try:
        from graftbook.commands.cli import app

        try:
            app()
        finally:
            sys.stdout.flush()
    except SystemExit as ended:
        return _code_of(ended)
    except BrokenPipeError:
        return _nobody_reads()
    except OSError as error:
        return _told(str(error), 2)
    except Exception as error:
        return 130 if _heard else _fault(error)
    return 0


def _code_of(ended: SystemExit) -> int:
    """What the framework ends with says little where it had to end: what it caught says more."""
    caught = ended.__context__
    if isinstance(caught, BrokenPipeError):
        return _nobody_reads()
    if type(caught).__name__ == "Abort":  # a question to the terminal that nobody answered, or denied
        return 4
    return ended.code if isinstance(ended.code, int) else int(ended.code is not None)


def _nobody_reads() -> int:
    """The reader of a pipe went away (`| head`): nothing is left to be written, and nothing to be said."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    return 141


def _fault(error: Exception) -> int:
    if os.environ.get("GRAFTBOOK_LOG_LEVEL", "").lower() == "debug":
        import traceback

        traceback.print_exception(error)
    words = " ".join(str(error).split())
    return _told(f"this is a fault of the program: {type(error).__name__}: {words}"[:500], 70)


def _told(words: str, code: int) -> int:
    print(f"graftbook: {words}", file=sys.stderr)
    return code
