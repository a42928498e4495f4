"""The store: raw counts of a study in one SQLite file, so that a run may die at any moment and lose nothing.

=========  ====================================================================================================
table      what it holds
=========  ====================================================================================================
content    bytes under their SHA-256: programs, identities of tasks, plans, files that specs name, machines
batch      the counts of a contiguous range of one task's trials, with a checksum; ranges of a task never overlap
plan       the hash of the plan in force: which rows are shown, and how many trials each shall have
=========  ====================================================================================================

Every write is one transaction in write-ahead logging, so a process may be killed, a machine may lose its power, and a
batch is there or is not. Every content is checked against its hash and every batch against its checksum when it is
read: a damaged store is told, not believed. Who writes holds a lock that dies with its process; anybody may read
meanwhile. A store that is damaged, newer than this version or somebody else's is refused before SQLite opens it.

Source: SQLite, "Write-Ahead Logging".
"""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import astuple, dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

from ..contracts.errors import TapewrightError, in_one_line
from ..files.writing import whole_file
from .carried_files import digest
from .sqlite_file import LAYOUT, LEFT, MARK, hold, in_words, recognise
from .tally import Tally

SUFFIX = ".study"
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


@dataclass(frozen=True, slots=True)
class Batch:
    """The counts of the trials ``first`` to ``first + tally.trials - 1`` of one task.

    Attributes:
        task: hash of its identity.
        machine: hash of what it ran on.
    """

    task: str
    first: int
    tally: Tally
    machine: str

    @property
    def after(self) -> int:
        """The first trial after it."""
        return self.first + self.tally.trials

    def row(self) -> tuple[str | int, ...]:
        """As it stands in the table, the checksum last."""
        told = (self.task, self.first, *astuple(self.tally), self.machine)
        return (*told, zlib.crc32(repr(told).encode()))


class Store:
    """One file, open. A context manager.

    Args:
        path: an existing store.
        writing: hold the lock and allow changes; otherwise nothing in the file changes.

    Raises:
        UsageError: no such file, or no store.
        TapewrightError: damaged, newer, locked by another process, or a folder that cannot be written to.
    """

    def __init__(self, path: Path, writing: bool = False) -> None:
        self.path = path
        self._shown = f"study store '{in_one_line(path, 120)}'"
        recognise(path, self._shown)
        self._lock = hold(path, self._shown) if writing else None
        try:
            self._file = self._open(writing)
        except BaseException:
            self._release()
            raise

    def _open(self, writing: bool) -> sqlite3.Connection:
        with self._explained():
            uri = self.path.resolve().as_uri()
            # Without a log beside it nobody writes; then even a folder that cannot be written to can be read.
            still = not writing and not self.path.with_name(f"{self.path.name}-wal").exists()
            mode = "rw" if writing else "ro&immutable=1" if still else "ro"
            file = sqlite3.connect(f"{uri}?mode={mode}", uri=True, isolation_level=None, timeout=10)
            try:
                (said,) = file.execute("PRAGMA quick_check(1)").fetchone()
                if said != "ok":
                    raise TapewrightError(f"{self._shown} is damaged: {in_one_line(said)}. {LEFT}")
                file.execute("PRAGMA synchronous = NORMAL")
                file.execute("PRAGMA foreign_keys = ON")
            except BaseException:
                file.close()
                raise
            return file

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Let the file and the lock go."""
        with suppress(sqlite3.Error):
            self._file.close()
        self._release()

    def _release(self) -> None:
        if self._lock is not None:
            self._lock.close()

    @contextmanager
    def _explained(self) -> Iterator[None]:
        """What SQLite raises, in words."""
        try:
            yield
        except sqlite3.Error as error:
            raise in_words(error, self._shown) from None

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        with self._explained():
            self._file.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._file.execute("COMMIT")
            except BaseException:
                with suppress(sqlite3.Error):
                    self._file.execute("ROLLBACK")
                raise

    def keep(self, contents: Iterable[bytes]) -> None:
        """Keep contents under their hashes."""
        with self._transaction():
            self._keep(contents)

    def _keep(self, contents: Iterable[bytes]) -> None:
        self._file.executemany(
            "INSERT OR IGNORE INTO content VALUES (?, ?)", [(digest(content), content) for content in contents]
        )

    def content(self, sha256: str) -> bytes:
        """What is kept under that hash.

        Raises:
            TapewrightError: it is missing, or something else stands there.
        """
        with self._explained():
            found = self._file.execute("SELECT bytes FROM content WHERE sha256 = ?", (sha256,)).fetchone()
        if found is None or not isinstance(found[0], bytes) or digest(found[0]) != sha256:
            raise TapewrightError(f"{self._shown} is damaged: content {sha256[:12]} is not what it was. {LEFT}")
        return found[0]

    def plan(self) -> bytes | None:
        """The plan in force; None before there is one."""
        with self._explained():
            found = self._file.execute("SELECT sha256 FROM plan").fetchone()
        return None if found is None else self.content(found[0])

    def set_plan(self, plan: bytes, contents: Iterable[bytes]) -> None:
        """Put a plan in force, with what it refers to."""
        with self._transaction():
            self._keep([*contents, plan])
            self._file.execute("INSERT OR REPLACE INTO plan VALUES (1, ?)", (digest(plan),))

    def add(self, batches: Iterable[Batch], contents: Iterable[bytes] = ()) -> None:
        """Add counts, all or none.

        Raises:
            TapewrightError: a trial that is there already.
        """
        with self._transaction():
            self._keep(contents)
            self._add(batches)

    def _add(self, batches: Iterable[Batch]) -> None:
        for batch in batches:
            try:
                self._file.execute(f"INSERT INTO batch VALUES ({','.join('?' * 12)})", batch.row())
            except sqlite3.IntegrityError as error:
                if "no trial twice" not in str(error):
                    raise
                raise TapewrightError(
                    f"{self._shown} holds some of the trials {batch.first} to {batch.after - 1} of task "
                    f"{batch.task[:12]} already; leave out the store that brings them again."
                ) from None

    def batches(self) -> tuple[Batch, ...]:
        """All counts, by task and trial.

        Raises:
            TapewrightError: a batch that does not fit its checksum.
        """
        with self._explained():
            rows = self._file.execute("SELECT * FROM batch ORDER BY task, first").fetchall()
        found = []
        for row in rows:
            task, first, *counts, machine, _ = row
            batch = Batch(task, first, Tally(*counts), machine)
            if batch.row() != row:
                changed = f"batch {first} of task {str(task)[:12]} was changed"
                raise TapewrightError(f"{self._shown} is damaged: {changed}. {LEFT}")
            found.append(batch)
        return tuple(found)

    def take_in(self, other: Store, plan: bytes) -> None:
        """Add everything that another store holds, all or nothing, and put ``plan`` in force.

        Raises:
            TapewrightError: trials that both hold, or damage in the other.
        """
        with other._explained():
            names = [name for (name,) in other._file.execute("SELECT sha256 FROM content ORDER BY sha256")]
        contents, batches = [other.content(name) for name in names], other.batches()
        with self._transaction():
            self._keep([*contents, plan])
            self._add(batches)
            self._file.execute("INSERT OR REPLACE INTO plan VALUES (1, ?)", (digest(plan),))


def create(path: Path) -> None:
    """An empty store; it appears whole or not at all.

    Raises:
        UsageError: the file exists. TapewrightError: it cannot be written.
    """
    shown = f"study store '{in_one_line(path, 120)}'"
    with whole_file(path, force=False) as part:
        try:
            file = sqlite3.connect(part, isolation_level=None)
            try:
                file.execute("PRAGMA journal_mode = WAL")
                file.executescript(f"BEGIN; {_TABLES} COMMIT;")
            finally:
                file.close()
        except sqlite3.Error as error:
            raise in_words(error, shown) from None
        finally:
            for beside in ("-wal", "-shm"):  # a file that could not be closed leaves them
                part.with_name(part.name + beside).unlink(missing_ok=True)
