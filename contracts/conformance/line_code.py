"""Checks of a line code alone: bits to sound and back."""

from __future__ import annotations

import numpy as np

from ..line_code import LineCode
from ..signal import Signal
from ..soft_bits import LOST, SoftBits
from . import probes
from .check import require

LONGEST_S = 8.0


def _sample_bits(line_code: LineCode) -> np.typing.NDArray[np.uint8]:
    count = next((count for count in (800, 160, 48, 16) if line_code.duration_s(count) <= LONGEST_S), 8)
    return probes.bits(count)


def _listen(line_code: LineCode, what: str, signal: Signal) -> SoftBits:
    try:
        heard = line_code.demodulate(signal)
    except Exception as error:
        raise AssertionError(f"demodulating {what} raised {type(error).__name__}: {error}") from error
    require(isinstance(heard, SoftBits), f"{what} gave {type(heard).__name__}, not SoftBits.")
    require(len(heard) <= signal.frames + 64, f"{what}: {signal.frames} frames gave {len(heard)} bits.")
    return heard


def _comes_back(line_code: LineCode, what: str, bits: np.typing.NDArray[np.uint8], signal: Signal) -> SoftBits:
    heard = _listen(line_code, what, signal)
    require(len(heard) >= bits.size, f"{what}: {bits.size} bits in, {len(heard)} out.")
    wrong = np.flatnonzero(heard.bits[: bits.size] != bits)
    require(wrong.size == 0, f"{what}: {wrong.size} of {bits.size} bits are wrong, the first at {wrong[:1]}.")
    return heard


def bits_round_trip(line_code: LineCode) -> None:
    """What is heard of a clean tape starts with the bits on it, and says them with confidence."""
    sample = _sample_bits(line_code)
    short = sample.size // 4
    for bits in (
        sample[:0],
        sample[:8],
        np.zeros(short, np.uint8),
        np.ones(short, np.uint8),
        (np.arange(short) % 2).astype(np.uint8),
        sample,
    ):
        heard = _comes_back(line_code, f"a clean tape of {bits.size} bits", bits, line_code.modulate(bits))
        unsure = np.flatnonzero(np.abs(heard.values[: bits.size]) <= LOST)
        require(unsure.size == 0, f"a clean tape of {bits.size} bits: {unsure.size} of them are said to be lost.")


def modulating_is_deterministic(line_code: LineCode) -> None:
    """The same bits give the same samples, and the bits given stay as they are."""
    bits = _sample_bits(line_code)
    kept = bits.copy()
    require(line_code.modulate(bits) == line_code.modulate(bits), "the same bits gave two different tapes.")
    require(np.array_equal(bits, kept), "modulate changed the bits it was given.")


def demodulate_is_total(line_code: LineCode) -> None:
    """Any sound gives soft bits, no more than it has frames."""
    tape = line_code.modulate(_sample_bits(line_code))
    for what, signal in (
        ("zero frames", Signal(np.zeros((2, 0)), 44_100)),
        ("one frame", Signal(np.ones((2, 1)), 44_100)),
        ("seven frames at 1,000 Hz", Signal(np.full((2, 7), -0.5), 1_000)),
        ("silence", probes.silence(2.0)),
        ("silence at 192 kHz", probes.silence(0.3, 192_000)),
        ("noise", probes.noise(2.0, 1.0, 31)),
        ("noise at 8 kHz", probes.noise(2.0, 1.0, 32, 8_000)),
        ("another format's tape", probes.another_format()),
        ("a tape at a wrongly told rate", Signal(tape.samples, 8_000)),
        ("a tape with its middle missing", Signal(np.delete(tape.samples, np.s_[tape.frames // 3 :: 2], 1), 44_100)),
    ):
        _listen(line_code, what, signal)


def length_is_as_declared(line_code: LineCode) -> None:
    """``duration_s`` is the length of the recording, to a frame."""
    for count in (0, 8, 16, 24, _sample_bits(line_code).size):
        for rate_hz in (44_100, 48_000):
            real_s = line_code.modulate(probes.bits(count), rate_hz).duration_s
            declared_s = line_code.duration_s(count)
            require(
                abs(real_s - declared_s) <= 1.01 / rate_hz,
                f"{count} bits at {rate_hz} Hz last {real_s:.6f} s, not the declared {declared_s:.6f} s.",
            )


def times_follow_the_tape(line_code: LineCode) -> None:
    """The bytes of a clean tape stand in order, on the tape, and move with it, whatever the order of their bits."""
    bits = _sample_bits(line_code)
    tape = line_code.modulate(bits)
    heard = _comes_back(line_code, "a clean tape", bits, tape)
    times_s = heard.times_s[: bits.size]
    require(bool((times_s >= 0).all() and (times_s <= tape.duration_s).all()), "the times of the bits leave the tape.")
    bytes_s = times_s.reshape(-1, 8).mean(axis=1)
    steps_s = np.diff(bytes_s)
    require(bool((steps_s > 0).all()), "the times of the bytes go back, or stand still.")
    declared_s = line_code.duration_s(bits.size) - line_code.duration_s(bits.size - 8)
    require(
        bool(np.allclose(steps_s, declared_s, rtol=0.25)),
        f"the bytes are {steps_s.min():.4f} to {steps_s.max():.4f} s apart, but last {declared_s:.4f} s each.",
    )
    lead_s = 0.25
    later = Signal(np.hstack([probes.silence(lead_s).samples, tape.samples]), tape.sample_rate_hz)
    moved_s = _comes_back(line_code, "a tape after a pause", bits, later).times_s[: bits.size] - times_s
    off_s = float(np.abs(moved_s - lead_s).max())
    require(off_s <= declared_s / 8, f"after a pause of {lead_s} s some bit is placed {off_s:.4f} s off.")


def claimed_tolerances_hold(line_code: LineCode) -> None:
    """The bits come back under each change that the code claims to live with."""
    bits = _sample_bits(line_code)
    tape = line_code.modulate(bits)
    for claim, changed in (("polarity", -tape.samples), ("swapped_tracks", tape.samples[::-1])):
        if claim in line_code.tolerates:
            _comes_back(line_code, f"a tape with other {claim}", bits, Signal(changed, tape.sample_rate_hz))
