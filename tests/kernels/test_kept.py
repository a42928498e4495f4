"""What is compiled is kept: not beyond a change of any kernel's source, and a cache that is broken stops nothing."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from tapewright import kernels

SOUND = """
import numpy as np
import kernels.first_build
kernels.first_build.start = lambda: None
from kernels.filters import add_across
row, coefficients = np.ones((2, 64), np.float32), np.array([0.5, 0.25, 0, 0.1, 0])
coefficients.flags.writeable = False
add_across(row[0], row[1], coefficients)
print(row[0, 50])
"""


@pytest.fixture
def alone(tmp_path: Path) -> Path:
    """The kernels as a package of their own, that can be edited."""
    shutil.copytree(Path(kernels.__file__).parent, tmp_path / "kernels", ignore=shutil.ignore_patterns("__pycache__"))
    return tmp_path


def run(folder: Path, **more: str) -> subprocess.CompletedProcess[str]:
    environment = os.environ | {"NUMBA_CACHE_DIR": str(folder / "cache"), "PYTHONPATH": str(folder)} | more
    call = [sys.executable, "-c", SOUND]
    return subprocess.run(call, cwd=folder, env=environment, capture_output=True, text=True, timeout=120)


def test_a_kernel_is_compiled_anew_when_another_has_changed(alone: Path) -> None:
    """It may hold the code of the other, or one of its constants."""
    first, again = run(alone), run(alone)
    assert (first.returncode, again.stdout, again.stderr) == (0, first.stdout, "")
    with (alone / "kernels" / "modulation.py").open("a") as other:
        other.write("ADDED = 1\n")
    changed = run(alone)
    assert changed.stdout == first.stdout
    assert changed.stderr.startswith("compiling for this machine, once")


@pytest.mark.parametrize("ending", [".nbc", ".nbi"])
def test_a_cache_that_was_cut_short_is_built_anew(ending: str, alone: Path) -> None:
    first = run(alone)
    cut = list((alone / "cache").rglob(f"*{ending}"))
    assert cut
    for file in cut:
        file.write_bytes(b"")
    again = run(alone)
    assert (again.returncode, again.stdout) == (0, first.stdout)
    assert run(alone).stderr == ""


def test_where_nothing_can_be_kept_it_goes_on_and_says_so(alone: Path) -> None:
    """Files stand for folders that cannot be written to, which the superuser does not know."""
    for name in ("cache", "kernels/__pycache__"):
        (alone / name).write_text("")
    told = run(alone, HOME=str(alone / "cache"), XDG_CACHE_HOME=str(alone / "cache"))
    assert told.returncode == 0
    assert float(told.stdout)
    assert told.stderr.count("\n") == 1
    assert "each time until NUMBA_CACHE_DIR names a folder to keep it in" in told.stderr
