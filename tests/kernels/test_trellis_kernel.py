"""The forward-backward pass against the sum over all paths."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.kernels.trellis import branch_chances

SOURCES = np.array([0, 0, 1, 1, 2])
TARGETS = np.array([0, 1, 2, 0, 1])


def by_all_paths(likelihoods):
    """Chance of each branch at each step, and the likelihood of all steps."""
    steps, branches = likelihoods.shape
    chances = np.zeros_like(likelihoods)
    for path in itertools.product(range(branches), repeat=steps):
        if any(TARGETS[one] != SOURCES[other] for one, other in itertools.pairwise(path)):
            continue
        weight = np.prod(likelihoods[range(steps), path])
        chances[range(steps), path] += weight
    return chances / chances.sum(axis=1, keepdims=True), chances[0].sum()


@given(st.integers(0, 2**32 - 1), st.integers(1, 5))
def test_chances_and_evidence_are_those_of_all_paths(seed, steps):
    likelihoods = np.random.default_rng(seed).uniform(0.01, 1.0, (steps, 5))
    expected, total = by_all_paths(likelihoods)
    chances, evidence = likelihoods.copy(), np.empty(steps)
    branch_chances(chances, SOURCES, TARGETS, 3, evidence)
    assert chances == pytest.approx(expected, rel=1e-9)
    assert np.prod(evidence) * 3 == pytest.approx(total, rel=1e-9)


def test_states_that_never_meet_survive_a_join():
    """Two states, each leading to itself: the first half says the one, the second half the other."""
    chances = np.where(np.arange(400)[:, None] < 200, [1.0, 1e-20], [1e-20, 1.0]).copy()
    branch_chances(chances, np.arange(2), np.arange(2), 2, np.empty(400))
    assert chances[:199, 0] == pytest.approx(np.ones(199))
    assert chances[201:, 1] == pytest.approx(np.ones(199))


def test_a_long_run_neither_vanishes_nor_overflows():
    chances = np.random.default_rng(1).uniform(1e-60, 1e-50, (5000, 5))
    evidence = np.empty(5000)
    branch_chances(chances, SOURCES, TARGETS, 3, evidence)
    assert chances.sum(axis=1) == pytest.approx(np.ones(5000))
    assert (evidence > 0).all()
