"""What the ready stacks over biphase promise, on whole tapes: long runs, outside the ordinary suite.

    pytest tests/acceptance/test_biphase_rows.py -m acceptance

The same by hand, with the demo program of 4 KiB instead of the one of 16 KiB drawn here:

    tapewright compare --codec steady-worn --channel ordinary-worn --trials 299 --seed 20251
    tapewright compare --codec steady-attic --channel ordinary-attic --trials 59 --seed 20252

Recorded on 25 November 2026: steady-worn 662 useful bytes a second, 299 of 299 right; steady-attic 244, 59 of 59; none
silently wrong. No silent load in 358 bounds their share to below 0.84 % (one-sided, 95 %).
"""

import pytest
from rows import every_load_is_right


@pytest.mark.acceptance
@pytest.mark.parametrize(
    ("codec", "grade", "trials", "seed", "bytes_per_s"),
    [
        ("steady-worn", "ordinary-worn", 299, 20_251, 650),
        ("steady-attic", "ordinary-attic", 59, 20_252, 240),
    ],
)
def test_every_load_is_right(codec, grade, trials, seed, bytes_per_s):
    """N and seed were fixed before the run."""
    every_load_is_right(codec, grade, trials, seed, bytes_per_s)
