"""Runs of the command line over real formats and real tapes, killed again and again: long, outside the ordinary suite.

pytest tests/acceptance/test_killed_studies.py -m acceptance
"""

import random
import subprocess
import sys
import time

import pytest

KILLS = 20
STUDY = """
[study]
codecs = ["sturdy", "standard-300"]
receivers = ["sound"]
channels = ["worn", "attic"]
trials = 100
seed = 20261

[[sweep]]
codec = "plain-biphase"
over = { "biphase.bit_rate_hz" = [1200, 4800] }
"""


@pytest.mark.acceptance
def test_twenty_kills_change_nothing(tmp_path):
    """The moments follow from the seed 20261 and from how fast the machine is; the table must not."""
    for name in ("quiet", "killed"):
        (tmp_path / f"{name}.toml").write_text(STUDY)

    def call(name):
        return [sys.executable, "-m", "tapewright", "study", "run", f"{name}.toml", "--json"]

    begun = time.monotonic()
    quiet = subprocess.run(call("quiet"), cwd=tmp_path, capture_output=True, text=True)
    quiet_s = time.monotonic() - begun
    assert quiet.returncode == 0, quiet.stderr
    luck, killed, done = random.Random(20_261), 0, []
    for _ in range(KILLS):
        with subprocess.Popen(
            call("killed"), cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        ) as running:
            time.sleep(luck.uniform(0, quiet_s / 5))
            killed += running.poll() is None
            running.kill()
        status = subprocess.run(
            [sys.executable, "-m", "tapewright", "study", "status", "killed.toml"],
            cwd=tmp_path,
            capture_output=True,
            text=True,
        )
        if (tmp_path / "killed.study").exists():
            assert (status.returncode, status.stderr) == (0, "")
            last = status.stdout.splitlines()[-1]
            done.append(int(last.split()[0]))
    # Late kills may find the work done and the run ended: then there was nothing left to kill.
    assert killed > KILLS // 2
    assert done == sorted(done)
    assert len(set(done)) > KILLS // 4
    ended = subprocess.run(call("killed"), cwd=tmp_path, capture_output=True, text=True)
    assert ended.returncode == 0, ended.stderr
    assert ended.stdout == quiet.stdout
