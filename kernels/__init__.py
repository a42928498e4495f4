"""Floor 1: compiled inner loops. Arrays in, arrays out, no policy.

On a new machine each is compiled when it is first needed, and kept beside the sources (or where ``NUMBA_CACHE_DIR``
says). For all that takes some ten seconds, on two cores less, which share the work (``first_build``), on one more. The
first time, the logger of this package says so.
"""

from __future__ import annotations

import gc
import logging
from typing import Any

import numba


class _FirstBuild(numba.core.event.Listener):
    """Says once that kernels of this package are being compiled, which looks like nothing happening, and gets a second
    process to share the work.

    A compiler makes many objects and keeps most: looking for garbage meanwhile would cost a tenth of the time.
    """

    said = False
    deep = 0
    collects = False

    def on_start(self, event: Any) -> None:
        compiled = getattr(event.data.get("dispatcher"), "py_func", None)
        ours = (getattr(compiled, "__module__", None) or "").startswith(__name__)
        if ours and not self.said:
            self.said = True
            from . import kept

            told = logging.getLogger(__name__)
            if kept.unkept:
                told.warning(
                    "compiling for this machine: some ten seconds, each time until NUMBA_CACHE_DIR names a folder to "
                    "keep it in"
                )
            else:
                told.warning("compiling for this machine, once: some ten seconds")
                from .first_build import start

                start()
        if self.deep or ours:
            if not self.deep:
                self.collects = gc.isenabled()
                gc.disable()
            self.deep += 1

    def on_end(self, event: Any) -> None:
        if self.deep:
            self.deep -= 1
            if not self.deep and self.collects:
                gc.enable()


listener = _FirstBuild()
numba.core.event.register("numba:compile", listener)  # type: ignore[no-untyped-call]
