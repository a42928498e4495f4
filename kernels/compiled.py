"""How every kernel is compiled: without Python's lock, divided as numpy divides, kept for the next start."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import numba

Kernel = TypeVar("Kernel", bound=Callable[..., Any])


def compiled(signature: Any = None, fastmath: bool | set[str] = False) -> Callable[[Kernel], Kernel]:
    """Decorator of a kernel.

    Nobody calls kernels from C, so that no wrapper for it is built: that is a twentieth of the time of the first build.

    Args:
        signature: compile for this at once; without it for whatever the first call brings.
        fastmath: what may be done to sums, as numba has it.
    """
    options: dict[str, Any] = {"error_model": "numpy", "nogil": True, "cache": True, "no_cfunc_wrapper": True}
    decorator: Callable[[Kernel], Kernel] = numba.njit(signature, fastmath=fastmath, **options)
    return decorator
