"""What the ready stacks over biphase promise, on whole tapes: long runs, outside the ordinary suite.

    pytest tests/acceptance/test_biphase_rows.py -m acceptance

The same by hand, with the demo program of 4 KiB instead of the one of 16 KiB drawn here:

    tapewright compare --codec steady-worn --channel ordinary-worn --trials 299 --seed 20251
    tapewright compare --codec steady-attic --channel ordinary-attic --trials 59 --seed 20252

The two below them are the same stacks at twice the speed: what the row allows, not a ready stack.
"""

import pytest
from rows import every_load_is_right

WORN_TWICE = "contents/rs:parity_bytes=64/interleave:depth=90/frame/biphase:bit_rate_hz=8000,tracks=split"
ATTIC_TWICE = (
    "contents/rs:parity_bytes=96/interleave:depth=104/frame:block_bytes=64/biphase:bit_rate_hz=5000,tracks=split"
)


@pytest.mark.acceptance
@pytest.mark.parametrize(
    ("codec", "grade", "trials", "seed", "bytes_per_s"),
    [
        ("steady-worn", "ordinary-worn", 299, 20_251, 650),
        ("steady-attic", "ordinary-attic", 59, 20_252, 240),
        (WORN_TWICE, "ordinary-worn", 299, 20_253, 1_200),
        (ATTIC_TWICE, "ordinary-attic", 59, 20_254, 590),
    ],
)
def test_every_load_is_right(codec, grade, trials, seed, bytes_per_s):
    """N and seed were fixed before the run."""
    every_load_is_right(codec, grade, trials, seed, bytes_per_s)
