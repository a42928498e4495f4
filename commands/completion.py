"""What the shell offers behind an option: names that may come next in a spec, and files behind an @.

Where nothing is offered, the shells offer the files of the folder themselves; that does for the names of files.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable
from pathlib import Path

_IN_RELAYS = re.compile(r"(relays:(?:[^()]*,)?(set|table)=)([^,=]*)")
_MOST_FILES = 1000


def codecs(incomplete: str) -> list[str]:
    """Layers, line codes and ready stacks."""
    return _names("codec", incomplete)


def channels(incomplete: str) -> list[str]:
    """Channel models and grades."""
    return _names("channel", incomplete)


def channels_of_rows(incomplete: str) -> list[str]:
    """What names channels of an answer: most are grades."""
    return [*_begin(["all"], incomplete), *channels(incomplete)]


def receivers(incomplete: str) -> list[str]:
    """Who can listen; behind ``relays:set=`` and ``relays:table=``, the ready sets and tables."""
    found = _IN_RELAYS.fullmatch(incomplete)
    if found is None:
        return _names("receiver", incomplete)
    before, folder, begun = found.groups()
    return [before + name for name in _ready(f"{folder}s", begun)]


def relay_sets(incomplete: str) -> list[str]:
    """The ready relay sets."""
    return _ready("sets", incomplete)


def relay_tables(incomplete: str) -> list[str]:
    """The ready wirings."""
    return _ready("tables", incomplete)


def engines(incomplete: str) -> list[str]:
    """Who can play."""
    from ..benchmarks.engines import ENGINES

    return _begin(ENGINES, incomplete)


def studies(incomplete: str) -> list[str]:
    """Study files behind an @; without one the shell knows the files itself."""
    return _files(incomplete) if incomplete.startswith("@") else []


def _names(kind: str, incomplete: str) -> list[str]:
    """Every name that fits behind the last ``/`` or parenthesis of what was typed, with what stands before it."""
    from ..contracts.errors import TapewrightError
    from ..contracts.registry import installed

    if incomplete.startswith("@"):
        return _files(incomplete)
    cut = max(incomplete.rfind("/"), incomplete.rfind("(")) + 1
    before, begun = incomplete[:cut], incomplete[cut:]
    try:
        known = installed(kind).names()
    except TapewrightError:  # a shell that completes is no place for a complaint
        return []
    return [before + name for name in _begin(known, begun)]


def _ready(folder: str, begun: str) -> list[str]:
    from ..receivers.relays.toml_section import names

    return _begin(names(folder), begun)


def _files(incomplete: str) -> list[str]:
    """TOML files and folders that begin like what stands behind the @."""
    folder, begun = os.path.split(incomplete.removeprefix("@"))
    try:
        entries = [entry for entry, _ in zip(Path(folder or ".").iterdir(), range(_MOST_FILES), strict=False)]
    except OSError:
        return []
    found = [f"{entry.name}/" if entry.is_dir() else entry.name for entry in entries]
    fit = [name for name in found if name.endswith((".toml", "/")) and name.startswith(".") == begun.startswith(".")]
    return sorted(f"@{os.path.join(folder, name)}" for name in _begin(fit, begun))


def _begin(names: Iterable[str], begun: str) -> list[str]:
    return [name for name in names if name.startswith(begun)]
