"""What is compiled is kept, for as long as no kernel's source changes, where there is a place for it.

Numba looks at the file of a kernel only, and a kernel holds the code of those that it calls from other files. Nor does
it expect a cache that was cut short, or a disk that is full: neither is a reason to play no tapes.
"""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path
from typing import Any

import numba

unkept = False
"""Whether something was compiled, or will be, that could not be kept."""

_tried: dict[str, bool] = {}
"""Whether each folder that was to be used can be written to."""


@cache
def sources() -> str:
    """Hash of the sources of all kernels."""
    files = sorted(Path(__file__).parent.glob("*.py"))
    return hashlib.blake2b(b"".join(file.read_bytes() for file in files), digest_size=16).hexdigest()


class Kept(numba.core.caching.FunctionCache):
    """Numba's cache of a function."""

    _cache_file: Any
    _impl: Any

    def __init__(self, function: Any) -> None:
        super().__init__(function)  # type: ignore[no-untyped-call]
        self._cache_file._source_stamp = (self._cache_file._source_stamp, sources())

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """What was kept; None if that is nothing, or nothing that can be read."""
        try:
            return super().load_overload(sig, target_context)  # type: ignore[no-untyped-call]
        except Exception:  # whatever reading half a file comes to
            self._forget()
            return None

    def save_overload(self, sig: Any, data: Any) -> None:
        """Keep it, if that can be."""
        global unkept
        try:
            super().save_overload(sig, data)  # type: ignore[no-untyped-call]
        except OSError:
            unkept = True

    def _forget(self) -> None:
        try:
            self.flush()  # type: ignore[no-untyped-call]
        except OSError:
            self.disable()  # type: ignore[no-untyped-call]


def keep(kernel: Any) -> None:
    """Keep what ``kernel`` compiles, and use what was kept."""
    global unkept
    try:
        kernel._cache = Kept(kernel.py_func)
    except RuntimeError:  # numba knows no folder that it may write to
        unkept = True
        return
    unkept = unkept or not _writable(kernel._cache)


def _writable(kept: Kept) -> bool:
    folder = kept.cache_path
    if folder not in _tried:
        try:
            kept._impl.locator.ensure_cache_path()
            _tried[folder] = True
        except OSError:
            _tried[folder] = False
    return _tried[folder]
