"""``tapewright plugins``: what can stand in a spec."""

from __future__ import annotations

from typing import Annotated

import typer


def plugins(
    as_json: Annotated[bool, typer.Option("--json", help="Print the list as JSON on stdout.")] = False,
) -> None:
    """List every plug-in and preset with its parameters.

    Example: tapewright plugins
    """
