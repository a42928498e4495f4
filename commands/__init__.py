"""Floor 4: the Typer command line, one command a file, no logic of its own.

``main`` turns whatever happens into an exit code and at most one line on stderr.
"""

from __future__ import annotations

import io
import os
import sys
import threading
from time import monotonic
from typing import NoReturn

TRACEBACK = "TAPEWRIGHT_TRACEBACK"
"""Environment variable for developers: set, errors show where they were raised."""

INTERRUPTED = 130

_ENDING_S = 0.2
"""A thread without work ends sooner."""


def main() -> NoReturn:
    """Run the command line and exit: 0 done, 1 failed, 2 usage, 3 target not met, 130 interrupted."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # closed by whoever called
            setattr(sys, name, io.StringIO())
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")  # a name that the terminal cannot show is no reason to stop
    before = set(threading.enumerate())
    code = _run()
    try:
        sys.stdout.flush()
    except OSError:
        # Said already; the interpreter shall flush the rest into nothing at its end instead of complaining once more.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    if code and _play_on(before):
        # A trial in a worker thread may need seconds more; nothing of it is kept, so nobody should wait for it.
        os._exit(code)
    raise SystemExit(code)


def _play_on(before: set[threading.Thread]) -> bool:
    """Whether threads that were not there ``before`` play tapes on, for which the interpreter would wait at its end."""
    ours = [thread for thread in threading.enumerate() if thread not in before and not thread.daemon]
    deadline = monotonic() + _ENDING_S
    for thread in ours:
        if type(thread) is threading.Thread:
            thread.join(max(deadline - monotonic(), 0.0))
            if thread.is_alive():
                return True
    return False


def _run() -> int:
    try:
        import typer

        from .application import application

        try:
            outcome = application()(standalone_mode=False, prog_name="tapewright")
        except typer.Abort:
            return _interrupted()
        sys.stdout.flush()
        # Without standalone mode an Exit comes back as its code, and what a command returns comes back as it is.
        return _interrupted() if outcome == INTERRUPTED else outcome if isinstance(outcome, int) else 0
    except KeyboardInterrupt:
        return _interrupted()
    except BrokenPipeError:
        return 1
    except SystemExit as leaving:
        return leaving.code if isinstance(leaving.code, int) else 1
    except Exception as error:
        if os.environ.get(TRACEBACK):
            raise
        return _explain(error)


def _explain(error: Exception) -> int:
    """Say in one line on stderr what went wrong; the exit code."""
    from ..contracts.errors import TapewrightError, in_one_line

    code = 1
    if isinstance(error, TapewrightError):
        text, code = str(error), error.exit_code
    elif hasattr(error, "format_message"):  # what the command-line parser raises
        text, code = error.format_message(), getattr(error, "exit_code", 2)
        context = getattr(error, "ctx", None)
        if context is not None:
            end = "" if text.endswith("?") else "."
            text = f"{text.rstrip('.')}{end} Help: {context.command_path} --help"
    elif isinstance(error, OSError):
        reason = error.strerror or str(error)
        text = f"{error.filename}: {reason}." if error.filename else f"{reason}; send the output elsewhere."
    else:
        text = f"unexpected {type(error).__name__}: {error} ({TRACEBACK}=1 shows where)"
    print(f"tapewright: error: {in_one_line(text, 1000)}", file=sys.stderr)
    return code


def _interrupted() -> int:
    print("tapewright: interrupted.", file=sys.stderr)
    return INTERRUPTED
