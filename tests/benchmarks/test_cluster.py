"""Many machines: a real scheduler and real worker processes on loopback give what threads give, to the bit."""

import logging
import os
import re
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import pytest
from loopback import Cluster, cluster, stranger
from tapewright.benchmarks import cluster as module
from tapewright.benchmarks.engines import engine
from tapewright.benchmarks.identity import code
from tapewright.benchmarks.new_store import create
from tapewright.benchmarks.orders import Needs, needs, order, perform
from tapewright.benchmarks.packs import Packs
from tapewright.benchmarks.shelf import Shelf
from tapewright.benchmarks.store import Store
from tapewright.benchmarks.stored_study import answer, run
from tapewright.benchmarks.study import Study
from tapewright.benchmarks.study_file import read_study_file
from tapewright.benchmarks.trials import Threads, play, tapes
from tapewright.contracts.errors import PlugInError, TapewrightError, UsageError

TOYS = str(Path(__file__).parent / "toys")

pytestmark = [
    pytest.mark.usefixtures("toys"),
    # What dask and what it builds on have to say of themselves is not ours to mend.
    pytest.mark.filterwarnings("default"),
]


@pytest.fixture(autouse=True)
def the_code_as_it_is_now() -> None:
    """What is remembered of it may be older than what a worker that starts now reads."""
    code.cache_clear()
    needs.cache_clear()


@pytest.fixture(scope="module")
def east() -> Iterator[Cluster]:
    """A cluster of one worker that has the toys, for the tests that bring others and take them away again."""
    with cluster(("east",), PYTHONPATH=TOYS) as running:
        yield running


STUDY = """
[study]
bytes = 24
codecs = ["toy_pulse", "toy-checked"]
receivers = ["sound", "toy_coin"]
channels = ["toy_flips:rate=0.01,blank=0.2/toy_slow:wait_s=0.003"]
trials = 400
seed = 5
"""


NOT_INSTALLED = """
import sys

class Nowhere:
    @staticmethod
    def find_spec(name, path=None, target=None):
        if name.partition(".")[0] == "tapewright":
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)

sys.meta_path.insert(0, Nowhere)
"""
"""What makes a Python start as one in which the package was never installed."""


def wait_for(workers: int, player) -> None:
    begun = time.monotonic()
    while player.workers != workers and time.monotonic() - begun < 30:
        time.sleep(0.05)
    assert player.workers == workers


def rows(store: Path) -> list[dict]:
    return [row.as_json() for row in answer(store)]


def test_a_worker_dies_in_the_middle_and_the_table_is_that_of_threads(tmp_path) -> None:
    path = tmp_path / "bells.toml"
    path.write_text(STUDY)
    asked = read_study_file(path)
    for name in ("threads", "cluster"):
        create(tmp_path / f"{name}.study")
    with Store(tmp_path / "threads.study", writing=True) as store:
        run(store, asked, Threads(2))
    with cluster(("east", "west"), PYTHONPATH=TOYS) as running:
        dead_at = []

        def watch(news) -> None:
            if news.done >= 100 and not dead_at:
                running.workers["east"].kill()
                dead_at.append((news.done, news.of))

        with engine("dask", scheduler=running.scheduler) as player:
            wait_for(2, player)
            with Store(tmp_path / "cluster.study", writing=True) as store:
                run(store, asked, player, watch)
        assert running.workers["east"].wait() < 0
        assert running.workers["west"].poll() is None
    ((done, of),) = dead_at
    assert 100 <= done < of == 800
    assert rows(tmp_path / "cluster.study") == rows(tmp_path / "threads.study")


def test_a_worker_that_lacks_something_says_what(tmp_path, east) -> None:
    """Beside a worker that has the toys one that has not; then one that lacks the whole package."""
    study = Study(b"noon", "noon", ("toy_pulse",), ("sound",), ("toy_flips",), 4)
    (tmp_path / "sitecustomize.py").write_text(NOT_INSTALLED)
    with engine("dask", scheduler=east.scheduler) as player:
        east.start_worker("bare", PYTHONPATH="")
        assert complaint(player, study) == (
            "worker 'bare' lacks the plug-in 'toy_pulse' (codec), which package tapewright-toys 1.0 brings."
        )
        east.workers["bare"].kill()
        wait_for(1, player)
        east.start_worker("empty", PYTHONPATH=str(tmp_path))
        assert re.fullmatch(
            r"worker at tcp://127\.0\.0\.1:\d+ lacks the package tapewright; install the same there\.",
            complaint(player, study),
        )
        east.workers["empty"].kill()
        wait_for(1, player)
        assert len(list(player.play(study, tapes(study)))) == 4


def complaint(player, study: Study) -> str:
    wait_for(2, player)
    with pytest.raises(PlugInError) as failure:
        list(player.play(study, tapes(study)))
    return str(failure.value)


def test_a_worker_that_joins_later_says_what_it_lacks_too(east) -> None:
    study = Study(b"noon", "noon", ("toy_pulse",), ("sound",), ("toy_flips/toy_slow:wait_s=0.1",), 200)
    with engine("dask", scheduler=east.scheduler) as player:
        results = player.play(study, tapes(study))
        next(results)
        east.start_worker("late", PYTHONPATH="")
        with pytest.raises(PlugInError, match="worker 'late' lacks the plug-in 'toy_pulse'"):
            list(results)
        east.workers["late"].kill()
        wait_for(1, player)


def test_workers_that_are_all_gone_are_said_and_those_that_come_back_go_on(monkeypatch) -> None:
    study = Study(b"noon", "noon", ("toy_pulse",), ("sound",), ("toy_flips/toy_slow:wait_s=0.02",), 60)
    with cluster(("east",), PYTHONPATH=TOYS) as running, engine("dask", scheduler=running.scheduler) as player:
        player._order_s = 0.0
        results = player.play(study, tapes(study))
        next(results)
        running.workers["east"].kill()
        threading.Timer(1.5, running.start_worker, ["west"], {"PYTHONPATH": TOYS}).start()
        assert len(list(results)) == 59
        monkeypatch.setattr(module, "DESERTED_S", 1.5)
        results = player.play(study, tapes(study))
        next(results)
        running.workers["west"].kill()
        begun = time.monotonic()
        with pytest.raises(TapewrightError) as failure:
            list(results)
        assert time.monotonic() - begun < 15
        assert str(failure.value) == (
            f"scheduler '{running.scheduler}' has lost all its workers, and none came within 1.5 s; "
            "a study keeps what was played."
        )
        with pytest.raises(TapewrightError, match="has lost all its workers"):
            list(player.play(study, tapes(study)))


def test_a_scheduler_that_is_killed_in_the_middle_costs_one_line(tmp_path) -> None:
    call = ["compare", "--codec", "toy_pulse", "--channel", "toy_flips/toy_slow:wait_s=0.1", "--trials", "900"]
    with cluster(("east",), PYTHONPATH=TOYS) as running:
        player = subprocess.Popen(
            [sys.executable, "-m", "tapewright", *call, "--engine", "dask", "--scheduler", running.scheduler],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONPATH": TOYS},
            cwd=tmp_path,
        )
        too_late = threading.Timer(30, running.process.kill)
        too_late.start()
        assert any("Receive client connection" in line for line in running.process.stderr)
        too_late.cancel()
        time.sleep(1.5)
        running.process.kill()
        told = player.communicate(timeout=30)[1]
    assert (player.returncode, told) == (1, f"tapewright: error: scheduler '{running.scheduler}' is gone.\n")


def test_what_dask_logs_elsewhere_than_to_the_terminal_is_kept(tmp_path) -> None:
    import distributed

    logger = distributed.client.logger
    kept, lost = logging.FileHandler(tmp_path / "dask.log"), logging.StreamHandler(sys.stderr)
    for handler in (kept, lost):
        logger.addHandler(handler)
    try:
        module._hush()
        assert kept in logger.handlers
        assert lost not in logger.handlers
    finally:
        logger.removeHandler(kept)
        kept.close()


@pytest.mark.parametrize("greeting", [b"", b"HTTP/1.1 400 Bad Request\r\n\r\n", None], ids=["silent", "http", "closes"])
def test_a_stranger_at_the_address_is_no_scheduler(monkeypatch, capfd, greeting) -> None:
    monkeypatch.setattr(module, "PATIENCE_S", 1.0)
    begun = time.monotonic()
    with (
        stranger(greeting) as address,
        pytest.raises(TapewrightError) as failure,
        engine("dask", scheduler=address),
    ):
        pass
    assert time.monotonic() - begun < 10
    assert str(failure.value) == (
        f"scheduler '{address}': what listens there is no dask scheduler, or does not answer over tcp."
    )
    assert capfd.readouterr().err == ""


def test_the_address_of_a_worker_is_not_that_of_a_scheduler(east) -> None:
    with engine("dask", scheduler=east.scheduler) as player:
        (worker,) = player._client.nthreads()
    with pytest.raises(TapewrightError, match="what listens there is no dask scheduler"), engine("dask", None, worker):
        pass


def test_tls_without_certificates_is_wrong_use() -> None:
    begun = time.monotonic()
    with (
        pytest.raises(UsageError) as failure,
        engine("dask", scheduler="tls://127.0.0.1:9"),
    ):
        pass
    assert time.monotonic() - begun < 10
    assert str(failure.value) == (
        "scheduler 'tls://127.0.0.1:9': tls needs certificates, "
        "and dask's configuration (distributed.comm.tls) has none."
    )


def test_nobody_answers(monkeypatch) -> None:
    monkeypatch.setattr(module, "PATIENCE_S", 0.3)
    with (
        pytest.raises(TapewrightError, match=r"scheduler 'tcp://127\.0\.0\.1:9' cannot be reached"),
        engine("dask", scheduler="tcp://127.0.0.1:9"),
    ):
        pass


def test_a_scheduler_without_workers_is_said(monkeypatch) -> None:
    monkeypatch.setattr(module, "PATIENCE_S", 2.0)
    with (
        cluster(()) as running,
        pytest.raises(TapewrightError, match="has no workers"),
        engine("dask", None, running.scheduler),
    ):
        pass


@pytest.mark.parametrize(
    ("how", "told"),
    [
        ({"name": "smoke"}, "engine: there is no 'smoke'. There are: threads, processes, dask."),
        ({"name": "dask"}, "engine 'dask' needs the address of a scheduler"),
        ({"name": "dask", "scheduler": "east"}, "'scheduler' must be such as tcp://HOST:8786, not 'east'"),
        ({"name": "dask", "scheduler": "tcp://east:1", "workers": 2}, "'workers' goes not with engine 'dask'"),
        ({"name": "threads", "scheduler": "tcp://east:1"}, "'scheduler' goes with engine 'dask'"),
    ],
)
def test_a_wrong_engine(how, told) -> None:
    with pytest.raises(UsageError) as failure, engine(**how):
        pass
    assert told in str(failure.value)


def test_without_the_library_one_line_says_what_to_install(monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with (
        pytest.raises(TapewrightError, match=r"pip install 'tapewright\[cluster\]' brings it"),
        engine("dask", scheduler="tcp://127.0.0.1:9"),
    ):
        pass


def test_an_order_gives_what_playing_gives() -> None:
    study = Study(b"quarter past", "noon", ("toy-checked",), ("sound", "toy_coin"), ("toy_flips:rate=0.02",), 9, 3)
    ours = tuple(tapes(study))
    delivery = perform(order(study, ours), "east")
    shelf = Shelf(study.program, study.sample_rate_hz, 1 << 20)
    assert delivery.tallies == tuple(play(tape, shelf, study.seed) for tape in ours)
    assert len(delivery.busy_s) == 9


def test_files_travel_with_an_order(tmp_path) -> None:
    """The worker's machine has not got the relay set that the spec names: it comes along."""
    ready = files("tapewright.receivers.relays").joinpath("sets/signal_12v.toml").read_bytes()
    path = tmp_path / "ours.toml"
    path.write_bytes(ready)
    study = Study(b"n", "noon", ("clocked",), (f'relays:set="{path}"',), ("wire",), 1)
    ours = tuple(tapes(study))
    asked = order(study, ours)
    expected = play(ours[0], Shelf(study.program, 44_100, 1 << 20), study.seed)
    path.unlink()
    assert perform(asked, "east").tallies == (expected,)


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        (
            {"plug_ins": (("codec", "toy_gong", "tapewright-toys"),)},
            "lacks the plug-in 'toy_gong' (codec), which package",
        ),
        ({"packages": (("tapewright-toys", "1.1"),)}, "has tapewright-toys 1.0, and 1.1 is needed"),
        ({"packages": (("tapewright-gongs", "2.0"),)}, "lacks the package tapewright-gongs 2.0"),
        ({"code": "other"}, "has another version of tapewright's own code; install the same"),
    ],
)
def test_what_a_machine_lacks_is_said(changed, told) -> None:
    study = Study(b"noon", "noon", ("toy_pulse",), ("sound",), ("toy_flips",), 1)
    wanted = needs(study.tasks())
    assert wanted.lacks() is None
    packages = dict(wanted.packages) | dict(changed.get("packages", ()))
    plug_ins = changed.get("plug_ins", wanted.plug_ins)
    lacks = Needs(plug_ins, tuple(packages.items()), changed.get("code", wanted.code)).lacks()
    assert lacks is not None
    assert told in lacks


def test_a_plug_in_that_raises_is_named_with_its_tape() -> None:
    study = Study(b"noon", "noon", ("toy_pulse",), ("sound",), ("toy_bug",), 1)
    with pytest.raises(
        TapewrightError, match="codec 'toy_pulse', channel 'toy_bug', trial 0, seed 1: ZeroDivisionError"
    ):
        perform(order(study, tuple(tapes(study))), "east")


def test_the_command_line_plays_on_a_cluster(tmp_path, east) -> None:
    call = ["compare", "--codec", "toy_pulse", "--channel", "toy_flips:rate=0.01", "--trials", "20", "--json"]
    run_it = [sys.executable, "-m", "tapewright", *call]
    environment = {**os.environ, "PYTHONPATH": TOYS}
    far = subprocess.run(
        [*run_it, "--engine", "dask", "--scheduler", east.scheduler],
        capture_output=True,
        text=True,
        env=environment,
        cwd=tmp_path,
    )
    near = subprocess.run(run_it, capture_output=True, text=True, env=environment, cwd=tmp_path)
    assert (far.returncode, far.stderr) == (0, "")
    assert far.stdout == near.stdout


def test_orders_grow_with_what_they_are_worth_and_hold_every_tape_once() -> None:
    study = Study(b"noon", "noon", ("toy_pulse", "toy-checked"), ("sound",), ("toy_flips",), 600)
    packs, made = Packs(tapes(study)), []
    while pack := packs.next(2.0):
        assert len({(tape.kind, tape.tasks) for tape in pack}) == 1
        made.append(pack)
        packs.took(pack[0].kind, [0.5, 0.02])  # the first of a kind may carry a compilation: the quickest counts
    assert [len(pack) for pack in made[:2]] == [1, 1]
    assert max(map(len, made)) == 100
    assert [tape for pack in made for tape in pack] == list(tapes(study))
