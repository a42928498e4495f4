"""The speed suite: its rivals do the same work, and it runs and reports; how fast is never asserted here."""

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tapewright.benchmarks.speed import cold, plain_chain, reed_solomon
from tapewright.benchmarks.speed.chain import CORE, RATE_HZ, CoreChain, WholeTrial
from tapewright.benchmarks.speed.cold import STARTS, process, started
from tapewright.benchmarks.speed.line_codes import pairs
from tapewright.benchmarks.speed.memory import peak
from tapewright.benchmarks.speed.paired import Paired, paired
from tapewright.benchmarks.speed.report import as_json, surroundings, table
from tapewright.benchmarks.speed.row import Row
from tapewright.benchmarks.speed.suite import TINY, parts, rows
from tapewright.contracts import registry
from tapewright.contracts.bits import from_bytes
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import stream

PROGRAM = stream(1, 0, "program").bytes(64)


@pytest.mark.parametrize("name", ["fsk", "biphase", "clocked"])
def test_plain_line_codes_make_and_read_the_same_sound(name):
    pair = pairs()[name]
    program = PROGRAM[:8]
    tape = pair.codec.encode(program, RATE_HZ)
    plain = pair.make(pair.codec, program)
    frames = min(tape.frames, plain.shape[1])
    assert abs(tape.frames - plain.shape[1]) <= 1
    # Single precision, and phases summed over 5 s of tone.
    assert np.abs(tape.samples[:, :frames] - plain[:, :frames]).max() < 1e-5
    read = pair.read(pair.codec, tape.samples.astype(np.float64))
    if name == "biphase":
        assert from_bytes(program).tobytes() in (read > 0).astype(np.uint8).tobytes()
    else:
        assert read == program


def tone(hertz, peak=0.5, seconds=2.0):
    turns = hertz / RATE_HZ * np.arange(round(seconds * RATE_HZ))
    return np.stack([peak * np.sin(2 * np.pi * turns), peak * np.cos(2 * np.pi * turns)])


def both(spec, tracks):
    channel = registry.channel(spec)
    ours = channel.degrade(Signal(tracks, RATE_HZ), stream(1, 0, "channel")).samples.astype(np.float64)
    return ours, plain_chain.degrade(channel, tracks, RATE_HZ, stream(1, 0, "plain"))


def peaks(tracks, hertz):
    inner = tracks[:, 8192:-8192]
    turn = np.exp(-2j * np.pi * hertz / RATE_HZ * np.arange(inner.shape[1])) * np.hanning(inner.shape[1])
    return 4 * (inner @ turn) / inner.shape[1]


@pytest.mark.parametrize(
    ("spec", "hertz", "tolerance_db"),
    [  # the plain forms are as near as their filters are: bilinear or matched, 33 to 65 taps, no oversampling
        ("saturation", 1000, 0.1),
        ("saturation", 6300, 0.5),
        ("drift:speed_percent=3", 1000, 0.05),
        ("skew:skew_us=82.5", 1000, 0.05),
        ("crosstalk:separation_db=20", 3000, 0.05),
        ("replay_amp", 40, 0.1),
        ("replay_amp", 12_000, 0.1),
        ("head_losses:spacing_um=0.7", 6300, 0.3),
        ("azimuth:azimuth_arcmin=15", 6300, 1.0),  # a straight line between samples loses so much
        ("level:gain_db=-4", 1000, 0.01),
    ],
)
def test_plain_stages_pass_what_ours_pass(spec, hertz, tolerance_db):
    ours, theirs = both(spec, tone(hertz, seconds=6.0))
    heard = hertz * 1.03 if "drift" in spec else hertz
    levels_db = [20 * np.log10(np.abs(peaks(tracks, heard))) for tracks in (ours, theirs)]
    assert np.abs(levels_db[0] - levels_db[1]).max() < tolerance_db


@pytest.mark.parametrize("spec", ["hiss:level_db=-40,place=replay", "modulation_noise", "residue", "hum"])
def test_plain_noise_is_as_strong_as_ours(spec):
    tracks = tone(3000, seconds=20.0)
    ours, theirs = (np.std(heard - tracks) for heard in both(spec, tracks))
    # Noise of 500 Hz over 20 s on two tracks: 0.7 %; the residue's loudness changes some 80 times: 10 %.
    assert ours == pytest.approx(theirs, rel=0.3 if spec == "residue" else 0.05)


def test_plain_echoes_are_as_strong_as_ours():
    tracks = tone(445, seconds=8.0) * (np.abs(np.arange(8 * RATE_HZ) - 4 * RATE_HZ) < RATE_HZ / 4)
    ours, theirs = (np.std(heard - tracks) for heard in both("print_through:level_db=-20", tracks))
    assert ours == pytest.approx(theirs, rel=0.1)


def test_plain_dropouts_are_as_many_and_as_deep_as_ours():
    # Null: one rate; some 600 a minute each way on the left track, covered shares within 5 s.e. of 3 % each.
    spec = "dropouts:per_minute=600,inner_share=0,missing_share=1,missing_db=30,length_sigma=0,length_ms=10"
    steady = np.full((2, 60 * RATE_HZ), 0.5)
    shares = [np.mean(heard[0] < 0.5 * 10 ** (-15 / 20)) for heard in both(spec, steady)]
    assert shares[0] == pytest.approx(shares[1], rel=0.25)


def test_core_chain_brings_the_program_home_both_ways():
    chain = CoreChain(PROGRAM[:6])
    assert chain.ours()[:6] == PROGRAM[:6]
    assert chain.plain()[:6] == PROGRAM[:6]
    assert {stage.name for stage in registry.channel(CORE).stages} <= set(plain_chain.STAGES)


def test_whole_trial_brings_the_program_home_both_ways():
    trial = WholeTrial.of(PROGRAM)
    assert trial.ours() == trial.plain() == PROGRAM
    assert trial.told() == "both read it"


@pytest.mark.parametrize("dirty_percent", [0, 50, 100])
def test_all_correctors_give_the_words_that_were_sent(dirty_percent):
    sent, heard = reed_solomon.words(10, dirty_percent)
    assert np.mean((sent != heard).any(axis=1)) == dirty_percent / 100
    assert np.array_equal(reed_solomon.ours(heard, np.zeros(heard.shape, bool)), sent)
    assert np.array_equal(reed_solomon.by_reedsolo(heard), sent)


@pytest.mark.acceptance
@pytest.mark.parametrize("dirty_percent", [0, 50, 100])
def test_galois_gives_the_words_that_were_sent(dirty_percent):
    # It compiles itself first, which takes longer than all the tests here.
    sent, heard = reed_solomon.words(10, dirty_percent)
    assert np.array_equal(reed_solomon.by_galois()(heard), sent[:, : reed_solomon.K])


def test_a_rival_that_is_not_installed_is_told(monkeypatch):
    monkeypatch.setitem(sys.modules, "galois", None)
    row = reed_solomon.reed_solomon(40, 1)[-1]
    assert row.met is None
    assert row.note.startswith("not measured, because")


def test_rounds_take_turns_and_ratios_are_of_pairs():
    order = []
    timed = paired(lambda: order.append("ours"), lambda: order.append("theirs"), 2)
    assert order == ["ours", "theirs", "ours", "theirs", "theirs", "ours"]
    assert len(timed.ratios) == 2
    row = Paired((1.0, 2.0, 4.0), (10.0, 10.0, 10.0)).into(Row("work", "rival", 1, 4.0), more=2.0)
    assert (row.ratio, row.low, row.high, row.ours, row.theirs) == (10.0, 7.5, 15.0, 2.0, 20.0)
    ceiling = Paired((2.0,), (1.0,)).into(Row("work", "rival", 1, 4.0, at_least=False))
    assert (ceiling.ratio, ceiling.met) == (2.0, True)


def test_the_matrix_library_has_one_thread_and_is_told_before_it_is_loaded(tmp_path):
    asked = (
        "import sys, os, tapewright.benchmarks.speed; early = 'numpy' in sys.modules; "
        "import tapewright.benchmarks.speed.__main__; print(early, os.environ['OPENBLAS_NUM_THREADS'])"
    )
    bare = {name: value for name, value in os.environ.items() if name != "OPENBLAS_NUM_THREADS"}
    told = subprocess.run(
        [sys.executable, "-c", asked], cwd=tmp_path, env=bare, capture_output=True, text=True, check=True
    )
    assert told.stdout == "False 1\n"


def test_a_row_meets_its_goal_or_not():
    row = Row("work", "rival", 1, 4.0, ratio=3.9)
    assert (row.met, replace(row, ratio=4.0).met, replace(row, at_least=False).met) == (False, True, True)
    assert replace(row, ratio=None).met is None


def test_what_just_misses_its_goal_is_not_rounded_to_it():
    assert " 1.7988 " in table([Row("work", "rival", 2, 1.8, ratio=1.79876)])
    assert " 1.8 " in table([Row("work", "rival", 2, 1.8, ratio=1.80123)])


@pytest.mark.parametrize("percent", [0, 50, 100])
def test_the_words_of_a_rival_are_as_dirty_as_ours(percent, monkeypatch):
    heard = []
    monkeypatch.setattr(reed_solomon, "by_reedsolo", heard.append)
    reed_solomon._against_reedsolo(percent, 2000, 1)
    sent, _ = reed_solomon.words(2000, percent)
    dirty = (heard[0] != sent[: len(heard[0])]).any(axis=1).mean()
    assert dirty == percent / 100


def test_the_suite_runs_at_a_tiny_size_and_reports(monkeypatch):
    monkeypatch.setitem(sys.modules, "galois", None)  # it would compile itself first
    asked = set(parts(TINY)) - {"cores", "cold"}
    found = list(rows(TINY, tuple(asked)))
    measured = [row.work for row in found if row.met is not None]
    assert len(measured) == 4 + 3 + 6 + 2
    assert len(found) == len(measured) + 4
    told = as_json(found, surroundings(), surroundings())
    assert json.loads(json.dumps(told))["rows"][0]["goal"] == 12.0
    assert {"numpy", "numba", "load_1_5_15_minutes"} <= set(told["before"])
    lines = table(found).splitlines()
    assert lines[0].split()[:2] == ["work", "rival"]
    assert all(any(line.startswith(work) for line in lines) for work in measured)
    assert "not measured" in table(found)


def test_every_goal_has_its_part():
    named = {
        "chain",
        "trial",
        "warp",
        "noise",
        "words",
        "line_codes",
        "cores",
        "cold",
        "build",
        "growth",
        "memory",
        "side",
    }
    assert set(parts(TINY)) == named


@pytest.mark.parametrize("name", list(STARTS))
def test_cold_starts_do_what_they_are_named_for(name, tmp_path):
    told = process(started(name), str(tmp_path))
    if name == "--help":
        assert "compare" in told.stdout
    elif name.startswith("encode"):
        assert (tmp_path / "tape.wav").stat().st_size > 9.5 * 44_100 * 4
    else:
        assert told.stdout == ""  # it ended where its first trial would have begun


def test_the_first_build_is_what_the_wall_shows_less_what_comes_again(monkeypatch):
    wall = iter([100, 107, 200, 203])
    children = iter([(1, 1), (9, 2), (9, 2), (11, 2.5)])
    caches = []

    def played(arguments, folder, **environment):
        caches.append(Path(environment["NUMBA_CACHE_DIR"]))
        assert caches[-1].exists() == (len(caches) > 1)
        caches[-1].mkdir(exist_ok=True)

    monkeypatch.setattr(cold, "process", played)
    monkeypatch.setattr(cold, "perf_counter", lambda: next(wall))
    monkeypatch.setattr(os, "times", lambda: os.times_result((0, 0, *next(children), 0)))
    row = cold.first_build()
    assert (row.ratio, row.met, len(set(caches))) == (4.0, True, 1)
    assert row.note == "7.0 s, from then on 3.0 s; processor time 9.0 and 2.5 s; the goal is in seconds"


def test_a_child_tells_its_own_memory():
    held = np.ones(1 << 27, np.float64)  # a GiB that the child never has
    told = peak(5.0)
    assert held.size
    assert 0.05 < told["gib"] < 0.9
    assert told["right"] == 1


def test_the_command_prints_records():
    # Not from the clone: Python would look for the package in it.
    told = subprocess.run(
        [sys.executable, "-m", "tapewright.benchmarks.speed", "--quick", "--only", "noise", "--json"],
        cwd=Path(os.sep), capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert json.loads(told.stdout)["rows"][0]["work"].startswith("Gaussian noise")
