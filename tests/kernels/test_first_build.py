"""The first build of the kernels on a machine: announced once, shared by two processes, kept, not needed uncompiled."""

import os
import subprocess
import sys
import time

import numba
import pytest
from tapewright.kernels import first_build
from tapewright.kernels.kept import keep

LOAD = """
import gc
from tapewright.kernels import first_build
started = []
first_build.start = lambda: started.append(1)
from tapewright.kernels import level_control, modulation
print(type(modulation.modulate).__name__, gc.isenabled(), len(started))
"""


def load(tmp_path, **more):
    environment = os.environ | {"NUMBA_CACHE_DIR": str(tmp_path / "kernels")} | more
    return subprocess.run([sys.executable, "-c", LOAD], env=environment, capture_output=True, text=True, check=True)


def test_it_is_announced_once_and_kept(tmp_path):
    first = load(tmp_path)
    # While it is built no garbage is collected; from then on it is again.
    assert first.stdout.split()[1:] == ["True", "1"]
    assert first.stderr == "compiling for this machine, once: some ten seconds\n"
    assert list((tmp_path / "kernels").rglob("*.nbi"))
    again = load(tmp_path)
    assert (again.stdout.split()[2], again.stderr) == ("0", "")


def test_nothing_is_built_with_the_compiler_switched_off(tmp_path):
    told = load(tmp_path, NUMBA_DISABLE_JIT="1")
    assert (told.stdout, told.stderr) == ("function True 0\n", "")


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


EAR = """
import numba, numpy as np
heard = []
class Ear(numba.core.event.Listener):
    def on_start(self, event):
        heard.append(event.data["dispatcher"].py_func.__name__)
    def on_end(self, event):
        pass
numba.core.event.register("numba:compile", Ear())
"""

BUILD = """
from tapewright.kernels import compiled, first_build
first_build.listener.said = True
first_build.build(["tone_mixer", "filters"])
# A caller must not have another one made, for what it happens to call with.
assert not any(kernel._can_compile for kernel, usual in compiled.declared.items() if usual.only and kernel.signatures)
print(*(name for name in heard if name in {kernel.__name__ for kernel in compiled.declared}))
"""

USE = """
from tapewright.kernels import filters, spline, tone_mixer
track = np.ones(64, np.float32)
track.flags.writeable = False
tone_mixer.baseband(track, 0.1, 16)
print(*heard)
"""


def test_what_the_second_process_has_compiled_is_not_compiled_again(tmp_path):
    environment = os.environ | {"NUMBA_CACHE_DIR": str(tmp_path)}
    said = []
    for script in (BUILD, BUILD, USE):
        call = [sys.executable, "-W", "ignore", "-c", EAR + script]
        said.append(subprocess.run(call, env=environment, capture_output=True, text=True, check=True).stdout.strip())
    # The last first, but callers after what they call; then nothing; and of what is used what was not built.
    assert said == ["mix_and_dump rest section add_across cascade", "", "splines"]


ASKED = """
import contextlib, io, sys
from tapewright.commands import main
sys.argv = ["tapewright", "compare", "--program", sys.argv[1], "--trials", "1", "--workers", "1", "--json"]
with contextlib.suppress(SystemExit), contextlib.redirect_stdout(io.StringIO()):
    main()
from tapewright.kernels import compiled, first_build
used = set()
for kernel, usual in compiled.declared.items():
    declared = [] if usual.types is None else [tuple(getattr(usual.types, "args", usual.types))]
    if kernel.signatures != declared:
        print("declared:", declared, "asked:", kernel.signatures, "by", kernel.__module__, kernel.__name__)
    if kernel.signatures:
        used.add(kernel.__module__.rpartition(".")[2])
print(*sorted(used))
print(first_build.listener.said)
"""


def test_what_is_compiled_ahead_is_what_a_comparison_asks_for(tmp_path):
    (tmp_path / "program").write_bytes(bytes(40))
    call = [sys.executable, "-W", "ignore", "-c", ASKED, str(tmp_path / "program")]
    for _ in range(2):
        *found, compiled = subprocess.run(call, capture_output=True, text=True, check=True).stdout.splitlines()
        # Once they are kept, those that only other kernels call are not asked for.
        if compiled == "False":
            break
    assert found == [" ".join(sorted(first_build.LAST_FIRST))]


def test_the_second_process_ends_with_the_first(tmp_path, monkeypatch):
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    monkeypatch.setattr(os, "sched_getaffinity", lambda who: {0, 1}, raising=False)
    second = first_build.start()
    deadline = time.monotonic() + 30
    while not list(tmp_path.rglob("galois*.nbi")) and time.monotonic() < deadline:
        time.sleep(0.01)
    if hasattr(os, "nice"):
        own = os.getpriority(os.PRIO_PROCESS, 0)
        assert os.getpriority(os.PRIO_PROCESS, second.pid) == min(own + first_build.LESS_URGENT, 19)
    # That of a process that ends, or is killed, is closed by the system.
    second.stdin.close()
    assert second.wait(10) == 0
    kept = [path.name for path in tmp_path.rglob("*.*")]
    assert any(name.startswith("galois") for name in kept)
    assert not any(name.startswith("saturation") or ".tmp." in name for name in kept)


@pytest.mark.parametrize(
    ("of", "name", "value"),
    [
        (os, "sched_getaffinity", lambda who: {0}),
        (sys, "executable", ""),
        (sys, "executable", os.path.join(os.sep, "no", "interpreter")),
        (sys, "frozen", True),
    ],
)
def test_without_a_core_or_an_interpreter_there_is_no_second_process(of, name, value, monkeypatch):
    monkeypatch.setattr(os, "sched_getaffinity", lambda who: {0, 1}, raising=False)
    monkeypatch.setattr(of, name, value, raising=False)
    assert first_build.start() is None


def twice(value):
    return value + value


def test_a_reader_finds_the_right_kernel_or_none_while_it_is_saved(tmp_path, monkeypatch):
    monkeypatch.setattr(numba.core.config, "CACHE_DIR", str(tmp_path))
    kernel = numba.njit(cache=True)(twice)
    kernel._cache = first_build._HandedOn(twice)
    kept = kernel._cache._cache_file
    save, named = kept._save_index, []

    def saved(overloads):
        named[:] = overloads.values()
        assert all(os.path.exists(kept._data_path(name)) for name in named)
        save(overloads)

    monkeypatch.setattr(kept, "_save_index", saved)
    for of in (numba.types.int64, numba.types.float64):
        kernel.compile((of,))
    # Two types have two names, and neither is one that another process would give by counting.
    assert len(set(named)) == 2
    assert not {kept._data_name(number) for number in (1, 2)} & set(named)
    reader = numba.njit(twice)
    keep(reader)
    assert (reader(3), reader(0.25)) == (6, 0.5)
    assert not reader.stats.cache_misses
