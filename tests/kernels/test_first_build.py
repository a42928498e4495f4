"""The first build of the kernels on a machine: announced once, kept, and not needed with the compiler switched off."""

import os
import subprocess
import sys

import pytest

LOAD = """
import gc
from tapewright.kernels import level_control, modulation
print(type(modulation.modulate).__name__, gc.isenabled())
"""


def load(tmp_path, **more):
    environment = os.environ | {"NUMBA_CACHE_DIR": str(tmp_path / "kernels")} | more
    return subprocess.run([sys.executable, "-c", LOAD], env=environment, capture_output=True, text=True, check=True)


def test_it_is_announced_once_and_kept(tmp_path):
    first = load(tmp_path)
    # While it is built no garbage is collected; from then on it is again.
    assert first.stdout.split()[1] == "True"
    assert first.stderr == "compiling for this machine, once: some ten seconds\n"
    assert list((tmp_path / "kernels").rglob("*.nbi"))
    assert load(tmp_path).stderr == ""


def test_nothing_is_built_with_the_compiler_switched_off(tmp_path):
    told = load(tmp_path, NUMBA_DISABLE_JIT="1")
    assert (told.stdout, told.stderr) == ("function True\n", "")


COMPARED = """
import numpy as np
from tapewright.contracts import registry
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import stream

turns = 3000 / 8000 * np.arange(2500)
tone = Signal(0.5 * np.sin(2 * np.pi * turns), 8000)
for stage in {stages!r}:
    print(registry.channel(stage).degrade(tone, stream(1, 0, "channel")).samples.tobytes().hex())
"""

STAGES = (
    *("saturation", "drift:speed_percent=1", "drift:scrape_percent=0.1", "contact", "skew:skew_us=40"),
    *("replay_amp", "crosstalk", "print_through:left_s=0", "level_control"),
)


def test_channel_models_sound_the_same_with_the_compiler_switched_off():
    import numpy as np

    def heard(**more):
        call = [sys.executable, "-W", "ignore", "-c", COMPARED.format(stages=STAGES)]
        told = subprocess.run(call, env=os.environ | more, capture_output=True, text=True, check=True)
        return [np.frombuffer(bytes.fromhex(line), np.float32) for line in told.stdout.split()]

    for plain, compiled in zip(heard(NUMBA_DISABLE_JIT="1"), heard(), strict=True):
        # Other orders of summing in single precision.
        assert plain == pytest.approx(compiled, abs=2e-6)
