"""How a row of whole tapes is shown: the program, the floor under its speed, and no failure in N fresh tapes.

A share of right loads of 99 % is shown (one-sided, 95 %) by no failure in 299 tapes, at most 1 in 473 or at most 2 in
628; one of 95 % by none in 59, at most 1 in 93 or at most 2 in 124 (binomial: 0.99^299 and 0.95^59 are below 0.05).
"""

import numpy as np
import tapewright
from tapewright.benchmarks.study import Study
from tapewright.benchmarks.trials import run

PROGRAM = np.random.default_rng(16_384).bytes(16_384)


def every_load_is_right(codec, grade, trials, seed, bytes_per_s):
    """Useful bytes a second count a leader of 1.0 s and a tail of 0.25 s."""
    stack = tapewright.codec(codec)
    assert stack.line_code.leader_s >= 1.0
    assert stack.line_code.tail_s >= 0.25
    assert len(PROGRAM) / stack.duration_s(len(PROGRAM)) >= bytes_per_s
    study = Study(PROGRAM, "16 KiB, invented", (codec,), ("sound",), (grade,), trials, seed)
    (result,) = run(study)
    assert result.tally.silent == 0
    assert result.tally.right == result.tally.trials == trials
