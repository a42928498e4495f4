"""A preset is a ready stack under a name: usable wherever a spec is, and inside one.

Most take no parameters. One may offer a few that concern the whole stack, such as how often a tape has been played.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Preset:
    """A name for a spec.

    Attributes:
        name: as registered.
        spec: the text it stands for; empty for the null channel.
        summary: one line for ``tapewright plugins``.
        settings: parameters that may be given with the name; each goes to every member of the stack that has it.
    """

    name: str
    spec: str
    summary: str
    settings: tuple[str, ...] = ()
