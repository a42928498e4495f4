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
from .carried_files import digest
from .sqlite_file import LEFT, beside, hold, in_words, recognise
from .tally import Tally

SUFFIX = ".study"

_MOST_LOG_PAGES = 64
"""Of 4 KiB, in the log before they are moved into the store: who copies the store alone loses so much at the most."""


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
        # What SQLite and the lock keep beside the store stands beside the file itself, whatever links lead to it.
        self._real = path.resolve()
        self._lock = hold(self._real, self._shown) if writing else None
        try:
            self._file = self._open(writing)
        except BaseException:
            self._release()
            raise

    def _open(self, writing: bool) -> sqlite3.Connection:
        with self._explained():
            # Looked at by a reader first: who may write tidies up when it closes, and a damaged file is left alone.
            reader = self._looked_at()
            if not writing:
                return reader
            reader.close()
            file = sqlite3.connect(f"{self._real.as_uri()}?mode=rw", uri=True, isolation_level=None, timeout=10)
            try:
                file.execute("PRAGMA synchronous = NORMAL")
                file.execute("PRAGMA foreign_keys = ON")
                file.execute(f"PRAGMA wal_autocheckpoint = {_MOST_LOG_PAGES}")
            except BaseException:
                file.close()
                raise
            return file

    def _looked_at(self) -> sqlite3.Connection:
        # Without a log beside it nobody writes; then even a folder that cannot be written to can be read.
        mode = "ro" if beside(self._real, "-wal").exists() else "ro&immutable=1"
        file = sqlite3.connect(f"{self._real.as_uri()}?mode={mode}", uri=True, isolation_level=None, timeout=10)
        try:
            (said,) = file.execute("PRAGMA quick_check(1)").fetchone()
            if said != "ok":
                raise TapewrightError(f"{self._shown} is damaged: {in_one_line(said)}. {LEFT}")
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
                if self._file.in_transaction:
                    with suppress(sqlite3.Error):
                        self._file.execute("ROLLBACK")
                raise

    def keep(self, contents: Iterable[bytes]) -> None:
        """Keep contents under their hashes."""
        with self._transaction():
            self._keep(contents)

    def _keep(self, contents: Iterable[bytes]) -> None:
        # Something else under that hash is damage, and what should stand there is at hand.
        self._file.executemany(
            "INSERT INTO content VALUES (?, ?) ON CONFLICT (sha256) DO UPDATE SET bytes = excluded.bytes "
            "WHERE bytes IS NOT excluded.bytes",
            [(digest(content), content) for content in contents],
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

    def check_for_a_plan(self) -> None:
        """Refuse a store that was only just made, or copied without what it wrote last.

        Raises:
            TapewrightError: there is no plan.
        """
        if self.plan() is None:
            raise TapewrightError(
                f"{self._shown} holds no study yet. If it was copied while it was written, or its run was killed, copy "
                f"'{in_one_line(self._real.name, 120)}-wal' with it."
            )

    def set_plan(self, plan: bytes, contents: Iterable[bytes]) -> None:
        """Put a plan in force, with what it refers to.

        Raises:
            TapewrightError: something else in the store is not what it was; then nothing is changed.
        """
        brought = [*contents, plan]
        self._check(but=frozenset(map(digest, brought)))
        with self._transaction():
            self._keep(brought)
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

    def _contents(self) -> list[str]:
        with self._explained():
            return [name for (name,) in self._file.execute("SELECT sha256 FROM content ORDER BY sha256")]

    def _check(self, but: frozenset[str]) -> None:
        """Read everything once, but the contents of these hashes."""
        for name in self._contents():
            if name not in but:
                self.content(name)
        self.batches()

    def take_in(self, others: Iterable[Store], plan: bytes) -> None:
        """Add everything that other stores hold, all or nothing, and put ``plan`` in force.

        Raises:
            TapewrightError: trials that two of them hold, or damage in one.
        """
        with self._transaction():
            for other in others:
                self._keep(other.content(name) for name in other._contents())
                self._add(other.batches())
            self._keep([plan])
            self._file.execute("INSERT OR REPLACE INTO plan VALUES (1, ?)", (digest(plan),))
