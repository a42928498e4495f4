"""Memory that is written and forgotten, kept by each thread from one tape to the next.

Fresh memory is handed out by the operating system a page at a time, which costs more than what is then done with it.
"""

from __future__ import annotations

import threading
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

MOST_BYTES = 16 << 20
"""Kept by a thread at the most; whoever needs more gets it and gives it back."""


class _Kept(threading.local):
    def __init__(self) -> None:
        self.store: NDArray[np.float32] = np.empty(0, np.float32)
        self.used = self.wanted = 0


_kept = _Kept()


class scratch:
    """Rows of ``sizes`` for as long as the block lasts, holding anything; nothing of them may be handed on.

    >>> with scratch(2, 3) as (one, other):
    ...     one.shape, other.shape
    ((2,), (3,))
    """

    __slots__ = ("begin", "sizes")

    def __init__(self, *sizes: int) -> None:
        self.sizes = sizes

    def __enter__(self) -> list[NDArray[np.float32]]:
        self.begin = begin = _kept.used
        needed = sum(self.sizes)
        _kept.wanted = max(_kept.wanted, begin + needed)
        if begin == 0 and _kept.store.size < _kept.wanted and 4 * _kept.wanted <= MOST_BYTES:
            _kept.store = np.empty(_kept.wanted, np.float32)
        if begin + needed <= _kept.store.size:
            _kept.used += needed
            rows = _kept.store[begin : begin + needed]
        else:
            rows = np.empty(needed, np.float32)
        ends = accumulate(self.sizes)
        return [rows[end - size : end] for size, end in zip(self.sizes, ends, strict=True)]

    def __exit__(self, *_: object) -> None:
        _kept.used = self.begin
