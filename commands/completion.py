"""What the shell offers behind an option that takes a spec: the names that may come next."""

from __future__ import annotations


def codecs(incomplete: str) -> list[str]:
    """Layers, line codes and ready stacks."""
    return _names("codec", incomplete)


def channels(incomplete: str) -> list[str]:
    """Channel models and grades."""
    return _names("channel", incomplete)


def receivers(incomplete: str) -> list[str]:
    """Who can listen."""
    return _names("receiver", incomplete)


def _names(kind: str, incomplete: str) -> list[str]:
    """Every name that fits behind the last ``/`` or parenthesis of what was typed, with what stands before it."""
    from ..contracts.errors import TapewrightError
    from ..contracts.registry import installed

    cut = max(incomplete.rfind("/"), incomplete.rfind("(")) + 1
    before, begun = incomplete[:cut], incomplete[cut:]
    try:
        known = installed(kind).names()
    except TapewrightError:  # a shell that completes is no place for a complaint
        return []
    return [before + name for name in known if name.startswith(begun)]
