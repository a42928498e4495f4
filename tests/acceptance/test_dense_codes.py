"""What the dense ready stacks promise, on whole tapes: long runs, outside the ordinary suite.

    pytest tests/acceptance/test_dense_codes.py -m acceptance

The same by hand, with the demo program of 4 KiB instead of the one of 16 KiB drawn here:

    tapewright compare --codec dense-played --channel ordinary-played --trials 299 --seed 30251
    tapewright compare --codec dense-worn --channel ordinary-worn --trials 299 --seed 30252
    tapewright compare --codec dense-attic --channel ordinary-attic --trials 299 --seed 30253
    tapewright compare --codec dense-portable --channel portable-worn --trials 299 --seed 30254

A share of right loads of 99 % is shown (one-sided, 95 %) by no failure in 299 tapes, at most 1 in 473 or at most 2 in
628; one of 95 % by none in 59, at most 1 in 93 or at most 2 in 124 (binomial: 0.99^299 and 0.95^59 are below 0.05).
"""

import pytest
from rows import PROGRAM, every_load_is_right
from tapewright.benchmarks.study import Study
from tapewright.benchmarks.trials import run


@pytest.mark.acceptance
@pytest.mark.parametrize(
    ("codec", "grade", "trials", "seed", "bytes_per_s"),
    [
        ("dense-played", "ordinary-played", 299, 30_251, 5_500),
        ("dense-worn", "ordinary-worn", 299, 30_252, 4_300),
        ("dense-attic", "ordinary-attic", 299, 30_253, 2_300),
        ("dense-portable", "portable-worn", 299, 30_254, 1_300),
    ],
)
def test_every_load_is_right(codec, grade, trials, seed, bytes_per_s):
    """N and seed were fixed before the run; the useful bytes a second count a leader of 1.0 s and a tail of 0.25 s."""
    every_load_is_right(codec, grade, trials, seed, bytes_per_s)


@pytest.mark.acceptance
@pytest.mark.parametrize(
    ("codec", "grade"),
    [("dense-played", "ordinary-worn"), ("dense-worn", "ordinary-attic"), ("dense-attic", "portable-attic")],
)
def test_on_the_next_worse_tape_a_failure_is_told(codec, grade):
    """How many loads are right there is no promise; that none is silently wrong is one."""
    study = Study(PROGRAM, "16 KiB, invented", (codec,), ("sound",), (grade,), 120, 30_255)
    (result,) = run(study)
    assert result.tally.silent == 0
    assert result.tally.right + result.tally.detected == 120
