"""Every kernel is compiled in the one way: threads of other trials must not wait for it, but for brief ones."""

import importlib
import pkgutil

import pytest
from tapewright import kernels

BRIEF = {"falls", "beats", "recognise_words", "levelled", "squares", "decided", "filtered", "smooth"}
"""They keep Python's lock: each is over in some ten microseconds on a tape of some seconds."""


@pytest.mark.parametrize("module", [found.name for found in pkgutil.iter_modules(kernels.__path__)])
def test_kernels_leave_the_lock_and_are_kept(module: str) -> None:
    loaded = importlib.import_module(f"{kernels.__name__}.{module}")
    found = [made for made in vars(loaded).values() if hasattr(made, "targetoptions")]
    assert found or module in {"compiled", "first_build", "kept"}
    for kernel in found:
        assert kernel.targetoptions["nogil"] != (kernel.__name__ in BRIEF)
        assert kernel.targetoptions["error_model"] == "numpy"
        assert type(kernel._cache).__name__ != "NullCache"
