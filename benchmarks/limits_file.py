"""A limits file: the limits of a choice in TOML, one a line, under the names that ``Limits`` gives them."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from ..contracts.errors import UsageError, in_one_line

_MOST_BYTES = 1 << 16


def limits_in(path: Path) -> dict[str, Any]:
    """What the file says, not yet checked.

    Raises:
        UsageError: no file, too large, or no TOML.
    """
    owner = f"limits '{in_one_line(path, 120)}'"
    try:
        with path.open("rb") as file:
            content = file.read(_MOST_BYTES + 1)
    except OSError as error:
        raise UsageError(f"{owner}: {error.strerror or error}.") from None
    except ValueError as error:  # a path that no file can have
        raise UsageError(f"{owner}: {in_one_line(error)}.") from None
    if len(content) > _MOST_BYTES:
        raise UsageError(f"{owner} must be at most {_MOST_BYTES} bytes.")
    try:
        return tomllib.loads(content.decode("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise UsageError(f"{owner} is not TOML: {in_one_line(error)}.") from None
