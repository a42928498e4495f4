"""What is said when something is wrong: one line that names the argument, the rule and the value.

Each error carries the exit code of the command that meets it (0 done, 1 failed, 2 usage, 3 target not met).
"""

from __future__ import annotations

from collections.abc import Iterable

_LONGEST_COMPARED = 200


class TapewrightError(Exception):
    """The operation failed. Its text is one line fit to show a person."""

    exit_code = 1


class UsageError(TapewrightError):
    """The call or the command line is wrong; the text says what would be right."""

    exit_code = 2


class PlugInError(TapewrightError):
    """A plug-in cannot be used: it fails to import, or two packages claim its name."""


class TargetNotMet(TapewrightError):
    """The work ran, but what was asked of the result does not hold."""

    exit_code = 3


def in_one_line(text: object, longest: int = 200) -> str:
    """``text`` without line breaks or control characters and no longer than ``longest``, for a message.

    >>> in_one_line("a\\nb\\x1b[31m")
    'a b?[31m'
    """
    shown = "".join(c if c.isprintable() else " " if c.isspace() else "?" for c in str(text))
    return shown if len(shown) <= longest else shown[: longest - 1] + "…"


def did_you_mean(name: str, known: Iterable[str], cutoff: float = 0.5) -> str:
    """A sentence that offers the nearest of ``known``, with a space before it; nothing where none is near.

    >>> did_you_mean("sturdi", ["plain-clocked", "sturdy"])
    " Did you mean 'sturdy'?"
    """
    import difflib

    near = difflib.get_close_matches(name[:_LONGEST_COMPARED], list(known), n=1, cutoff=cutoff)
    return f" Did you mean '{in_one_line(near[0], 60)}'?" if near else ""
