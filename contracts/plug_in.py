"""What line codes, layers, channel models and receivers have in common.

A plug-in is a frozen dataclass whose fields are all declared with ``parameter``, so that the constructor, the repr,
the spec and the JSON form say the same thing. It holds no state: randomness is passed in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from .parameters import Value, parameters_of


@dataclass(frozen=True)
class PlugIn:
    """Base of every plug-in.

    Class attributes:
        name: as written in a spec and as registered; lower case, with underscores.
        summary: one line for ``tapewright plugins``.
        exemptions: conformance checks that cannot apply, each with its reason.
    """

    name: ClassVar[str]
    summary: ClassVar[str]
    exemptions: ClassVar[dict[str, str]] = {}

    def __post_init__(self) -> None:
        for declared in parameters_of(self):
            value = declared.accept(getattr(self, declared.name), self.name)
            object.__setattr__(self, declared.name, value)
        self.check()

    def check(self) -> None:
        """Rules that tie several parameters together; raises ``UsageError``."""

    def arguments(self) -> dict[str, Value]:
        """Every parameter with its value, defaults included."""
        return {declared.name: getattr(self, declared.name) for declared in parameters_of(self)}
