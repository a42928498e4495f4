"""``tapewright decode`` on what people really record, for every ready stack."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from captures import CAPTURES, changed, faster, hissing, voice
from command_shell import Shell
from tapewright.contracts import registry
from tapewright.contracts.decoded import Decoded
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import stream
from tapewright.files.programs import read_program
from tapewright.files.recordings import write_recording

READY = ("plain-clocked", "plain-biphase", "standard-300", "sturdy")
CHIME = read_program("chime").data
PART = CHIME[:40]


@cache
def tape(name: str) -> Signal:
    return registry.codec(name).encode(PART)


def heard(name: str, signal: Signal) -> Decoded:
    return registry.receiver("sound").receive(registry.codec(name), (signal,), np.random.default_rng(0))


def capture(name: str, signal: Signal) -> str:
    write_recording(Path(name), signal, force=True)
    return name


@pytest.mark.parametrize("what", CAPTURES)
@pytest.mark.parametrize("name", READY)
def test_every_ready_stack_lives_with_it(name: str, what: str) -> None:
    told = heard(name, CAPTURES[what](tape(name)))
    assert told.payload == PART
    assert told.intact is not False
    assert told.lost == ()
    (play,) = told.plays
    assert play.evidence > 0.9


@pytest.mark.parametrize("name", READY)
def test_a_capture_cut_short_gives_what_it_holds(name: str) -> None:
    signal = tape(name)
    whole = heard(name, signal).plays[0]
    assert whole.start_s is not None
    assert whole.end_s is not None
    frames = int((0.4 * whole.start_s + 0.6 * whole.end_s) * signal.sample_rate_hz)
    told = heard(name, changed(signal, lambda x: x[:, :frames]))
    assert told.intact is not True
    if name == "sturdy":  # its only block is not whole: nothing of it is certain
        assert len(told.lost) == len(told.payload)
    else:
        assert 15 < len(told.payload) < len(PART)
        assert PART.startswith(told.payload[: len(told.payload) - 1])


def test_a_mono_deck_destroys_two_tracks_and_nothing_claims_otherwise() -> None:
    signal = tape("plain-clocked")
    mono = changed(signal, lambda x: np.broadcast_to(x.mean(axis=0), x.shape))
    assert heard("plain-clocked", mono).payload != PART
    for name in ("plain-biphase", "standard-300", "sturdy"):
        assert heard(name, changed(tape(name), lambda x: np.broadcast_to(x.mean(axis=0), x.shape))).payload == PART


@pytest.mark.parametrize("name", READY)
def test_auto_names_the_stack(shell: Shell, name: str) -> None:
    program = PART if name == "plain-clocked" else CHIME
    Path("program.bin").write_bytes(program)
    signal = registry.channel("ordinary-worn").degrade(registry.codec(name).encode(program), stream(1, 0, "channel"))
    outcome = shell(
        "decode", capture("a.wav", signal), "--codec", "auto", "--expect", "program.bin", "-o", "out.bin", "--json"
    )
    assert outcome.code == 0
    assert f"note: {name} fits" in outcome.err
    assert json.loads(outcome.out)["codec"] == registry.codec(name).spec
    assert Path("out.bin").read_bytes() == program


@pytest.mark.parametrize("kind", ["noise", "voice", "silence", "tone"])
def test_auto_finds_nothing_where_nothing_is(shell: Shell, kind: str) -> None:
    rate_hz = 22_050
    frames = np.arange(5 * rate_hz)
    samples = {
        "noise": 0.1 * np.random.default_rng(1).standard_normal(frames.size),
        "voice": voice(5, rate_hz, 9),
        "silence": np.zeros(frames.size),
        "tone": 0.5 * np.sin(2 * np.pi * 2400 * frames / rate_hz),
    }[kind]
    outcome = shell("decode", capture("a.wav", Signal(samples, rate_hz)), "--codec", "auto", "-o", "out.bin", "--json")
    assert outcome.code == 3
    assert outcome.complaint == "no ready format fits this recording."
    told = json.loads(outcome.out)
    assert told["codec"] is None
    assert {one["name"] for one in told["tried"]} >= set(READY)
    assert not any(one["fits"] for one in told["tried"])
    assert not Path("out.bin").exists()


@pytest.mark.parametrize(
    ("name", "channel"),
    [
        ("sturdy", "dropouts:per_minute=300,lift_um=8,length_ms=50,both_share=1,inner_share=1,missing_share=0.5"),
        ("plain-clocked", "dropouts:per_minute=90,lift_um=8,length_ms=60,both_share=1,inner_share=1"),
        ("standard-300", "dropouts:per_minute=120,lift_um=8,length_ms=20,both_share=1,inner_share=1"),
    ],
)
def test_three_plays_that_fail_alone_succeed_together(shell: Shell, name: str, channel: str) -> None:
    worn = registry.channel(f"drift:speed_percent_limit=1,decks=1/{channel}/hiss:level_db=-40,place=replay")
    codec = registry.codec(name)
    program = PART if name == "plain-clocked" else CHIME
    Path("program.bin").write_bytes(program)
    signal = codec.encode(program)
    failing: list[str] = []
    trial = 0
    while len(failing) < 3:
        play = worn.degrade(signal, stream(1, trial, "channel"))
        if codec.decode(play).payload != program:
            failing.append(capture(f"{len(failing)}.wav", play))
        trial += 1
    for one in failing:
        assert shell("decode", one, "--codec", name, "--expect", "program.bin").code == 3
    together = shell("decode", *failing, "--codec", name, "--expect", "program.bin", "-o", "out.bin", "--json")
    assert together.code == 0
    assert Path("out.bin").read_bytes() == program
    plays = json.loads(together.out)["plays"]
    assert [play["file"] for play in plays] == failing
    assert "play 3: " in together.err


def test_plays_at_several_rates_are_read_each_at_its_own(shell: Shell) -> None:
    codec = registry.codec("plain-biphase")
    files = [capture(f"{rate_hz}.wav", codec.encode(PART, rate_hz)) for rate_hz in (22_050, 44_100)]
    outcome = shell("decode", *files, "--codec", "plain-biphase", "-o", "out.bin")
    assert outcome.code == 0
    assert "note: the recordings have different sample rates; each is read at its own" in outcome.err
    assert Path("out.bin").read_bytes() == PART


def test_a_play_of_nothing_does_no_harm(shell: Shell) -> None:
    good = capture("good.wav", tape("plain-biphase"))
    noise = capture("noise.wav", hissing(Signal(np.zeros((2, 44_100)), 44_100), 0.1))
    outcome = shell("decode", noise, good, "--codec", "plain-biphase", "-o", "out.bin")
    assert outcome.code == 0
    assert "play 1: nothing heard" in outcome.err
    assert Path("out.bin").read_bytes() == PART


def test_plays_of_two_programs_are_refused(shell: Shell) -> None:
    Path("other.bin").write_bytes(b"another program")
    assert shell("encode", "chime", "-o", "a.wav", "--codec", "plain-biphase").code == 0
    assert shell("encode", "other.bin", "-o", "b.wav", "--codec", "plain-biphase").code == 0
    outcome = shell("decode", "a.wav", "b.wav")
    assert outcome.code == 2
    assert "are not plays of one tape" in outcome.complaint


def test_no_recording_is_overwritten_with_the_program(shell: Shell) -> None:
    files = [capture(name, tape("plain-biphase")) for name in ("a.wav", "b.wav")]
    before = Path("b.wav").read_bytes()
    assert shell("decode", *files, "--codec", "plain-biphase", "-o", "b.wav", "--force").code == 2
    assert Path("b.wav").read_bytes() == before


def test_it_says_what_it_found(shell: Shell) -> None:
    # 3 s of silence, 4 % fast, half as loud on the right, 40 us of skew: what is said must be what was done.
    signal = registry.channel("skew:skew_us=40").degrade(tape("standard-300"), np.random.default_rng(0))
    quick = changed(faster(signal, 4), lambda x: x * np.array([[1.0], [0.5]], np.float32))
    start = np.zeros((2, 3 * quick.sample_rate_hz), np.float32)
    first, length = int(6.0 / 1.04 * quick.sample_rate_hz), int(0.03 * quick.sample_rate_hz)
    samples = quick.samples.copy()
    samples[0, first : first + length] *= np.float32(0.05)
    whole = Signal(np.concatenate([start, samples], axis=1), quick.sample_rate_hz)
    outcome = shell("decode", capture("a.wav", whole), "--codec", "standard-300", "--json")
    (play,) = json.loads(outcome.out)["plays"]
    # The first character follows 5 s of leader; its bits begin one bit later.
    assert play["start_s"] == pytest.approx(3 + (5 + 1.5 / 300) / 1.04, abs=0.02)
    assert play["speed_percent"] == pytest.approx(4.0, abs=0.1)
    assert play["left"]["level_db"] == pytest.approx(-1.0, abs=0.5)
    assert play["right"]["level_db"] - play["left"]["level_db"] == pytest.approx(-6.02, abs=0.3)
    # What plays faster also brings the tracks nearer together in time.
    assert play["skew_us"] == pytest.approx(40 / 1.04, abs=3)
    (dropout,) = play["dropouts"]
    assert dropout["track"] == "left"
    assert dropout["start_s"] == pytest.approx(3 + 6.0 / 1.04, abs=0.01)
    assert dropout["length_s"] == pytest.approx(0.03, abs=0.01)
    assert dropout["depth_db"] == pytest.approx(26, abs=3)
    assert "skew +3" in outcome.err
    assert "1 dropout, 3" in outcome.err or "1 dropouts, the longest" in outcome.err
