"""``tapewright study status``: how far a study is."""

from __future__ import annotations

from typing import Annotated

import typer

from .completion import studies


def status(
    study: Annotated[
        str, typer.Argument(metavar="S.toml", help="The study file, or its store.", autocompletion=studies)
    ],
    as_json: Annotated[bool, typer.Option("--json", help="Print the rows as JSON instead of the table.")] = False,
) -> None:
    """Say how far a study is, also while it runs.

    Example: tapewright study status bells.toml
    """
    from ..benchmarks.store import Store
    from ..benchmarks.stored_study import standings
    from .progress import working
    from .study_answer import store_beside, study_path

    with working("reading the store"), Store(store_beside(study_path(study))) as store:
        found = standings(store)
    if as_json:
        import json

        print(json.dumps([standing.as_json() for standing in found], indent=2, allow_nan=False))
        return
    from .table import print_standings

    print_standings(found)
