"""One byte: what a typical machine does while a byte plays, as plain data for a diagram.

Every figure of the set stands at its typical value and the tone half way, in decibels, between the set's quietest and
loudest. The currents are those of the front-end simulation, the contacts and lines those of a load.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...contracts.keying import KeyedLineCode, Keying
from ...contracts.signal import Signal
from ...contracts.streams import stream
from .contact import Interval, contact_intervals
from .listening import listen, trace
from .loader import hear, run
from .machine import build, input_roles
from .relay_set import RelaySet
from .table import Table

RATE_HZ = 44_100
SHOWN_BITS = (1, 1, 0, 1, 0, 0, 1, 0)
"""A one and a zero after each of the two, within one byte."""

BEFORE_S = 0.25
"""Shown before the first step, as a share of a step; and after the last."""

POINTS = 1500
"""Of a curve over the whole byte: more than a page can show."""


def one_byte(code: KeyedLineCode, relays: RelaySet, table: Table) -> dict[str, Any]:
    """The byte as record: times in milliseconds from the start of its first step.

    ``tracks`` hold the tape's envelope (re full scale), the coil's current and the contact; ``lines`` their contacts;
    ``closeup`` the second step with the waveform itself.
    """
    keying = code.keying()
    bits = np.array(SHOWN_BITS, np.uint8)
    for layer in table.group_layers:
        bits = layer.encode(bits)
    recording = code.modulate(np.tile(bits, 3), RATE_HZ)
    lead_s = min(0.1, keying.first_step_s)
    first = round((keying.first_step_s - lead_s) * RATE_HZ)
    signal = _at_level(recording, first, 0.5 * (relays.tape.quietest_db + relays.tape.loudest_db))
    machine = build(relays, table, keying, lambda role, quantity: 0.0, bounces="longest")
    rng = stream(0, 0, "one byte")  # the longest bounce draws nothing from it
    contacts = hear(signal, machine, keying, rng)
    loaded = run(contacts, machine, table, keying)
    if table.overlapped:
        # What the first byte left in the second bank is written while the next is heard: that one is shown.
        lead_s += keying.seconds_a_byte
    starts = _step_starts_s(keying)
    margin_s = BEFORE_S * keying.step_s
    window = (-margin_s, keying.seconds_a_byte + margin_s)
    near = (starts[1] - 0.1 * keying.step_s, starts[1] + 1.1 * keying.step_s)
    tracks, closeup = [], []
    for role, listening in zip(input_roles(keying), (machine.clock, machine.data), strict=True):
        wave = signal.samples[keying.track(role)].astype(np.float64)
        heard_by = signal, keying.track(role), listening.front_end, listening.coil, listening.armature
        current = 1e3 * trace(*heard_by).current_a
        closed, _ = contact_intervals(
            listen(*heard_by), signal.duration_s, listening.coil.pick_up_a, listening.bounce_s, machine.bounces, rng
        )
        about = {
            "role": role,
            "track": ("left", "right")[keying.track(role)],
            "pick_up_ma": 1e3 * listening.coil.pick_up_a,
            "drop_out_ma": 1e3 * listening.coil.drop_out_a,
        }
        envelope = _curve(np.abs(wave), lead_s, window, most=True)
        tracks.append(
            {
                **about,
                "envelope": envelope,
                "current_ma": _curve(current, lead_s, window),
                "closed_ms": _within(closed, lead_s, window),
            }
        )
        closeup.append(
            {
                **about,
                "wave": _points(wave, lead_s, near),
                "current_ma": _points(current, lead_s, near),
                "closed_ms": _within(closed, lead_s, near),
            }
        )
    return {
        "from_ms": 1e3 * window[0],
        "to_ms": 1e3 * window[1],
        "bits": bits.tolist(),
        "bits_a_step": table.bits_a_step,
        "steps_ms": [round(1e3 * start, 3) for start in starts],
        "end_ms": 1e3 * keying.seconds_a_byte,
        "tracks": tracks,
        "step_relays": [
            {"name": f"step {number}", "closed_ms": _within(_closed(stays), lead_s, window)}
            for number, stays in enumerate(loaded.count.closures, 1)
        ],
        "lines": [
            {"name": line.name, "closed_ms": _within(_closed(loaded.lines[line.name]), lead_s, window)}
            for line in table.lines
        ],
        "closeup": {"from_ms": 1e3 * near[0], "to_ms": 1e3 * near[1], "step": 2, "tracks": closeup},
    }


def _at_level(recording: Signal, first: int, level_db: float) -> Signal:
    samples = recording.samples[:, first:]
    peak = np.abs(samples).max(axis=1, keepdims=True)
    gain = 10 ** (level_db / 20) / np.maximum(peak, 1e-9)
    return Signal((samples * gain).astype(np.float32), recording.sample_rate_hz)


def _step_starts_s(keying: Keying) -> list[float]:
    return [n * keying.step_s + (keying.mark_extra_s if n else 0.0) for n in range(keying.steps_a_byte)]


def _closed(stays: Iterable[Any]) -> list[Interval]:
    return [(stay.touch_s, stay.leave_s) for stay in stays]


def _within(intervals: Iterable[Interval], lead_s: float, window: Interval) -> list[list[float]]:
    cut = ((max(start - lead_s, window[0]), min(end - lead_s, window[1])) for start, end in intervals)
    return [[round(1e3 * start, 3), round(1e3 * end, 3)] for start, end in cut if end > start]


def _frames(values: NDArray[np.float64], lead_s: float, window: Interval) -> tuple[int, int]:
    first, last = (round((lead_s + time) * RATE_HZ) for time in window)
    return max(first, 0), min(last, values.size)


def _curve(values: NDArray[np.float64], lead_s: float, window: Interval, most: bool = False) -> list[list[float]]:
    """Points (ms, value) of a long stretch: the mean, or the most, of each piece."""
    first, last = _frames(values, lead_s, window)
    piece = max((last - first) // POINTS, 1)
    pieces = values[first : first + (last - first) // piece * piece].reshape(-1, piece)
    heights = pieces.max(axis=1) if most else pieces.mean(axis=1)
    times = 1e3 * ((first + (np.arange(heights.size) + 0.5) * piece) / RATE_HZ - lead_s)
    return _pairs(times, heights)


def _points(values: NDArray[np.float64], lead_s: float, window: Interval) -> list[list[float]]:
    first, last = _frames(values, lead_s, window)
    return _pairs(1e3 * (np.arange(first, last) / RATE_HZ - lead_s), values[first:last])


def _pairs(times: NDArray[np.float64], heights: NDArray[np.float64]) -> list[list[float]]:
    return [[round(time, 3), round(height, 4)] for time, height in zip(times.tolist(), heights.tolist(), strict=True)]
