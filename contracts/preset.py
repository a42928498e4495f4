"""A preset is a ready stack under a name: usable wherever a spec is, and inside one."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Preset:
    """A name for a spec.

    Attributes:
        name: as registered.
        spec: the text it stands for; empty for the null channel.
        summary: one line for ``tapewright plugins``.
    """

    name: str
    spec: str
    summary: str
