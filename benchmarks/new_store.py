"""A new store: its tables, and how it comes into being whole or not at all."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from ..contracts.errors import TapewrightError, UsageError, in_one_line
from ..files.writing import check_output, whole_file
from .sqlite_file import LAYOUT, MARK, beside, in_words

_LOGS = ("-wal", "-journal")
_TABLES = f"""
PRAGMA application_id = {MARK};
PRAGMA user_version = {LAYOUT};
CREATE TABLE content (sha256 TEXT PRIMARY KEY, bytes BLOB NOT NULL) WITHOUT ROWID;
CREATE TABLE plan (only INTEGER PRIMARY KEY CHECK (only = 1), sha256 TEXT NOT NULL REFERENCES content);
CREATE TABLE batch (
    task TEXT NOT NULL REFERENCES content,
    first INTEGER NOT NULL CHECK (first >= 0),
    trials INTEGER NOT NULL CHECK (trials > 0),
    "right" INTEGER NOT NULL,
    detected INTEGER NOT NULL,
    silent INTEGER NOT NULL,
    byte_errors INTEGER NOT NULL,
    byte_errors_squared INTEGER NOT NULL,
    tapes_with_byte_errors INTEGER NOT NULL,
    tapes_wholly_wrong INTEGER NOT NULL,
    machine TEXT NOT NULL REFERENCES content,
    checksum INTEGER NOT NULL,
    PRIMARY KEY (task, first),
    CHECK ("right" + detected + silent = trials)
) WITHOUT ROWID;
CREATE TRIGGER no_trial_twice BEFORE INSERT ON batch
WHEN EXISTS (
    SELECT 1 FROM batch WHERE task = NEW.task AND first < NEW.first + NEW.trials AND NEW.first < first + trials
)
BEGIN SELECT RAISE(ABORT, 'no trial twice'); END;
"""


def create(path: Path) -> None:
    """An empty store; it appears whole or not at all. One that another process makes meanwhile is as good.

    Raises:
        UsageError: the file exists. TapewrightError: it cannot be written, or what a store that is gone wrote last
            lies beside its place: SQLite would take that for part of the new one.
    """
    shown = f"study store '{in_one_line(path, 120)}'"
    check_output(path, force=False)
    for ending in _LOGS:
        log = beside(path.resolve(), ending)
        if log.exists() and log.stat().st_size:
            raise TapewrightError(
                f"{shown} is not there, but the end of one, '{in_one_line(log.name, 120)}'; put the two together "
                "again, or remove that as well, or name another store."
            )
    try:
        with whole_file(path, force=False) as part:
            _make(part, shown)
    except UsageError:
        if not path.exists():
            raise


def _make(part: Path, shown: str) -> None:
    try:
        file = sqlite3.connect(part, isolation_level=None)
        try:
            # The log comes when the tables stand in the file itself: what closing writes may fail and say nothing.
            file.executescript(f"BEGIN; {_TABLES} COMMIT;")
            file.execute("PRAGMA journal_mode = WAL")
        finally:
            file.close()
    except sqlite3.Error as error:
        raise in_words(error, shown) from None
    finally:
        for ending in (*_LOGS, "-shm"):  # a file that could not be closed leaves them
            beside(part, ending).unlink(missing_ok=True)
