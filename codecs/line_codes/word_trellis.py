"""A code of changes of level, word by word: from the likelihoods of the cells to those of its bits.

A word of some cells carries some bits. What may follow what is a small trellis whose states hold the level, so that
the rules of the code help to read it: the forward-backward pass weighs all that could have been sent.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits

Values = NDArray[np.float64]

LEAST = 1e-30
"""Least chance of a bit: twice what ``CERTAIN`` means."""

_BLOCK = 4096
_OVERLAP = 32
"""Words: far more than any trellis here remembers."""

_WINDOW = 32
_SWITCH = 40.0
"""Logarithm of how unlikely a slip is within one window of words: with less a dropout's ragged ends pass for one."""

_SUREST = 12.0
"""What one cell can say at most: amplitude and noise are estimates, and a click must not outweigh its neighbours."""


@dataclass(frozen=True, eq=False)
class WordTrellis:
    """The branches of one step.

    Attributes:
        sources, targets: states, shape (branches,).
        states: how many.
        levels: of the cells, +-1, shape (branches, cells a word).
        bits: of the word, shape (branches, bits a word).
    """

    sources: NDArray[np.int64]
    targets: NDArray[np.int64]
    states: int
    levels: NDArray[np.float64]
    bits: Bits

    @property
    def cells_a_word(self) -> int:
        """How many cells carry one word."""
        return int(self.levels.shape[1])

    @property
    def bits_a_word(self) -> int:
        """How many bits one word carries."""
        return int(self.bits.shape[1])

    def read(self, levels: Values) -> tuple[Values, Values]:
        """Log-likelihood ratios of the bits and where they lie.

        The words begin where they fit the code best, found anew for each stretch of some dozen words.

        Args:
            levels: log-likelihood ratio of a high level, cell by cell, shape (cells,).

        Returns:
            ratios and places in cells, both shape (bits,).
        """
        levels = np.clip(levels, -_SUREST, _SUREST)
        cells = self.cells_a_word
        words = max(levels.size // cells - 1, 0)
        if words == 0:
            return np.zeros(0), np.zeros(0)
        ratios = np.empty((cells, words, self.bits_a_word))
        evidence = np.empty((cells, words))
        for phase in range(cells):
            ratios[phase], evidence[phase] = self._from_phase(levels[phase : phase + words * cells].reshape(words, -1))
        phases = np.repeat(_best_phases(evidence), _WINDOW)[:words]
        at = np.arange(words)
        inside = (np.arange(self.bits_a_word) + 0.5) * cells / self.bits_a_word
        places = (at * cells + phases)[:, None] + inside
        return ratios[phases, at].ravel(), places.ravel()

    def _from_phase(self, levels: Values) -> tuple[Values, Values]:
        words = len(levels)
        ratios = np.empty((words, self.bits_a_word))
        evidence = np.empty(words)
        for begin in range(0, words, _BLOCK):
            first = max(begin - _OVERLAP, 0)
            end = min(begin + _BLOCK, words)
            some, told = self._posteriors(levels[first : min(end + _OVERLAP, words)])
            ratios[begin:end] = some[begin - first : end - first]
            evidence[begin:end] = told[begin - first : end - first]
        return ratios, evidence

    def _posteriors(self, levels: Values) -> tuple[Values, Values]:
        from ...kernels.trellis import branch_chances

        metrics = 0.5 * levels @ self.levels.T
        best = metrics.max(axis=1)
        chances = np.exp(metrics - best[:, None])
        evidence = np.empty(len(levels))
        branch_chances(chances, self.sources, self.targets, self.states, evidence)
        ones = np.maximum(chances @ self.bits, LEAST)
        zeros = np.maximum(chances @ (1.0 - self.bits), LEAST)
        return np.log(ones / zeros), np.log(evidence) + best


def two_level_trellis(changes: Bits, bits: Bits) -> WordTrellis:
    """The trellis of words that may follow each other freely: its states are the two levels before and after a word.

    Args:
        changes: which cells of each word begin with a change, shape (words, cells a word).
        bits: what each word carries, shape (words, bits a word).
    """
    after_low = -np.cumprod(1.0 - 2.0 * changes, axis=1)
    levels = np.concatenate((after_low, -after_low))
    return WordTrellis(
        np.repeat(np.arange(2), len(changes)), (levels[:, -1] > 0).astype(np.int64), 2, levels, np.tile(bits, (2, 1))
    )


def _best_phases(evidence: Values) -> NDArray[np.intp]:
    """The phase of each window of words: the likeliest course, changes being rare, shape (windows,)."""
    phases, words = evidence.shape
    windows = -(-words // _WINDOW)
    told = np.pad(evidence, ((0, 0), (0, windows * _WINDOW - words))).reshape(phases, windows, -1).sum(axis=2)
    best = np.empty((windows, phases), np.intp)
    score = np.zeros(phases)
    for window in range(windows):
        leader = int(np.argmax(score))
        stays = score >= score[leader] - _SWITCH
        best[window] = np.where(stays, np.arange(phases), leader)
        score = np.where(stays, score, score[leader] - _SWITCH) + told[:, window]
        score -= score.max()
    course = np.empty(windows, np.intp)
    now = int(np.argmax(score))
    for window in range(windows - 1, -1, -1):
        course[window] = now
        now = best[window, now]
    return course
