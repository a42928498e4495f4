"""The player's tables and its C source: compiled here, run on this computer, and heard."""

import csv
import io
import re
import shutil
import subprocess

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.contracts.errors import UsageError
from tapewright.contracts.keying import Burst
from tapewright.contracts.line_code import LineCode
from tapewright.contracts.registry import codec
from tapewright.contracts.signal import Signal
from tapewright.reports.player_tables import (
    PLAYER_FILES,
    player_source,
    table_bytes,
    table_header,
    table_source,
)
from tapewright.reports.pulse_schedule import MOST_REST_TICKS, MOST_WAVES, pulse_schedule

PROGRAM = b"Noon: twelve.\x00\xff"
PLAYED = (
    "plain-clocked",
    "dual_rail:step_ms=30",
    "two_tone_rails:bit_order=lsb",
    "parity/dual_rail:group_bits=9,one_track=left",
    "plain-biphase",
    "contents/biphase:variant=level,tracks=split",
    "contents/mfm:tracks=left",
    "contents/fsk:framing=none,mark_hz=2500,space_hz=1300,tracks=right",
    "standard-300",
)


def schedule_of(stack, payload=PROGRAM):
    return pulse_schedule(stack.line_code, stack.line_bits(payload))


def edges_of(runs):
    """Ticks at which the level changes and the level from there on, as a reader of the header file would play them."""
    now, level, edges = 0, 0, []
    for ticks, waves in runs:
        levels = [0] if waves == 0 else [(1 if waves > 0 else -1) * (-1) ** wave for wave in range(abs(waves))]
        for wanted in levels:
            if wanted != level:
                edges.append((now, wanted))
            level = wanted
            now += ticks
    return edges, now


@pytest.fixture(scope="module")
def compiler():
    found = next((name for name in ("cc", "gcc", "clang") if shutil.which(name)), None)
    if found is None:
        pytest.skip("this system has no C compiler")
    return found


def built(compiler, stack, folder, payload=PROGRAM):
    """The tables of ``stack`` and the player, compiled with every warning an error."""
    schedule = schedule_of(stack, payload)
    (folder / "tape_tables.h").write_text(table_header(schedule))
    (folder / "tape_tables.c").write_text("".join(table_source(schedule, ["a tape of the clock tower /* */ é"])))
    for name in PLAYER_FILES:
        (folder / name).write_text(player_source(name))
    strict = ["-std=c99", "-Wall", "-Wextra", "-Wconversion", "-pedantic", "-Werror"]
    sources = ["render.c", "tape_player.c", "tape_tables.c"]
    made = subprocess.run([compiler, *strict, "-o", "render", *sources], cwd=folder, capture_output=True, text=True)
    assert made.returncode == 0, made.stderr
    return schedule


@pytest.mark.parametrize("spec", PLAYED)
def test_the_sound_of_the_compiled_player_decodes(compiler, spec, tmp_path):
    stack = codec(spec)
    built(compiler, stack, tmp_path)
    raw = subprocess.run([tmp_path / "render"], capture_output=True, check=True, timeout=60).stdout
    sound = Signal(np.frombuffer(raw, "<i2").reshape(-1, 2).T / 32_768, 44_100)
    assert sound.duration_s == pytest.approx(stack.duration_s(len(PROGRAM)), abs=1e-3)
    decoded = stack.decode(sound)
    assert decoded.payload[: len(PROGRAM)] == PROGRAM
    assert decoded.intact is not False
    assert not decoded.lost


def test_the_compiled_player_plays_what_the_table_says(compiler, tmp_path):
    """Every change of level on both tracks, to the tick, by another reading of the tables."""
    stack = codec("dual_rail:line_up_s=0.1,leader_s=0.2")
    schedule = built(compiler, stack, tmp_path, b"\xa4\x01")
    (tmp_path / "log.c").write_text(
        '#include <stdio.h>\n#include "tape_player.h"\n#include "tape_tables.h"\n'
        "static unsigned long now;\n"
        "static void told(void *context, int track, int level)\n"
        '{ (void)context; printf("%lu %d %d\\n", now, track, level); }\n'
        "int main(void) { tape_player player; uint32_t wait; tape_start(&player, tape_tracks, told, 0);\n"
        'while ((wait = tape_next(&player)) > 0) now += wait; printf("%lu\\n", now); return 0; }\n'
    )
    sources = ["log.c", "tape_player.c", "tape_tables.c"]
    subprocess.run([compiler, "-std=c99", "-o", "log", *sources], cwd=tmp_path, check=True)
    *lines, end = subprocess.run([tmp_path / "log"], capture_output=True, check=True, text=True).stdout.splitlines()
    heard = {0: [], 1: []}
    for line in lines:
        tick, track, level = map(int, line.split())
        heard[track].append((tick, level))
    for track in (0, 1):
        edges, last = edges_of(schedule.runs[track])
        assert heard[track] == edges
        assert int(end) == last == round(stack.duration_s(2) * schedule.ticks_per_s)


@pytest.mark.parametrize("spec", PLAYED)
def test_runs_fit_their_types_and_fill_the_tape(spec):
    stack = codec(spec)
    schedule = schedule_of(stack)
    for runs in schedule.runs:
        assert all(0 < ticks <= MOST_REST_TICKS and abs(waves) <= MOST_WAVES for ticks, waves in runs)
        assert edges_of(runs)[1] == round(stack.duration_s(len(PROGRAM)) * schedule.ticks_per_s)
    left, right = schedule.runs
    assert table_bytes(schedule) == 4 * (len(left) + (0 if left == right else len(right)))


@pytest.mark.parametrize("spec", ["biphase:bit_rate_hz=1000", "biphase:variant=level,tracks=split", "mfm", "group"])
@given(payload=st.binary(max_size=20))
def test_levels_are_the_signs_of_the_sound(spec, payload):
    """In the middle of each half wave the recording is high where the pin is."""
    stack = codec(spec)
    samples = stack.encode(payload, 96_000).samples
    schedule = schedule_of(stack, payload)
    for row, runs in zip(samples, schedule.runs, strict=True):
        edges, _ = edges_of(runs)
        ticks = np.array([tick for tick, _ in edges])
        middles = np.rint(0.5 * (ticks[1:] + ticks[:-1]) / schedule.ticks_per_s * 96_000).astype(int)
        assert np.array_equal(np.sign(row[middles]), [level for _, level in edges[:-1]])


@pytest.mark.parametrize(
    "spec", ["fsk:leader_s=0.2", "fsk:framing=none,mark_hz=2500,space_hz=1300,tracks=left,leader_s=0.2"]
)
def test_edges_are_where_the_tones_cross_zero(spec):
    """The recording's zero crossings, by the straight line between samples; it is one tone without a jump of phase."""
    stack = codec(spec)
    rate_hz = 95_989  # a prime: hardly a crossing falls on a sample, where it would be no change of sign
    row = stack.encode(PROGRAM[:4], rate_hz).samples[0].astype(float)
    signs = np.flatnonzero(row[:-1] * row[1:] < 0)
    crossings_s = (signs + row[signs] / (row[signs] - row[signs + 1])) / rate_hz
    schedule = schedule_of(stack, PROGRAM[:4])
    edges_s = np.array([tick for tick, _ in edges_of(schedule.runs[0])[0]]) / schedule.ticks_per_s
    places = np.searchsorted(edges_s, crossings_s).clip(1, edges_s.size - 1)
    off_s = np.minimum(np.abs(edges_s[places] - crossings_s), np.abs(edges_s[places - 1] - crossings_s))
    assert off_s.max() < 8e-6
    assert abs(edges_s.size - crossings_s.size) <= 3


def test_the_schedule_as_a_table_of_bursts():
    stack = codec("dual_rail:line_up_s=0.1,leader_s=0.2,tail_s=0,extra_steps=0,reset_mark=false,end_mark=false")
    file = io.StringIO()
    schedule_of(stack, b"\x41").write_csv(file)
    head, *rows = csv.reader(io.StringIO(file.getvalue()))
    assert head == ["track", "start_s", "end_s", "tone_hz"]
    assert rows[:2] == [["left", "0.000000", "0.100000", "3000"], ["right", "0.000000", "0.100000", "3000"]]
    assert [row[0] for row in rows[2:]] == [("left", "right")[bit] for bit in (0, 1, 0, 0, 0, 0, 0, 1)]
    assert rows[3] == ["right", "0.350000", "0.374000", "3000"]


def test_the_tick_is_a_whole_part_of_the_half_wave():
    """At 3,000 Hz half waves of 166 ticks at 996,000 a second; none is a tick longer than another."""
    schedule = schedule_of(codec("clocked"), b"\x41")
    assert schedule.ticks_per_s == 996_000
    assert {ticks for runs in schedule.runs for ticks, waves in runs if waves} == {166}
    assert {waves for runs in schedule.runs for _, waves in runs if waves} <= {12_000, 144, 204, 288, 348, 576, 636}


def test_a_tape_with_nothing_on_it_rests():
    schedule = schedule_of(codec("fsk:leader_s=0,tail_s=0"), b"")
    assert (schedule.rows, schedule.runs) == ((), ((), ()))
    assert "{1, 0}," in "".join(table_source(schedule, ["nothing"]))


def test_what_pins_cannot_play_is_refused():
    stack = codec("multicarrier")
    with pytest.raises(
        UsageError, match="'multicarrier' is neither tone after tone nor two levels: pins cannot play it"
    ):
        schedule_of(stack)


def test_a_tone_too_slow_for_the_timer_is_refused():
    class Hum(LineCode):
        name = "hum"

        def bursts(self, bits):
            return Burst(0, 0.0, 1.0, 3000.0), Burst(1, 0.0, 1.0, 5.0)

        def duration_s(self, bits):
            return 1.0

        def modulate(self, bits, sample_rate_hz=44_100):
            raise NotImplementedError

        def demodulate(self, signal):
            raise NotImplementedError

    with pytest.raises(UsageError, match=r"a half wave must be shorter than 0.0658 s, not 0.1 s"):
        pulse_schedule(Hum(), np.zeros(8, np.uint8))


def test_nothing_said_about_the_tape_ends_the_comment():
    text = "".join(table_source(schedule_of(codec("mfm"), b"a"), ["x */ int y; /* z", "é\\"]))
    assert len(re.findall(r"\*/", text)) == len(re.findall(r"/\*", text)) == 1
    assert text.isascii()
