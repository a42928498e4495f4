"""The store: what it takes it keeps, what it cannot trust it tells, and what is not its own it leaves alone."""

import os
import resource
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.benchmarks import new_store
from tapewright.benchmarks.carried_files import digest
from tapewright.benchmarks.new_store import create
from tapewright.benchmarks.sqlite_file import LAYOUT
from tapewright.benchmarks.store import Batch, Store
from tapewright.benchmarks.tally import Tally
from tapewright.contracts.errors import TapewrightError, UsageError

TASK, MACHINE = b"a task", b"a machine"


def tally(trials: int, right: int = 0) -> Tally:
    return Tally(trials, right, trials - right, 0, 7, 49, 1, 0)


def batch(first: int, trials: int, right: int = 0) -> Batch:
    return Batch(digest(TASK), first, tally(trials, right), digest(MACHINE))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    create(tmp_path / "bells.study")
    return tmp_path / "bells.study"


@pytest.fixture
def filled(path: Path) -> Path:
    with Store(path, writing=True) as store:
        store.add([batch(0, 10, 4), batch(20, 5)], [TASK, MACHINE])
    return path


def everything(folder: Path) -> dict[str, bytes]:
    return {entry.name: entry.read_bytes() for entry in folder.iterdir()}


def test_what_is_added_is_there(filled) -> None:
    with Store(filled) as store:
        assert store.batches() == (batch(0, 10, 4), batch(20, 5))
        assert store.content(digest(TASK)) == TASK
        assert store.plan() is None


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(1, 10)), max_size=12))
def test_no_trial_is_counted_twice(asked) -> None:
    """Whatever ranges are offered in whatever order, those that overlap what is there are refused, all others kept."""
    with tempfile.TemporaryDirectory() as folder:
        create(Path(folder) / "s.study")
        kept: set[int] = set()
        with Store(Path(folder) / "s.study", writing=True) as store:
            store.keep([TASK, MACHINE])
            for first, trials in asked:
                offered = set(range(first, first + trials))
                if offered & kept:
                    with pytest.raises(TapewrightError, match="already"):
                        store.add([batch(first, trials)])
                else:
                    store.add([batch(first, trials)])
                    kept |= offered
            held = [range(one.first, one.after) for one in store.batches()]
        assert sorted(trial for trials in held for trial in trials) == sorted(kept)


def test_a_refused_batch_takes_its_company_along(filled) -> None:
    with Store(filled, writing=True) as store:
        with pytest.raises(TapewrightError, match=r"holds some of the trials 19 to 20 of task \w+ already; leave out"):
            store.add([batch(100, 5), batch(19, 2)])
        assert store.batches() == (batch(0, 10, 4), batch(20, 5))


def test_a_plan_replaces_the_plan(filled) -> None:
    with Store(filled, writing=True) as store:
        store.set_plan(b"first", [b"program"])
        store.set_plan(b"second", [])
    with Store(filled) as store:
        assert store.plan() == b"second"
        assert store.content(digest(b"program")) == b"program"
        assert len(store.batches()) == 2


def test_creation_overwrites_nothing(filled) -> None:
    before = filled.read_bytes()
    with pytest.raises(UsageError, match="exists"):
        create(filled)
    assert filled.read_bytes() == before


def foreign(path: Path) -> None:
    file = sqlite3.connect(path)
    file.executescript("CREATE TABLE mine (x); INSERT INTO mine VALUES (1);")
    file.close()


def newer(path: Path) -> None:
    create(path)
    file = sqlite3.connect(path)
    file.execute(f"PRAGMA user_version = {LAYOUT + 1}")
    file.close()


def text(path: Path) -> None:
    path.write_text("a study of bells\n" * 100)


def cut(path: Path) -> None:
    create(path)
    os.truncate(path, path.stat().st_size // 2)


def empty(path: Path) -> None:
    path.touch()


def overwritten(path: Path) -> None:
    create(path)
    with path.open("r+b") as file:
        file.seek(4096)
        file.write(b"\xaa" * 4096)


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (foreign, "is an SQLite file of another program. It is left as it is; name another file."),
        (newer, f"by a later version (layout {LAYOUT + 1}, this one knows {LAYOUT}). It is left as it is; update "),
        (text, "is no study store, or a damaged one. It is left as it is; name another file."),
        (empty, "is empty and no study store; remove it, or name another file."),
        (cut, "is damaged: "),
        (overwritten, "is damaged: "),
    ],
)
@pytest.mark.parametrize("writing", [False, True])
def test_what_is_no_sound_store_is_told_and_left_alone(spoil, told, writing, tmp_path) -> None:
    path = tmp_path / "bells.study"
    spoil(path)
    before = path.read_bytes()
    with pytest.raises(TapewrightError) as failure:
        Store(path, writing)
    assert told in str(failure.value)
    assert "\n" not in str(failure.value)
    assert failure.value.exit_code == 1
    assert path.read_bytes() == before
    assert set(everything(tmp_path)) - {"bells.study-lock"} == {"bells.study"}


def test_a_missing_store_is_a_wrong_call(tmp_path) -> None:
    with pytest.raises(UsageError, match="there is no such file"):
        Store(tmp_path / "bells.study")
    assert everything(tmp_path) == {}


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ('UPDATE batch SET "right" = "right" + 1, detected = detected - 1 WHERE first = 0', "batch 0 of task"),
        ("UPDATE batch SET first = 30 WHERE first = 20", "batch 30 of task"),
    ],
)
def test_a_count_that_was_changed_is_not_believed(filled, change, told) -> None:
    file = sqlite3.connect(filled)
    file.execute(change)
    file.commit()
    file.close()
    with Store(filled) as store, pytest.raises(TapewrightError, match=f"is damaged: {told}"):
        store.batches()


def test_a_content_that_was_changed_is_not_believed(filled) -> None:
    file = sqlite3.connect(filled)
    file.execute("UPDATE content SET bytes = ? WHERE sha256 = ?", (b"another task", digest(TASK)))
    file.commit()
    file.close()
    with Store(filled) as store, pytest.raises(TapewrightError, match="is damaged: content"):
        store.content(digest(TASK))


def test_a_second_writer_is_told_and_a_reader_is_welcome(filled) -> None:
    with Store(filled, writing=True) as first:
        with pytest.raises(TapewrightError, match="is being written by another run; wait for it or stop it"):
            Store(filled, writing=True)
        first.add([batch(50, 1)])
        with Store(filled) as reader:
            assert len(reader.batches()) == 3
    Store(filled, writing=True).close()


def test_the_lock_dies_with_its_process(filled) -> None:
    """SIGKILL: nothing is tidied up, and what was committed is there."""
    holder = (
        "import sys; from pathlib import Path; from tapewright.benchmarks.store import *\n"
        "from tapewright.benchmarks.tally import Tally; from tapewright.benchmarks.carried_files import digest\n"
        f"store = Store(Path(sys.argv[1]), writing=True)\n"
        f"store.add([Batch({digest(TASK)!r}, 50, Tally(1, 1), {digest(MACHINE)!r})])\n"
        "print('holds', flush=True); sys.stdin.read()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", holder, str(filled)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as running:
        assert running.stdout.readline() == "holds\n"
        with pytest.raises(TapewrightError, match="another run"):
            Store(filled, writing=True)
        running.kill()
    with Store(filled, writing=True) as store:
        assert [one.first for one in store.batches()] == [0, 20, 50]


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="permissions of this kind are POSIX's")
def test_a_folder_that_cannot_be_written_to(filled) -> None:
    """Reading works, writing is refused in a line, nothing changes. The superuser must step down to meet this."""
    folder = Path(tempfile.mkdtemp())
    superuser = os.geteuid() == 0
    try:
        path = folder / "bells.study"
        shutil.copy(filled, path)
        before = everything(folder)
        folder.chmod(0o555)
        if superuser:
            os.seteuid(65_534)
        try:
            with Store(path) as store:
                assert len(store.batches()) == 2
            with pytest.raises(TapewrightError, match="its file or folder cannot be written to"):
                Store(path, writing=True)
            with pytest.raises(TapewrightError, match="cannot be written"):
                create(folder / "other.study")
        finally:
            if superuser:
                os.seteuid(0)
        assert everything(folder) == before
    finally:
        folder.chmod(0o755)
        shutil.rmtree(folder)


def test_a_disk_that_takes_no_more(filled) -> None:
    """A limit on the size of files stands for the full disk: SQLite meets a write that does not go through."""
    writer = (
        "import resource, sys; from pathlib import Path; from tapewright.benchmarks.store import *\n"
        "from tapewright.contracts.errors import TapewrightError; import os\n"
        "store = Store(Path(sys.argv[1]), writing=True)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))\n"
        "kept = 0\n"
        "try:\n"
        "    while True:\n"
        "        store.keep([os.urandom(20_000)]); kept += 1\n"
        "except TapewrightError as error:\n"
        "    print(kept, error, sep='|')\n"
    )
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[1] == resource.RLIM_INFINITY
    ran = subprocess.run([sys.executable, "-c", writer, str(filled)], capture_output=True, text=True)
    assert ran.stderr == ""
    kept, told = ran.stdout.rstrip("\n").split("|")
    assert "What was written before is kept; make room." in told
    assert int(kept) > 0
    file = sqlite3.connect(filled)
    assert file.execute("SELECT count(*) FROM content").fetchone() == (2 + int(kept),)
    file.close()
    with Store(filled, writing=True) as store:
        assert len(store.batches()) == 2
        store.add([batch(50, 1)])


def test_a_store_that_cannot_be_made_leaves_nothing(tmp_path) -> None:
    maker = (
        "import resource, sys; from pathlib import Path; from tapewright.benchmarks.new_store import create\n"
        "from tapewright.contracts.errors import TapewrightError\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (5_000, 5_000))\n"
        "try:\n"
        "    create(Path(sys.argv[1]))\n"
        "except TapewrightError as error:\n"
        "    print(error)\n"
    )
    path = tmp_path / "bells.study"
    ran = subprocess.run([sys.executable, "-c", maker, str(path)], capture_output=True, text=True)
    assert ran.stderr == ""
    assert ran.stdout.startswith("study store '")
    assert everything(tmp_path) == {}


def test_a_full_disk_is_called_so(filled) -> None:
    with Store(filled, writing=True) as store:
        store._file.execute("PRAGMA max_page_count = 1")  # SQLite's own way to have no room: the same error code
        with pytest.raises(TapewrightError, match=r"the disk is full\. What was written before is kept; make room"):
            store.keep([bytes(1_000_000)])
        assert len(store.batches()) == 2


def killed(path: Path, what: str) -> None:
    """A process that writes to the store and dies before anything is moved from the log into the store."""
    writer = (
        "import os, signal, sys; from pathlib import Path; from tapewright.benchmarks.store import Store\n"
        "store = Store(Path(sys.argv[1]), writing=True)\n"
        f"{what}\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    ran = subprocess.run([sys.executable, "-c", writer, str(path)], capture_output=True, text=True)
    assert ran.stderr == ""
    assert path.with_name(f"{path.name}-wal").stat().st_size


def test_the_end_of_a_store_that_is_gone_is_no_part_of_a_new_one(filled) -> None:
    killed(filled, "store.keep([bytes(50)])")
    filled.unlink()
    before = everything(filled.parent)
    with pytest.raises(TapewrightError, match=r"is not there, but the end of one, 'bells\.study-wal'; put the two"):
        create(filled)
    assert everything(filled.parent) == before


@pytest.mark.parametrize("name", ["bells.study", "chimes.study"])
def test_a_link_is_as_good_as_the_store(filled, name) -> None:
    """What was written last stands in the log beside the store itself, and so does the lock."""
    folder = filled.parent / "links"
    folder.mkdir()
    (folder / name).symlink_to(filled)
    killed(filled, "store.keep([b'late'])")
    with Store(folder / name) as store:
        assert store.content(digest(b"late")) == b"late"
    with (
        Store(folder / name, writing=True),
        pytest.raises(TapewrightError, match="is being written by another run"),
    ):
        Store(filled, writing=True)
    assert [entry.name for entry in folder.iterdir()] == [name]


def test_a_new_store_stands_in_its_file_before_it_is_closed(tmp_path, monkeypatch) -> None:
    """What is written on closing may fail unseen, on a disk that is full by then."""
    logged = []

    class Watched(sqlite3.Connection):
        def close(self) -> None:
            (file,) = [entry for entry in tmp_path.iterdir() if entry.name.endswith(".part")]
            log = file.with_name(f"{file.name}-wal")
            logged.append(log.stat().st_size if log.exists() else 0)
            super().close()

    connect = sqlite3.connect
    monkeypatch.setattr(sqlite3, "connect", lambda *names, **options: connect(*names, **options, factory=Watched))
    create(tmp_path / "bells.study")
    assert logged == [0]
    monkeypatch.undo()
    file = sqlite3.connect(tmp_path / "bells.study")
    assert file.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    file.close()


def test_a_damaged_store_with_a_log_is_left_alone(filled) -> None:
    with Store(filled) as store:
        (page,) = store._file.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'batch'").fetchone()
    killed(filled, "store.keep([b'late'])")
    with filled.open("r+b") as file:
        file.seek(4096 * (page - 1))
        file.write(b"\xaa" * 4096)
    before = everything(filled.parent)
    with pytest.raises(TapewrightError, match="is damaged"):
        Store(filled, writing=True)
    after = everything(filled.parent)
    assert {name: after[name] for name in ("bells.study", "bells.study-wal")} == {
        name: before[name] for name in ("bells.study", "bells.study-wal")
    }


def changed(path: Path, content: bytes) -> None:
    file = sqlite3.connect(path)
    file.execute("UPDATE content SET bytes = ? WHERE sha256 = ?", (b"else", digest(content)))
    file.commit()
    file.close()


def test_damage_is_told_before_a_plan_is_set(filled) -> None:
    changed(filled, MACHINE)
    with Store(filled, writing=True) as store:
        with pytest.raises(TapewrightError, match="is damaged: content"):
            store.set_plan(b"plan", [b"program"])
        assert store.plan() is None


def test_what_is_at_hand_mends_what_was_damaged(filled) -> None:
    changed(filled, TASK)
    with Store(filled, writing=True) as store:
        store.set_plan(b"plan", [TASK])
        assert store.content(digest(TASK)) == TASK
        assert len(store.batches()) == 2


def test_two_that_make_one_store_at_once_make_one(tmp_path, monkeypatch) -> None:
    path = tmp_path / "bells.study"
    make = new_store._make

    def slowly(part: Path, shown: str) -> None:
        make(part, shown)
        if not path.exists():
            monkeypatch.undo()
            create(path)
            with Store(path, writing=True) as store:
                store.keep([b"first"])

    monkeypatch.setattr(new_store, "_make", slowly)
    create(path)
    with Store(path) as store:
        assert store.content(digest(b"first")) == b"first"
    assert {entry.suffix for entry in tmp_path.iterdir()} == {".study", ".study-lock"}


def test_a_store_that_is_no_file_is_not_waited_for(tmp_path) -> None:
    os.mkfifo(tmp_path / "bells.study")
    with pytest.raises(UsageError, match="is no ordinary file; another name is needed"):
        Store(tmp_path / "bells.study")


def test_little_is_left_in_the_log(filled) -> None:
    with Store(filled, writing=True) as store:
        for turn in range(100):
            store.keep([turn.to_bytes(8000, "big")])
        assert filled.with_name("bells.study-wal").stat().st_size < 500_000
