"""A limits file: the limits of a choice in TOML, one a line, under the names that ``Limits`` gives them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ..contracts.named_file import toml_in

_MOST_BYTES = 1 << 16


def limits_in(path: Path) -> dict[str, Any]:
    """What the file says, not yet checked.

    Raises:
        UsageError: no file, too large, or no TOML.
    """
    return toml_in(path, "limits", _MOST_BYTES)
