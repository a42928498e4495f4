"""Processes of this machine give what threads give, to the bit, and end with one line whatever happens to them."""

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, suppress

import pytest
from tapewright.benchmarks import trials
from tapewright.benchmarks.engines import engine
from tapewright.benchmarks.processes import Processes
from tapewright.benchmarks.study import Study
from tapewright.benchmarks.trials import run, tapes
from tapewright.contracts.errors import TapewrightError, UsageError

LETTERS = b"notes of a bell"


def study(count: int, channels: tuple[str, ...] = ("worn", "wire")) -> Study:
    return Study(LETTERS, "letters", ("biphase:leader_s=0.1", "crc/biphase:leader_s=0.1"), ("sound",), channels, count)


@pytest.fixture(scope="module")
def two() -> Iterator[Processes]:
    with closing(Processes(2)) as processes:
        yield processes


def test_the_counts_are_those_of_one_thread(two: Processes) -> None:
    asked = study(7)
    told = []
    assert run(asked, engine=two, watch=told.append) == run(asked, 1)
    assert (told[-1].done, told[-1].of) == (28, 28)
    assert two.workers == 2


def test_a_run_that_is_left_early_leaves_the_processes_for_the_next(two: Processes) -> None:
    with closing(two.play(study(40), tapes(study(40)))) as playing:
        next(playing)
    assert run(study(2), engine=two) == run(study(2), 1)


def test_one_tape_at_a_time_where_two_would_not_fit(two: Processes, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tapewright.benchmarks.processes.MOST_AUDIO_BYTES", 1)
    most, submit = [0], two._pool.submit
    running: list[object] = []

    def counted(*what):  # type: ignore[no-untyped-def]
        running[:] = [future for future in running if not future.done()]  # type: ignore[attr-defined]
        running.append(submit(*what))
        most[0] = max(most[0], len(running))
        return running[-1]

    monkeypatch.setattr(two._pool, "submit", counted)
    assert run(study(4), engine=two) == run(study(4), 1)
    assert most == [1]


def test_a_process_that_is_killed_ends_the_run_in_one_line() -> None:
    asked = study(4000, ("worn",))

    def played() -> None:
        with closing(processes.play(asked, tapes(asked))) as playing:
            next(playing)
            for child in multiprocessing.active_children():
                with suppress(ProcessLookupError):
                    os.kill(child.pid or 0, signal.SIGKILL)
            for _ in playing:
                pass

    with closing(Processes(2)) as processes, pytest.raises(TapewrightError) as told:
        played()
    assert "a process that played tapes died" in str(told.value)
    assert "\n" not in str(told.value)


@pytest.mark.usefixtures("toys")
def test_plug_ins_of_others_play_and_say_what_went_wrong() -> None:
    def asked(channel: str) -> Study:
        return Study(LETTERS, "letters", ("toy_pulse",), ("sound",), (channel,), 3)

    with closing(Processes(2)) as processes:
        assert run(asked("toy_flips:rate=0.01"), engine=processes) == run(asked("toy_flips:rate=0.01"), 1)
        with pytest.raises(TapewrightError, match="codec 'toy_pulse', channel 'toy_bug"):
            run(asked("toy_bug"), engine=processes)


def told_of_the_first_build(_: int) -> tuple[int, bool]:
    from tapewright.kernels import listener

    time.sleep(0.5)
    return os.getpid(), listener.said


def test_one_of_them_tells_of_the_first_build() -> None:
    with closing(Processes(2)) as processes:
        found = dict(processes._pool.map(told_of_the_first_build, range(2)))
    assert sorted(found.values()) == [False, True]


def test_they_are_named_and_refuse_a_scheduler() -> None:
    with engine("processes", 1) as processes:
        assert isinstance(processes, Processes)
    with (
        pytest.raises(UsageError, match="'scheduler' goes with engine 'dask', not with 'processes'"),
        engine("processes", scheduler="tcp://east:1"),
    ):
        pass
    with pytest.raises(UsageError, match="1 to 1024, not 0"):
        Processes(0)


COMMAND = "import sys; from tapewright.commands import main; sys.argv = ['tapewright', *sys.argv[1:]]; main()"


@pytest.mark.skipif(sys.platform == "win32", reason="signals of another kind")
def test_ctrl_c_ends_all_of_them_at_once_and_quietly() -> None:
    call = [sys.executable, "-c", COMMAND, "compare", "--engine", "processes", "--workers", "2", "--trials", "4000"]
    running = subprocess.Popen(call, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True)
    # Long enough for the processes to be there; an interruption before that is answered as well.
    time.sleep(3)
    os.killpg(running.pid, signal.SIGINT)
    begun = time.monotonic()
    _, said = running.communicate(timeout=60)
    assert time.monotonic() - begun < 20
    assert running.returncode == 130
    assert "Traceback" not in said
    assert "leaked" not in said  # what stays behind is told by Python itself
    deadline = time.monotonic() + 20
    while time.monotonic() < deadline:
        try:
            os.killpg(running.pid, 0)
        except ProcessLookupError:
            return
        time.sleep(0.1)
    pytest.fail("a process is still there")


def test_what_a_trial_holds_grows_with_its_tape() -> None:
    short, long = (Study(bytes(count), "p", ("biphase",), ("sound",), ("wire",), 1) for count in (100, 2000))
    held = [trials.audio_bytes(asked, next(tapes(asked))) for asked in (short, long)]
    assert 4 < held[1] / held[0] < 20
