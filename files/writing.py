"""Files appear whole or not at all, and nothing is overwritten unless asked.

A file is written under another name in the folder where it will stand, and takes its own name only when it is
complete and on the disk. Whatever interrupts that, the other name is removed and an older file stays as it was.
"""

from __future__ import annotations

import errno
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from ..contracts.errors import TapewrightError, UsageError, in_one_line


def check_output(path: Path, force: bool, source: Path | None = None) -> None:
    """Refuse an output that could not be written, before any long work.

    Args:
        path: where something will be written.
        force: whether an existing file may be overwritten.
        source: what it will be made from, where that is never meant to be overwritten: a capture of an old tape may
            be the last there is.

    Raises:
        UsageError: the file exists and ``force`` is False, it is ``source``, it is no plain file, or its folder is
            missing.
        TapewrightError: the folder cannot be written to.
    """
    shown = in_one_line(path)
    try:
        if path.is_dir():
            raise UsageError(f"output '{shown}' is a folder; a file name is needed.")
        if path.exists() and not path.is_file():
            raise UsageError(f"output '{shown}' is not an ordinary file; another name is needed.")
        if path.exists() and not force:
            raise UsageError(f"output '{shown}' exists; --force overwrites it.")
        if source is not None and path.exists() and source.exists() and path.samefile(source):
            raise UsageError(f"output '{shown}' is the input itself; another name is needed.")
        folder = path.resolve().parent
        if not folder.exists():
            raise UsageError(f"output '{shown}': there is no folder '{in_one_line(folder)}'; make it first.")
        if not folder.is_dir():
            raise UsageError(f"output '{shown}': '{in_one_line(folder)}' is not a folder; another name is needed.")
        # Permissions alone do not tell (read-only mounts, the superuser): only trying does.
        trial = _beside(path)
        os.close(os.open(trial, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
        trial.unlink()
    except (OSError, ValueError) as error:  # ValueError: a null byte in the name
        raise not_written(path, error) from None


@contextmanager
def whole_file(path: Path, force: bool) -> Iterator[Path]:
    """Yield the name to write to; at the end of a block without error that file becomes ``path``.

    Raises:
        UsageError, TapewrightError: as ``check_output``, and when the disk does not take it.
    """
    check_output(path, force)
    target = path.resolve()
    part = _beside(target)
    try:
        try:
            # Created here so that the file gets the permissions that the user's umask gives any new file.
            os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
            if target.exists():
                part.chmod(target.stat().st_mode & 0o7777)
            yield part
            _to_disk(part)
            if force or not _linked(part, target):
                part.replace(target)
        finally:
            with suppress(OSError):
                part.unlink(missing_ok=True)
    except OSError as error:
        raise not_written(path, error) from None
    with suppress(OSError):  # not every system lets a folder be opened; the file itself is safe already
        _to_disk(target.parent)


def _linked(part: Path, target: Path) -> bool:
    """Give ``part`` its other name as well, where nothing has that name; whether the disk knows how to.

    Raises:
        UsageError: something has it.
    """
    told = UsageError(f"output '{in_one_line(target)}' has come into being meanwhile; --force overwrites it.")
    try:
        os.link(part, target)
    except FileExistsError:
        raise told from None
    except OSError:
        if target.exists():
            raise told from None
        return False
    return True


def _beside(path: Path) -> Path:
    return path.resolve().parent / f".tapewright-{secrets.token_hex(8)}.part"


def _to_disk(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def not_written(path: Path, error: Exception) -> TapewrightError:
    """What to raise where ``error`` kept something from being written to ``path``."""
    reason = error.strerror if isinstance(error, OSError) and error.strerror else error
    is_full = isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT)
    advice = "make room or name another place" if is_full else "name another place"
    return TapewrightError(f"output '{in_one_line(path)}' cannot be written: {in_one_line(reason)}; {advice}.")
