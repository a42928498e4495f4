"""``tapewright study merge``: add what was played elsewhere."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer


def merge(
    stores: Annotated[list[Path], typer.Argument(metavar="A.study B.study ...", help="Stores of parts of a study.")],
    output: Annotated[
        Path, typer.Option("-o", "--output", metavar="FILE", help="The store to add to; made if there is none.")
    ],
) -> None:
    """Add the results of stores from elsewhere to one.

    Shares of one study, other seeds, other programs and other formats are all welcome. Trials that two stores both
    hold are refused, and then nothing is added.

    Example: tapewright study merge first.study second.study -o whole.study
    """
    from ..benchmarks.merge import merge as merge_stores
    from ..contracts.errors import in_one_line
    from .progress import working

    with working("merging"):
        added = merge_stores(stores, output)
    print(f"{added} tapes of {len(stores)} stores added to {in_one_line(output)}", file=sys.stderr)
