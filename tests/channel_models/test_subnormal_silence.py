"""Silence after a burst stays cheap: no stage of a grade leaves subnormal numbers behind for good, which a processor
works through a hundred times more slowly, there and in every stage after it."""

import numpy as np
import pytest
import tapewright
from tapewright.contracts.signal import Signal

STAGES = {
    stage.name: stage for name in ("ordinary-worn", "portable-attic") for stage in tapewright.channel(name).stages
}


@pytest.mark.parametrize("name", STAGES)
def test_silence_after_a_burst_ends_in_no_subnormal_numbers(name):
    burst = 0.5 * np.sin(2 * np.pi * 3000 * np.arange(2_000) / 44_100)
    tape = Signal(np.concatenate([burst, np.zeros(60_000)]), 44_100)
    worn = np.abs(STAGES[name].degrade(tape, np.random.default_rng(4)).samples[:, -20_000:])
    subnormal = (worn > 0) & (worn < np.finfo(np.float32).tiny)
    # A decay may pass through that range on its way, not stay there.
    assert not subnormal.any()
