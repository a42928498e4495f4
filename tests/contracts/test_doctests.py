"""Every example in a docstring of the package runs and says what it says."""

import doctest
import importlib
import pkgutil

import pytest
import tapewright

MODULES = sorted(
    module.name
    for module in pkgutil.walk_packages(tapewright.__path__, "tapewright.")
    if not module.name.startswith(("tapewright.tests", "tapewright.build", "tapewright.__main__"))
)
EXAMPLES = {
    "tapewright",
    "tapewright.contracts.bits",
    "tapewright.contracts.errors",
    "tapewright.contracts.parameters",
    "tapewright.contracts.registry",
    "tapewright.contracts.signal",
    "tapewright.contracts.soft_bits",
    "tapewright.contracts.spec",
    "tapewright.contracts.streams",
}
"""Modules whose examples must not disappear."""


@pytest.mark.parametrize("name", ["tapewright", *MODULES])
def test_examples_run(name):
    results = doctest.testmod(importlib.import_module(name))
    assert results.failed == 0
    assert results.attempted > 0 or name not in EXAMPLES
