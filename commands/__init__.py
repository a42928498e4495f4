"""Floor 4: the Typer command line, one command a file, no logic of its own.

Each module in ``COMMANDS`` is named after its command and holds one function of that name. Those modules import
``typer`` and the standard library at their top and everything else inside the function, so that help stays quick.
"""

from __future__ import annotations

import os
import sys
from importlib import import_module
from typing import TYPE_CHECKING, NoReturn

if TYPE_CHECKING:
    import typer

COMMANDS = ("compare", "encode", "degrade", "decode", "plugins")
"""The modules of this folder that are commands, in the order of the help."""

TRACEBACK = "TAPEWRIGHT_TRACEBACK"
"""Environment variable for developers: set, errors show where they were raised."""

INTERRUPTED = 130


def main() -> NoReturn:
    """Run the command line and exit: 0 done, 1 failed, 2 usage, 3 target not met, 130 interrupted."""
    code = _run()
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except BrokenPipeError:
        _close_quietly()
    if code == INTERRUPTED:
        # A trial in a worker thread may need seconds more; nothing of it is kept, so nobody should wait for it.
        os._exit(code)
    raise SystemExit(code)


def application() -> typer.Typer:
    """The Typer application with every command."""
    import typer

    app = typer.Typer(
        name="tapewright",
        help="Choose a cassette tape format before building the hardware.",
        epilog="Example: tapewright compare --codec sturdy --codec plain-biphase --channel worn",
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )

    @app.callback(invoke_without_command=True)
    def tapewright(
        context: typer.Context,
        version: bool = typer.Option(False, "--version", help="Print the version and exit."),
    ) -> None:
        if version:
            from .. import __version__

            typer.echo(f"tapewright {__version__}")
            raise typer.Exit
        if context.invoked_subcommand is None:
            typer.echo(context.get_help())

    from importlib.util import find_spec

    for name in COMMANDS:
        if find_spec(f".{name}", __name__) is None:  # until every command has landed
            continue
        app.command(name)(getattr(import_module(f".{name}", __name__), name))
    return app


def _run() -> int:
    try:
        import typer

        try:
            outcome = application()(standalone_mode=False, prog_name="tapewright")
        except typer.Abort:
            return _interrupted()
        # Without standalone mode an Exit comes back as its code, and what a command returns comes back as it is.
        return _interrupted() if outcome == INTERRUPTED else outcome if isinstance(outcome, int) else 0
    except KeyboardInterrupt:
        return _interrupted()
    except BrokenPipeError:
        _close_quietly()
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
            text = f"{text.rstrip('.')}. Help: {context.command_path} --help"
    elif isinstance(error, OSError):
        text = f"{error.filename}: {error.strerror}." if error.filename and error.strerror else str(error)
    else:
        text = f"unexpected {type(error).__name__}: {error} ({TRACEBACK}=1 shows where)"
    print(f"tapewright: error: {in_one_line(text, 1000)}", file=sys.stderr)
    return code


def _interrupted() -> int:
    print("tapewright: interrupted.", file=sys.stderr)
    return INTERRUPTED


def _close_quietly() -> None:
    """Whoever read our output has gone: let the interpreter flush into nothing instead of complaining."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
