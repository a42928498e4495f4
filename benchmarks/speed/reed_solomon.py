"""Reed-Solomon (255, 223), word by word as bytes, without the bits and confidences that a layer brings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...contracts import registry
from ...contracts.streams import stream
from .chain import SEED
from .paired import paired
from .row import Row

N, K = 255, 223
GOALS = {0: 1000.0, 50: 250.0, 100: 200.0}
"""By percent of dirty words, against reedsolo."""

GALOIS_GOAL = 30.0
_WORDS_OF_RIVALS = 40
"""Rivals that take a word at a time are timed on so few."""

Words = NDArray[np.uint8]


def words(count: int, dirty_percent: int) -> tuple[Words, Words]:
    """Codewords, shape (words, n), and the same with 16 wrong bytes in every other word (50 %), or in all."""
    layer: Any = registry.codec("rs/biphase").layers[0]
    rng = stream(SEED, dirty_percent, "words")
    data = rng.integers(0, 256, (count, K)).astype(np.uint8)
    sent = np.concatenate([data, layer.code.parity(data)], axis=1)
    heard = sent.copy()
    for row in range(0, count, 100 // dirty_percent) if dirty_percent else ():
        places = rng.choice(N, (N - K) // 2, replace=False)
        heard[row, places] ^= rng.integers(1, 256, places.size).astype(np.uint8)
    return sent, heard


def ours(heard: Words, erased: NDArray[np.bool_]) -> Words:
    layer: Any = registry.codec("rs/biphase").layers[0]
    found: Words = layer._corrector.corrected(heard, erased).words
    return found


def by_reedsolo(heard: Words) -> Words:
    from reedsolo import RSCodec

    codec = RSCodec(N - K, fcr=0, prim=0x11D)
    return np.array([np.frombuffer(bytes(codec.decode(bytearray(word.tobytes()))[1]), np.uint8) for word in heard])


def by_galois() -> Callable[[Words], Words]:
    """The data of the words.

    Raises:
        ImportError: galois is not installed.
    """
    import galois

    field = galois.GF(2**8, irreducible_poly=0x11D, primitive_element=2)
    codec = galois.ReedSolomon(N, K, field=field, alpha=field(2), c=0)
    return lambda heard: np.asarray(codec.decode(field(heard)), np.uint8)


def reed_solomon(count: int, rounds: int) -> list[Row]:
    return [*(_against_reedsolo(percent, count, rounds) for percent in GOALS), _against_galois(count, rounds)]


def _against_reedsolo(dirty_percent: int, count: int, rounds: int) -> Row:
    _, heard = words(count, dirty_percent)
    # Words that follow each other: every second one is dirty, or all, or none.
    few, erased = heard[:_WORDS_OF_RIVALS], np.zeros(heard.shape, bool)
    timed = paired(lambda: ours(heard, erased), lambda: by_reedsolo(few), rounds, repeats=10)
    work = f"RS (255,223) decode, {dirty_percent} % dirty"
    row = Row(work, "reedsolo", 1, GOALS[dirty_percent], unit="us a word")
    return timed.into(row, 1e6 / count, more=count / len(few))


def _against_galois(count: int, rounds: int) -> Row:
    row = Row("RS (255,223) decode, 0 % dirty", "galois", 1, GALOIS_GOAL, unit="us a word")
    try:
        theirs = by_galois()
    except ImportError as error:
        return replace(row, note=f"not measured, because: {error}")
    _, heard = words(count, 0)
    erased = np.zeros(heard.shape, bool)
    timed = paired(lambda: ours(heard, erased), lambda: theirs(heard), rounds, repeats=10)
    return timed.into(row, 1e6 / count)
