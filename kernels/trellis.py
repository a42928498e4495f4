"""The forward-backward pass over any small trellis that repeats itself step by step.

Likelihoods come in and chances go out as plain numbers, so that the loop needs no exponential.
"""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled

LEAK = 1e-12
"""Chance of having come to any state without a branch: what was cut and joined must not stay impossible for ever."""

_LIKELIHOODS = types.Array(types.float64, 2, "C")
_PLACES = types.Array(types.int64, 1, "C", readonly=True)


@compiled(types.void(_LIKELIHOODS, _PLACES, _PLACES, types.int64, types.Array(types.float64, 1, "C")), fastmath=True)
def branch_chances(
    likelihoods: NDArray[np.float64],
    sources: NDArray[np.int64],
    targets: NDArray[np.int64],
    states: int,
    evidence: NDArray[np.float64],
) -> None:
    """Turn the likelihood of each branch by itself into its chance given all steps (L. R. Bahl and others 1974).

    Every state may come first and every state last.

    Args:
        likelihoods: shape (steps, branches), above 0; chances on return, each row adds up to 1.
        sources, targets: the state a branch leaves and the one it leads to, shape (branches,).
        states: how many there are.
        evidence: out, shape (steps,): likelihood of each step given those before it.
    """
    steps, branches = likelihoods.shape
    ahead = np.empty((steps + 1, states))
    ahead[0, :] = 1.0 / states
    for step in range(steps):
        row = ahead[step + 1]
        row[:] = 0.0
        for branch in range(branches):
            row[targets[branch]] += ahead[step, sources[branch]] * likelihoods[step, branch]
        total = 0.0
        for state in range(states):
            total += row[state]
        evidence[step] = total
        for state in range(states):
            row[state] = row[state] / total + LEAK
    back = np.full(states, 1.0 / states)
    before = np.empty(states)
    for step in range(steps - 1, -1, -1):
        before[:] = 0.0
        for branch in range(branches):
            onward = likelihoods[step, branch] * back[targets[branch]]
            before[sources[branch]] += onward
            likelihoods[step, branch] = ahead[step, sources[branch]] * onward
        total = 0.0
        for branch in range(branches):
            total += likelihoods[step, branch]
        for branch in range(branches):
            likelihoods[step, branch] /= total
        total = 0.0
        for state in range(states):
            total += before[state]
        for state in range(states):
            back[state] = before[state] / total + LEAK
