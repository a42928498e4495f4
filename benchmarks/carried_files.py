"""Files that specs name, such as relay sets: carried along with results and to other machines.

What such a file holds counts, not where it stands. Where it is gone, or holds something else by now, a copy of what it
held takes its place.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from functools import cache, lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

from ..contracts.parameters import Value
from ..contracts.plug_in import PlugIn
from ..contracts.spec import Item, format_items, parse_stack


def digest(content: bytes) -> str:
    """SHA-256 in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def files_named(plug_ins: Iterable[PlugIn]) -> dict[str, Path]:
    """The files that arguments of these plug-ins name, by the argument as it stands."""
    texts = (value for plug_in in plug_ins for value in plug_in.arguments().values() if isinstance(value, str))
    return {text: Path(text) for text in texts if _may_name_a_file(text) and Path(text).is_file()}


def local(spec: str, files: Mapping[str, bytes]) -> str:
    """``spec`` with copies on this machine in place of the files that it names, unless those hold the same.

    Args:
        files: what they held, by the name that the spec gives them.
    """
    if not files:
        return spec
    return format_items(
        Item(item.name, tuple((key, _standing_in(value, files)) for key, value in item.arguments))
        for item in parse_stack(spec)
    )


def _standing_in(value: Value, files: Mapping[str, bytes]) -> Value:
    if not isinstance(value, str) or value not in files:
        return value
    path = Path(value)
    if path.is_file() and path.read_bytes() == files[value]:
        return value
    return _copy(path.name, files[value])


@lru_cache(maxsize=64)
def _copy(name: str, content: bytes) -> str:
    path = Path(_folder().name) / f"{digest(content)[:16]}-{name}"
    path.write_bytes(content)
    return str(path)


@cache
def _folder() -> TemporaryDirectory[str]:
    return TemporaryDirectory(prefix="tapewright-")


def _may_name_a_file(text: str) -> bool:
    """A word without a suffix or a folder is a name of something, even where a file is called the same."""
    return text.endswith(".toml") or "/" in text or "\\" in text
