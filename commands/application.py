"""The Typer application: options that stand before the command, and every command."""

from __future__ import annotations

from importlib import import_module
from typing import Annotated

import typer

COMMANDS = (
    "compare",
    "choose",
    "report",
    "encode",
    "player",
    "degrade",
    "decode",
    "explain",
    "testtape",
    "measure",
    "timing",
    "sheet",
    "plugins",
)
"""The modules of this folder that are commands, in the order of the help.

Each is named after its command and holds one function of that name. It imports ``typer`` and the standard library at
its top and everything else inside the function, so that help stays quick.
"""

STUDY_COMMANDS = ("run", "status", "export", "merge")
"""The commands of ``study``, each in the module ``study_`` and its name."""

SUMMARY = """Choose a cassette tape format before building the hardware.

Encodes a program as audio, sends it through a simulated worn tape, decodes it, and reports useful bytes per second
against residual error."""

STUDY_SUMMARY = "Long comparisons that survive: run, status, export, merge."


def application() -> typer.Typer:
    """The application, ready to be called."""
    app = typer.Typer(
        name="tapewright",
        help=SUMMARY,
        epilog="Example: tapewright compare --codec sturdy --codec plain-biphase --channel worn",
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.callback(invoke_without_command=True)(_before_the_command)
    for name in COMMANDS:
        app.command(name)(getattr(import_module(f".{name}", __package__), name))
    studies = typer.Typer(
        name="study", help=STUDY_SUMMARY, epilog="Example: tapewright study run @bells.toml", rich_markup_mode=None
    )
    for name in STUDY_COMMANDS:
        studies.command(name)(getattr(import_module(f".study_{name}", __package__), name))
    app.add_typer(studies)
    return app


def _before_the_command(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version and exit.")] = False,
) -> None:
    if version:
        from .. import __version__

        typer.echo(f"tapewright {__version__}")
        raise typer.Exit
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())
