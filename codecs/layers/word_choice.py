"""Which bytes to take for unknown, and which of several readings of a word to believe."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ...contracts.soft_bits import LOST
from .word_correction import Corrections, WordCorrector

Reading = tuple[NDArray[np.uint8], NDArray[np.float32]]
"""The bytes of words as read, and the weakest bit of each, both of shape (words, n)."""

_PLENTY_UNUSED = 8  # parity bytes left over: no need to look for a better word
_PARITY_TO_GUESS = 24  # with half of it erased, random words are still accepted only once in 6! (1/t! for t = 6)


def most_credible(corrector: WordCorrector, readings: Sequence[Reading]) -> Corrections:
    """Of each word what is within the bound and leaves most parity unused, which is what speaks for it.

    A reading that is a codeword as it stands needs no other. A byte of which a bit was not heard at all is erased
    every time: its zeros say nothing, and a run of them would pass for the codeword of zeros. Tried are: what is not
    known, if that is not too much; only what was not heard at all; the weakest bytes.
    """
    parity = corrector.code.parity_bytes
    words = readings[0][0].copy()
    sound = np.zeros(len(words), np.bool_)
    errors, erasures = np.zeros((2, len(words)), np.int64)
    for read, confidence in readings:
        unheard = np.count_nonzero(confidence == 0, axis=1)
        clean = np.flatnonzero(corrector.are_codewords(read) & (unheard <= parity) & ~sound)
        words[clean], sound[clean], erasures[clean] = read[clean], True, unheard[clean]
    undecided = ~sound
    for read, confidence in readings:
        for guess in range(3):
            rows = np.flatnonzero(undecided)
            if not rows.size:
                break
            erased, worth_it = _guessed(guess, confidence[rows], parity)
            rows, erased = rows[worth_it], erased[worth_it]
            if not rows.size:
                continue
            found = corrector.corrected(read[rows], erased)
            better = found.sound & (~sound[rows] | (found.used < 2 * errors[rows] + erasures[rows]))
            taken = rows[better]
            words[taken], sound[taken] = found.words[better], True
            errors[taken], erasures[taken] = found.errors[better], found.erasures[better]
            undecided &= ~sound | (2 * errors + erasures > parity - _PLENTY_UNUSED)
    return Corrections(words, sound, errors, erasures)


def _guessed(guess: int, confidence: NDArray[np.float32], parity: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """What the guess erases, shape (words, n), and where it is possible and none of the guesses before, (words,)."""
    unheard, doubtful = confidence == 0, confidence <= LOST
    least, most = np.count_nonzero(unheard, axis=1), np.count_nonzero(doubtful, axis=1)
    if guess == 0:
        return doubtful, most <= parity
    if guess == 1:
        return unheard, (least <= parity) & (least != most)
    if parity < _PARITY_TO_GUESS or len(confidence) == 0:
        return unheard, np.zeros(len(confidence), np.bool_)
    weaker_than_most = np.count_nonzero(confidence < np.median(confidence, axis=1, keepdims=True), axis=1)
    count = np.maximum(least, np.minimum(parity // 2, weaker_than_most))
    rank = np.argsort(np.argsort(confidence, axis=1, kind="stable"), axis=1, kind="stable")
    return rank < count[:, None], (count <= parity) & (count != most) & (count != least)
