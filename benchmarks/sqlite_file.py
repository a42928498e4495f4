"""An SQLite file of ours: what marks it, who may write to it, and what SQLite complains of, in words.

Sources: SQLite, "Database File Format" (the header) and "Result and Error Codes".
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

from ..contracts.errors import TapewrightError, UsageError, in_one_line
from ..contracts.named_file import opened

LAYOUT = 1
"""Of the tables; a store with a higher one was written by a later version."""

MARK = 0x54575354
"""SQLite's application id of our stores: "TWST"."""

LEFT = "It is left as it is; go back to a copy, or run the study into another store with -o."
"""What is said of a damaged store."""

MAGIC = b"SQLite format 3\x00"
_HEADER_BYTES = 100
_LAYOUT_AT, _MARK_AT = 60, 68


def beside(path: Path, ending: str) -> Path:
    """What SQLite keeps beside a file."""
    return path.with_name(f"{path.name}{ending}")


def is_one(path: Path) -> bool:
    """Whether there is an SQLite file of that name."""
    try:
        if not path.is_file():
            return False
        with path.open("rb") as file:
            return file.read(len(MAGIC)) == MAGIC
    except (OSError, ValueError):
        return False


def recognise(path: Path, shown: str) -> None:
    """Refuse what is no store of ours by its first bytes, before SQLite sees it: that may write into what it opens."""
    if path.exists() and not (path.is_file() or path.is_dir()):
        raise UsageError(f"{shown} is no ordinary file; another name is needed.")
    advice = "'tapewright study run' makes it from the study file"
    with opened(path, "study store", advice, path.suffix) as file:
        header = file.read(_HEADER_BYTES)
    if not header:
        raise TapewrightError(f"{shown} is empty and no study store; remove it, or name another file.")
    if len(header) < _HEADER_BYTES or not header.startswith(MAGIC):
        raise TapewrightError(f"{shown} is no study store, or a damaged one. It is left as it is; name another file.")
    mark, layout = (int.from_bytes(header[at : at + 4], "big") for at in (_MARK_AT, _LAYOUT_AT))
    if mark != MARK:
        raise TapewrightError(f"{shown} is an SQLite file of another program. It is left as it is; name another file.")
    if layout > LAYOUT:
        raise TapewrightError(
            f"{shown} was written by a later version (layout {layout}, this one knows {LAYOUT}). It is left as it is; "
            "update tapewright to read it."
        )


def hold(path: Path, shown: str) -> sqlite3.Connection:
    """A lock on a file beside the store at ``path``, which is no link. The system lets it go when the process ends,
    however it ends.
    """
    try:
        lock = sqlite3.connect(beside(path, "-lock"), isolation_level=None, timeout=0)
        try:
            lock.execute("BEGIN EXCLUSIVE")
        except BaseException:
            lock.close()
            raise
    except sqlite3.OperationalError as error:
        if _is(error, "SQLITE_BUSY"):
            raise TapewrightError(f"{shown} is being written by another run; wait for it or stop it.") from None
        raise in_words(error, shown) from None
    return lock


def _is(error: sqlite3.Error, name: str) -> bool:
    return str(getattr(error, "sqlite_errorname", "")).startswith(name)


def in_words(error: sqlite3.Error, shown: str) -> TapewrightError:
    if _is(error, "SQLITE_FULL"):
        return TapewrightError(f"{shown}: the disk is full. What was written before is kept; make room and go on.")
    if _is(error, "SQLITE_IOERR"):
        kept = "What was written before is kept; make room."
        return TapewrightError(f"{shown}: the disk takes or gives no more ({error}). {kept}")
    if _is(error, "SQLITE_READONLY") or _is(error, "SQLITE_CANTOPEN") or _is(error, "SQLITE_PERM"):
        return TapewrightError(f"{shown}: its file or folder cannot be written to; copy it to one that can be.")
    if _is(error, "SQLITE_BUSY"):
        return TapewrightError(f"{shown} is being written by another program; try again.")
    if _is(error, "SQLITE_CORRUPT") or _is(error, "SQLITE_NOTADB"):
        return TapewrightError(f"{shown} is damaged: {in_one_line(error)}. {LEFT}")
    return TapewrightError(f"{shown}: {in_one_line(error)}.")
