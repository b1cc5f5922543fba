"""The console script: how the command begins before anything is loaded, and how it ends whatever happens.

Nothing but the standard library is imported up here, so that Ctrl-C is heard from the first moment on. The
codes are those of `commands.exits`, which loads more than this may.
"""

import os
import sys
from _signal import SIG_IGN, SIGINT, signal  # type: ignore[import-not-found]  # typeshed lacks this module

INTERRUPTED = 130
# Of C alone, since all that `signal` itself loads would come before a Ctrl-C is heard.
signal(SIGINT, lambda *_: os._exit(INTERRUPTED))

import gc  # noqa: E402
from types import FrameType  # noqa: E402
from typing import NoReturn  # noqa: E402

COLLECTED_AFTER = (30_000, 20, 50)
"""New objects before the collector walks the newest, and so on: nearly all that a command loads stays until
its end. What serves sets its own."""

_heard: list[int] = []
"""The signals that came: a library may swallow the exception that one raises, but not this."""


def main() -> NoReturn:
    """Run the command that was typed, and end the process with a code of `commands.exits`."""
    code = INTERRUPTED
    try:
        signal(SIGINT, _interrupt)
        gc.set_threshold(*COLLECTED_AFTER)
        _open_what_is_closed()
        code = _ended()
    except KeyboardInterrupt:
        pass
    signal(SIGINT, SIG_IGN)  # what is done stays done; only the process ends now
    sys.exit(INTERRUPTED if _heard else code)


def _interrupt(number: int, _frame: FrameType | None) -> NoReturn:
    """Undo what is half done; whoever asks again waits for nothing."""
    if _heard:
        os._exit(INTERRUPTED)
    _heard.append(number)
    raise KeyboardInterrupt


def _open_what_is_closed() -> None:
    """Output that was closed goes nowhere; text that a terminal's coding lacks is written in escapes."""
    for name in ("stdout", "stderr"):
        if (stream := getattr(sys, name)) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115  (until the end)
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
        return INTERRUPTED if _heard else _ended_with(str(error), 2)
    except Exception as error:
        return INTERRUPTED if _heard else _fault(error)
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
    return _ended_with(f"this is a fault of the program: {type(error).__name__}: {words}"[:500], 70)


def _ended_with(words: str, code: int) -> int:
    print(f"graftbook: {words}", file=sys.stderr)
    return code
