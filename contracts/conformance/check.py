"""A check: one law, run on one plug-in or stack, under the law's name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from unittest import SkipTest


class Exempt(SkipTest):
    """The check does not apply, and its text says why. pytest and unittest report a skip with that reason."""


@dataclass(frozen=True)
class Check:
    """One law to run.

    Attributes:
        name: states the law, as listed in ``EXPECTED``.
        subject: the spec of what is tried.
        run: raises AssertionError, with one line that says what broke, where the law does not hold.
        exemption: why the law cannot apply; None where it does.
    """

    name: str
    subject: str
    run: Callable[[], None]
    exemption: str | None = None

    def __call__(self) -> None:
        """Runs the check.

        Raises:
            AssertionError: the law does not hold.
            Exempt: the law does not apply; nothing was run.
        """
        if self.exemption is not None:
            raise Exempt(f"{self.subject}: {self.exemption}")
        try:
            self.run()
        except Exempt as exempt:
            raise Exempt(f"{self.subject}: {exempt}") from None

    def __str__(self) -> str:
        return self.name


def require(holds: bool, otherwise: str) -> None:
    """Raises AssertionError with the text ``otherwise`` unless the law holds."""
    if not holds:
        raise AssertionError(otherwise)
