"""What running the command line gives in these tests."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Outcome:
    """What a command left: its exit code and what it said."""

    code: int
    out: str
    err: str

    @property
    def complaint(self) -> str:
        """The error line, which must be the only one and the last."""
        *_, last = self.err.splitlines()
        assert last.startswith("tapewright: error: ")
        assert self.err.count("tapewright: error: ") == 1
        assert "Traceback" not in self.err
        return last.removeprefix("tapewright: error: ")


Shell = Callable[..., Outcome]
