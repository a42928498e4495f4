"""How every kernel is compiled: without Python's lock, divided as numpy divides, kept for the next start.

But a brief one keeps the lock: it is over before another thread has woken up, and would then have to wait for that one.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar

import numba

from .kept import keep

Kernel = TypeVar("Kernel", bound=Callable[..., Any])


class Usual(NamedTuple):
    """What a kernel is usually called with.

    Attributes:
        types: numba's signature, or its types of the arguments; None where only other kernels call it.
        only: it takes nothing else.
    """

    types: Any
    only: bool


declared: dict[Any, Usual] = {}
"""All kernels that have been loaded, in the order of their sources."""

at_once = True
"""Whether a kernel with a signature is compiled where it is declared: not by who takes them in another order."""


def compiled(
    signature: Any = None,
    fastmath: bool | set[str] = False,
    ahead: tuple[Any, ...] | None = None,
    brief: bool = False,
) -> Callable[[Kernel], Kernel]:
    """Decorator of a kernel.

    Nobody calls kernels from C, so that no wrapper for it is built: that is a twentieth of the time of the first build.

    Args:
        signature: compile for this at once; without it for whatever the first call brings.
        fastmath: what may be done to sums, as numba has it.
        ahead: without a signature: the types of the arguments that the first call usually brings. Another process may
            compile for them before it comes (``first_build``).
        brief: over in some ten microseconds on a tape of some seconds.
    """
    options: dict[str, Any] = {"error_model": "numpy", "nogil": not brief, "no_cfunc_wrapper": True}

    def made(function: Kernel) -> Kernel:
        kernel: Any = numba.njit(fastmath=fastmath, **options)(function)
        declared[kernel] = Usual(ahead if signature is None else signature, only=signature is not None)
        if isinstance(kernel, numba.core.dispatcher.Dispatcher):  # a plain function where the compiler is off
            keep(kernel)
            if signature is not None and at_once:
                kernel.compile(signature)
                kernel.disable_compile()
        made_kernel: Kernel = kernel
        return made_kernel

    return made
