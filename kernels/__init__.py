"""Floor 1: compiled inner loops. Arrays in, arrays out, no policy.

On a new machine each is compiled when it is first needed, some ten seconds for all, and kept beside the sources (or
where ``NUMBA_CACHE_DIR`` says). The first time, the logger of this package says so.
"""

from __future__ import annotations

import logging
from typing import Any

import numba


class _FirstBuild(numba.core.event.Listener):
    """Says once that kernels of this package are being compiled, which looks like nothing happening."""

    said = False

    def on_start(self, event: Any) -> None:
        compiled = getattr(event.data.get("dispatcher"), "py_func", None)
        if not self.said and getattr(compiled, "__module__", "").startswith(__name__):
            self.said = True
            logging.getLogger(__name__).warning("compiling for this machine, once: some ten seconds")

    def on_end(self, event: Any) -> None:
        pass


numba.core.event.register("numba:compile", _FirstBuild())  # type: ignore[no-untyped-call]
