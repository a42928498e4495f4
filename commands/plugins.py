"""``tapewright plugins``: what can stand in a spec."""

from __future__ import annotations

from typing import Annotated

import typer


def plugins(
    as_json: Annotated[bool, typer.Option("--json", help="Print the list as JSON instead of the table.")] = False,
) -> None:
    """List every plug-in and preset with its parameters.

    Each name can stand in a spec, such as rs:parity_bytes=16/biphase. Presets (with a hyphen) stand for a whole spec.
    Plug-ins of other installed packages are listed too, and those that cannot be loaded with the reason.

    Example: tapewright plugins
    """
    from ..reports.catalogue import catalogue

    entries = catalogue()
    if as_json:
        import json

        print(json.dumps(entries, indent=2, allow_nan=False))
    else:
        from .table import print_catalogue

        print_catalogue(entries)
