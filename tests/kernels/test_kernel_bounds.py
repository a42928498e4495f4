"""Kernels stay within their arrays: uncompiled, numpy refuses what compiled code would read or write beyond an end."""

import os
import subprocess
import sys

PLAYED = """
import numpy as np
from tapewright.channel_models import grades
from tapewright.contracts import registry
from tapewright.contracts.channel_model import Channel
from tapewright.contracts.preset import Preset
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import stream

def play(stages, frames):
    tape = Signal(np.random.default_rng(frames).uniform(-0.7, 0.7, (2, frames)), 44_100)
    for stage in stages:
        try:
            Channel((stage,)).degrade(tape, stream(1, 0, "channel"))
        except IndexError as error:
            print(stage.name, frames, error)

shipped = sorted(found.name for found in vars(grades).values() if isinstance(found, Preset))
stages = {stage: None for name in shipped for stage in registry.channel(name).stages}
stages |= dict.fromkeys(registry.channel("dropouts:per_minute=600/print_through:left_s=0/skew:skew_us=40").stages)
play(stages, 1)
play(stages, 4999)
# Syllables are so slow that only the third piece of a tape goes far beyond what was drawn.
play(registry.channel("residue").stages, 33_001)
print(*sorted({stage.name for stage in stages}))
"""

REACHED = {
    *("azimuth", "clip", "contact", "crosstalk", "drift", "dropouts", "head_losses", "hiss", "hum", "level"),
    *("level_control", "modulation_noise", "print_through", "replay_amp", "residue", "saturation", "skew"),
}


def test_no_stage_of_a_grade_leaves_its_arrays(tmp_path):
    # No length is a multiple of a piece, a block, a step or a loop.
    environment = os.environ | {"NUMBA_DISABLE_JIT": "1", "NUMBA_CACHE_DIR": str(tmp_path)}
    call = [sys.executable, "-W", "ignore", "-c", PLAYED]
    told = subprocess.run(call, env=environment, capture_output=True, text=True, check=True)
    *outside, reached = told.stdout.splitlines()
    assert outside == []
    assert set(reached.split()) == REACHED
