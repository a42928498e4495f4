"""The first build in two processes: while one compiles what it comes to, another compiles what will come last.

Numba compiles one kernel at a time, however many threads a process has. So the process that first finds a kernel not
compiled starts another one, which begins at the end of what a trial needs and goes backwards; what that has compiled,
the first finds in numba's cache. They meet in the middle. The second says nothing, ends with the first, however that
ends, and nothing depends on it.
"""

from __future__ import annotations

import atexit
import hashlib
import os
import subprocess
import sys
import threading
from collections.abc import Iterable
from importlib import import_module
from typing import Any

import numba

from . import compiled as declarations
from . import listener
from .kept import Kept

LAST_FIRST = (
    *("galois", "word_flywheel", "transition_following", "pulse_statistics", "stretch_sums", "change_readings"),
    *("beat", "tone_mixer", "varying_filter", "swelling_noise", "noise", "echo", "scrape", "modulation", "filters"),
    *("spline", "warp", "saturation"),
)
"""The modules that a trial of ``compare`` comes to, the last first; but small ones where the two meet, since what they
meet at is compiled twice.
"""

LESS_URGENT = 10
"""By how much the second process gives way: where others keep the second core busy it would only delay the first."""

MOST_WAIT_S = 1.0

_saving = threading.Lock()


def start() -> subprocess.Popen[bytes] | None:
    """Start the second process; None where there is no core or no interpreter for it."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    if cores < 2 or getattr(sys, "frozen", False) or not sys.executable:
        return None
    # It imports from where this process does, and from the current folder only if that is among them (-P).
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    try:
        second = subprocess.Popen(
            [sys.executable, "-P", "-c", f"from {__name__} import follow; follow()"],
            env=environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        )
    except OSError:
        return None
    atexit.register(_end, second)
    return second


def _end(second: subprocess.Popen[bytes]) -> None:
    # Whoever removes the cache after this process must not find the other one writing to it.
    if second.stdin:
        second.stdin.close()
    try:
        second.wait(MOST_WAIT_S)
    except subprocess.TimeoutExpired:
        second.kill()
        second.wait()


def follow() -> None:
    """What the second process does: build, until that is done or the pipe from the first process is closed."""
    listener.said = True
    if hasattr(os, "nice"):
        os.nice(LESS_URGENT)
    threading.Thread(target=_end_with_the_first, daemon=True).start()
    build(LAST_FIRST)


def _end_with_the_first() -> None:
    os.read(0, 1)
    with _saving:
        os._exit(0)


def build(modules: Iterable[str]) -> None:
    """Compile what the cache lacks of the kernels of ``modules`` that are called from outside, from the last on."""
    declarations.at_once = False
    built: set[Any] = set()
    for name in modules:
        module = import_module(f".{name}", __package__)
        for kernel in declarations.declared:
            if not isinstance(kernel._cache, _HandedOn):
                kernel._cache = _HandedOn(kernel.py_func)
        for kernel in reversed([made for made in declarations.declared if made.__module__ == module.__name__]):
            usual = declarations.declared[kernel]
            if usual.types is not None and not kernel._cache.has(usual.types, kernel.targetctx):
                _build(kernel, built)


def _build(kernel: Any, built: set[Any]) -> None:
    """Compile a kernel for its usual types after the kernels that it calls, as a process does that comes from above."""
    if kernel in built:
        return
    built.add(kernel)
    for name in kernel.py_func.__code__.co_names:
        called = kernel.py_func.__globals__.get(name)
        if isinstance(called, numba.core.dispatcher.Dispatcher):
            _build(called, built)
    types, only = declarations.declared[kernel]
    if types is not None:
        kernel.compile(types)
    if only:
        kernel.disable_compile()


class _HandedOn(Kept):
    """Numba's cache as written by the second process: at any moment a reader finds the right kernel or none.

    Numba's own ``save`` names the data in the index before they are there, and by counting. Between the two a reader
    gets what an older source left under that name, and two processes that save one function for different types can
    give both the same name. Here the name is that of the types, a number that counting never reaches, and the data
    are there before the index tells of them; what two that write the index at once can lose is an entry, which is
    compiled again when it is needed. Nothing is read, so that nothing half saved by the first process is built upon.
    """

    _index_key: Any

    def has(self, types: Any, target: Any) -> bool:
        target.refresh()
        return self._index_key(types, target.codegen()) in self._cache_file._load_index()

    def load_overload(self, sig: Any, target_context: Any) -> None:
        return None

    def save_overload(self, sig: Any, data: Any) -> None:
        key = self._index_key(sig, data.codegen)
        name = self._cache_file._data_name(int.from_bytes(hashlib.sha256(repr(key).encode()).digest()[:6]))
        content = self._impl.reduce(data)
        with _saving:
            self._impl.locator.ensure_cache_path()
            if key not in self._cache_file._load_index():
                self._cache_file._save_data(name, content)
                self._cache_file._save_index(self._cache_file._load_index() | {key: name})
