"""Whose tape it was: whatever a plug-in raises is told with codec, channel and trial."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from ..contracts.errors import TapewrightError, in_one_line
from .study import Task


@contextmanager
def blamed(task: Task, trial: int, seed: int, purpose: str = "") -> Iterator[None]:
    """Turn whatever is raised within into a line that names the tape; only Ctrl-C passes.

    Args:
        purpose: what the tape was played for, where that is no plain trial.

    Raises:
        TapewrightError: something was raised.
    """
    try:
        yield
    except KeyboardInterrupt:
        raise
    except BaseException as error:  # whatever a stranger's plug-in does: it may leave, too
        kind = "" if isinstance(error, TapewrightError) else f"{type(error).__name__}: "
        names = f"codec '{in_one_line(task.codec_name, 60)}', channel '{in_one_line(task.channel_name, 60)}'"
        why = f" ({purpose})" if purpose else ""
        raise TapewrightError(f"{names}, trial {trial}, seed {seed}{why}: {kind}{_said_by(error)}") from error


def _said_by(error: BaseException) -> str:
    try:
        return in_one_line(error, 400)
    except Exception:  # an error of a stranger's may not even be able to say what it is
        return "no word of why"
