"""The toys: plug-ins of a make-believe third party, found the way any installed package is."""

from pathlib import Path

import pytest
from tapewright.contracts import registry

TOYS = Path(__file__).parent / "toys"


@pytest.fixture
def toys(monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.syspath_prepend(str(TOYS))
    registry.installed.cache_clear()
    yield TOYS
    registry.installed.cache_clear()
