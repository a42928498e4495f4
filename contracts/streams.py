"""Random streams keyed by what they are for, not by when they are drawn.

Law: the same (seed, trial, name) gives the same stream whatever the order, the workers, the codec or the place
in a stack; different keys give independent streams (numpy's SeedSequence over a counter-based Philox).
"""

from __future__ import annotations

import hashlib
from functools import lru_cache

import numpy as np

from .errors import UsageError

_POOL_WORDS = 4
"""Of a SeedSequence: a shorter entropy is filled up with zeros before the spawn key follows."""


@lru_cache(maxsize=256)
def _words(name: str) -> tuple[int, ...]:
    digest = hashlib.blake2b(name.encode(), digest_size=16).digest()
    return tuple(int.from_bytes(digest[i : i + 4], "big") for i in range(0, 16, 4))


def stream(seed: int, trial: int, name: str) -> np.random.Generator:
    """The generator of one stage of one trial.

    >>> bool(stream(1, 2, "channel").random() == stream(1, 2, "channel").random())
    True

    Raises:
        UsageError: a seed or trial that is no whole number, or below 0.
    """
    for argument, value in (("seed", seed), ("trial", trial)):
        if not isinstance(value, int | np.integer) or isinstance(value, bool) or value < 0:
            raise UsageError(f"Argument '{argument}' must be a whole number of at least 0, not {value!r}.")
    return _generator(_in_words(int(seed)), (*_in_words(int(trial)), *_words(name)))


def substream(root: tuple[int, ...], name: str, repeat: int = 0) -> np.random.Generator:
    """The generator of the ``repeat``-th stage called ``name`` under entropy words ``root`` (32 bits)."""
    return _generator(root, (repeat, *_words(name)))


def _generator(entropy: tuple[int, ...], spawn_key: tuple[int, ...]) -> np.random.Generator:
    # What numpy makes of ``SeedSequence(entropy, spawn_key=spawn_key)`` of words of 32 bits, five times as fast.
    all_words = np.array((*entropy, *(0,) * (_POOL_WORDS - len(entropy)), *spawn_key), np.uint32)
    return np.random.Generator(np.random.Philox(np.random.SeedSequence(all_words)))


def _in_words(number: int) -> tuple[int, ...]:
    """Words of 32 bits, the lowest first; of nothing one."""
    return tuple(number >> shift & 0xFFFFFFFF for shift in range(0, max(number.bit_length(), 1), 32))
