"""What the ready stacks over biphase promise, on whole tapes: long runs, outside the ordinary suite.

    pytest tests/acceptance/test_biphase_rows.py -m acceptance

The same by hand, with the demo program of 4 KiB instead of the one of 16 KiB drawn here:

    tapewright compare --codec steady-worn --channel ordinary-worn --trials 299 --seed 20251
    tapewright compare --codec steady-attic --channel ordinary-attic --trials 59 --seed 20252

A share of right loads of 99 % is shown (one-sided, 95 %) by no failure in 299 tapes, one of 95 % by none in 59, since
0.99^299 and 0.95^59 are below 0.05.
"""

import numpy as np
import pytest
import tapewright
from tapewright.benchmarks.study import Study
from tapewright.benchmarks.trials import run

PROGRAM = np.random.default_rng(16_384).bytes(16_384)


@pytest.mark.acceptance
@pytest.mark.parametrize(
    ("codec", "grade", "trials", "seed", "bytes_per_s"),
    [
        ("steady-worn", "ordinary-worn", 299, 20_251, 650),
        ("steady-attic", "ordinary-attic", 59, 20_252, 180),
    ],
)
def test_every_load_is_right(codec, grade, trials, seed, bytes_per_s):
    """N and seed were fixed before the run; the useful bytes a second count a leader of 1.0 s and a tail of 0.25 s."""
    stack = tapewright.codec(codec)
    assert stack.line_code.leader_s >= 1.0
    assert stack.line_code.tail_s >= 0.25
    assert len(PROGRAM) / stack.duration_s(len(PROGRAM)) >= bytes_per_s
    study = Study(PROGRAM, "16 KiB, invented", (codec,), ("sound",), (grade,), trials, seed)
    (result,) = run(study)
    assert result.tally.silent == 0
    assert result.tally.right == result.tally.trials == trials
