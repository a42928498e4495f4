"""Checks of a codec: a whole stack, from payload to sound and back.

A stack is *checked* if its verdict on its own clean tape is True. Sizes follow the format: a slow one gets a short
payload, so that no tape is longer than about ``LONGEST_S``.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from ..codec import MOST_PAYLOAD_BYTES, Codec
from ..decoded import Decoded, Event
from ..errors import UsageError
from ..registry import codec as build
from ..signal import LOUDEST, Signal
from . import probes
from .check import require

LONGEST_S = 12.0
_SIZES = (150, 40, 16, 6, 3)


def sample_payload(codec: Codec) -> bytes:
    """The largest payload of the usual sizes whose tape is not longer than ``LONGEST_S``."""
    size = next((size for size in _SIZES if codec.duration_s(size) <= LONGEST_S), 2)
    return probes.payload(size)


def listen(codec: Codec, what: str, *signals: Signal) -> Decoded:
    """What ``codec`` makes of ``signals``; AssertionError if it raises or if the answer is not well formed."""
    try:
        decoded = codec.decode(*signals)
    except Exception as error:
        raise AssertionError(f"decoding {what} raised {type(error).__name__}: {error}") from error
    well_formed(decoded, what, *signals)
    return decoded


def well_formed(decoded: object, what: str, *signals: Signal) -> None:
    """AssertionError unless ``decoded`` is a ``Decoded`` whose parts agree with each other and with the tape."""
    require(isinstance(decoded, Decoded), f"{what} gave {type(decoded).__name__}, not Decoded.")
    assert isinstance(decoded, Decoded)
    require(type(decoded.payload) is bytes, f"{what} gave a payload that is no bytes.")
    require(len(decoded.payload) <= MOST_PAYLOAD_BYTES, f"{what} gave {len(decoded.payload)} bytes.")
    require(decoded.intact in (True, False, None), f"{what} gave intact={decoded.intact!r}.")
    lost = decoded.lost
    require(type(lost) is tuple and list(lost) == sorted(set(lost)), f"{what} gave lost places out of order.")
    require(all(0 <= place < len(decoded.payload) for place in lost), f"{what} gave lost places outside the payload.")
    longest_s = max((signal.duration_s for signal in signals), default=0.0)
    timed = len(decoded.times_s) in (0, len(decoded.payload)) and all(map(math.isfinite, decoded.times_s))
    require(timed, f"{what} gave {len(decoded.times_s)} times for {len(decoded.payload)} bytes.")
    for event in decoded.events:
        require(isinstance(event, Event) and event.what.isprintable(), f"{what} gave the event {event!r}.")
        if event.time_s is not None:
            on_tape = math.isfinite(event.time_s) and -1.0 <= event.time_s <= longest_s + 1.0
            require(on_tape, f"{what} ({longest_s:.3f} s) gave an event at {event.time_s} s.")


def is_right(decoded: Decoded, payload: bytes) -> bool:
    """The payload is equal, nothing is lost, and no check says otherwise."""
    return decoded.payload == payload and decoded.intact is not False and not decoded.lost


def is_checked(codec: Codec) -> bool:
    """Whether some layer vouches for the payload of a clean tape."""
    return codec.decode(codec.encode(probes.payload(2))).intact is True


def _right(codec: Codec, what: str, payload: bytes, *signals: Signal) -> None:
    decoded = listen(codec, what, *signals)
    require(
        is_right(decoded, payload),
        f"{what}: {len(payload)} bytes in, {len(decoded.payload)} out, "
        f"intact={decoded.intact}, lost={len(decoded.lost)}, first difference at "
        f"{next((k for k, (a, b) in enumerate(zip(payload, decoded.payload, strict=False)) if a != b), None)}.",
    )


def payload_round_trips(codec: Codec) -> None:
    """Any bytes come back from a clean tape, played once or twice."""
    checked = is_checked(codec)
    sample = sample_payload(codec)
    short = len(sample) // 3
    for payload in (b"", b"\x00", b"\xff", b"\x80\x01", bytes(short), b"\xff" * short, b"\x55" * short, sample):
        tape = codec.encode(payload)
        what = f"a clean tape of {len(payload)} bytes {payload[:4].hex(' ')}"
        _right(codec, what, payload, tape)
        require((codec.decode(tape).intact is True) == checked, f"{what} is checked for some payloads only.")
    _right(codec, "two plays of one clean tape", sample, tape, tape)


def any_sample_rate_round_trips(codec: Codec) -> None:
    """A tape made at another sample rate decodes as well; a rate too low for the format is refused in one line."""
    sample = sample_payload(codec)[:24]
    for rate_hz in (1_000, 4_000, 8_000, 11_025, 22_050, 32_000, 48_000, 96_000):
        try:
            tape = codec.encode(sample, rate_hz)
        except UsageError as error:
            require(rate_hz < 32_000 and str(error).isprintable(), f"{rate_hz} Hz was refused: {str(error)!r}")
            continue
        require(tape.sample_rate_hz == rate_hz, f"a tape asked for at {rate_hz} Hz has {tape.sample_rate_hz} Hz.")
        _right(codec, f"a clean tape at {rate_hz} Hz", sample, tape)


def encoding_is_deterministic(codec: Codec) -> None:
    """The same payload gives the same samples."""
    sample = sample_payload(codec)
    require(codec.encode(sample) == codec.encode(sample), "the same payload gave two different tapes.")


def audio_is_stereo_finite_within_full_scale(codec: Codec) -> None:
    """Two rows of float32 within +-1, with something on them."""
    for payload in (b"", sample_payload(codec)):
        tape = codec.encode(payload)
        require(isinstance(tape, Signal), f"encode gave {type(tape).__name__}, not Signal.")
        require(tape.samples.dtype == np.float32 and tape.samples.shape == (2, tape.frames), "the tape is not stereo.")
        require(bool(np.isfinite(tape.samples).all()), "the tape is not finite.")
        peak = float(np.abs(tape.samples).max(initial=0.0))
        require(peak <= 1.0, f"the tape peaks at {peak:.3f}, beyond full scale.")
    require(peak >= 0.05, f"the tape peaks at {peak:.3f}, too low to record.")


def duration_is_as_declared(codec: Codec) -> None:
    """``duration_s`` is the length of the recording, to a frame."""
    for size in (0, 1, 2, 3, len(sample_payload(codec))):
        for rate_hz in (44_100, 48_000):
            real_s = codec.encode(probes.payload(size), rate_hz).duration_s
            declared_s = codec.duration_s(size)
            require(
                abs(real_s - declared_s) <= 1.01 / rate_hz,
                f"{size} bytes at {rate_hz} Hz last {real_s:.6f} s, not the declared {declared_s:.6f} s.",
            )


def _alien(tape: Signal) -> Iterator[tuple[str, tuple[Signal, ...]]]:
    yield "no play at all", ()
    yield "zero frames", (Signal(np.zeros((2, 0)), 44_100),)
    yield "one frame", (Signal(np.full((2, 1), 0.5), 44_100),)
    yield "seven frames at 1,000 Hz", (Signal(np.full((2, 7), -0.5), 1_000),)
    yield "silence", (probes.silence(3.0),)
    yield "a constant", (Signal(np.full((2, 40_000), 0.7), 44_100),)
    yield "faint noise", (probes.noise(3.0, 1e-3, 11),)
    yield "loud noise", (probes.noise(3.0, 1.0, 12),)
    yield "another format's tape", (probes.another_format(),)
    yield "a tape far above full scale", (Signal(tape.samples * np.float32(LOUDEST), tape.sample_rate_hz),)
    yield "a tape and silence", (tape, probes.silence(1.0))
    yield "noise and another format", (probes.noise(1.0, 0.5, 14), probes.another_format())


def decode_is_total(codec: Codec) -> None:
    """Any sound gives an answer and no lie; what the format claims to live with decodes."""
    sample = sample_payload(codec)
    tape = codec.encode(sample)
    for what, signals in _alien(tape):
        decoded = listen(codec, what, *signals)
        require(decoded.intact is not True or decoded.payload == sample, f"{what} was taken for an intact tape.")
    for tenth in range(10):
        cut = Signal(tape.samples[:, : tape.frames * tenth // 10], tape.sample_rate_hz)
        _tells_no_lie(codec, f"a tape cut after {tenth} tenths", sample, cut)
        rest = Signal(tape.samples[:, tape.frames * tenth // 10 :], tape.sample_rate_hz)
        _tells_no_lie(codec, f"a tape without its first {tenth} tenths", sample, rest)
    for claim, changed in (("polarity", -tape.samples), ("swapped_tracks", tape.samples[::-1])):
        signal = Signal(changed, tape.sample_rate_hz)
        if claim in codec.tolerates:
            _right(codec, f"a tape with other {claim}, which the format tolerates", sample, signal)
        else:
            _tells_no_lie(codec, f"a tape with other {claim}", sample, signal)


def _tells_no_lie(codec: Codec, what: str, payload: bytes, signal: Signal) -> None:
    decoded = listen(codec, what, signal)
    require(
        decoded.intact is not True or decoded.payload == payload,
        f"{what} was declared intact, with {len(decoded.payload)} bytes that are not the payload.",
    )


def _damaged(codec: Codec, sample: bytes) -> Iterator[tuple[str, Signal]]:
    tape = codec.encode(sample)
    rng = probes.generator(21)
    frames = tape.frames

    def made(samples: np.typing.NDArray[np.float32]) -> Signal:
        return Signal(samples, tape.sample_rate_hz)

    for share in (0.004, 0.02, 0.1, 0.4):
        start = int(rng.integers(0, frames - int(share * frames)))
        stop = start + int(share * frames)
        hole = tape.samples.copy()
        hole[:, start:stop] = 0
        yield f"a hole of {share:.1%}", made(hole)
        burst = tape.samples.copy()
        burst[:, start:stop] = rng.uniform(-1, 1, burst[:, start:stop].shape)
        yield f"a burst of noise over {share:.1%}", made(burst)
        yield f"a tape with {share:.1%} cut out", made(np.delete(tape.samples, np.s_[start:stop], axis=1))
        yield (
            f"a tape with {share:.1%} played twice",
            made(np.hstack([tape.samples[:, :stop], tape.samples[:, start:]])),
        )
        turned = tape.samples.copy()
        turned[:, start:stop] *= -1
        yield f"a tape turned over for {share:.1%}", made(turned)
    for peak in (0.1, 0.3, 1.0, 3.0):
        yield f"a tape under noise of peak {peak}", made(tape.samples + probes.noise(frames / 44_100, peak, 22).samples)
    yield "a tape with the left track dead", made(tape.samples * np.array([[0], [1]], np.float32))
    yield "a tape with the right track dead", made(tape.samples * np.array([[1], [0]], np.float32))
    yield "a tape played backwards", made(tape.samples[:, ::-1])
    places = np.arange(0, frames - 1, 1.15)
    fast = np.stack([np.interp(places, np.arange(frames), row) for row in tape.samples])
    yield "a tape 15 % too fast", made(fast)


def _spliced(codec: Codec, sample: bytes, other: bytes) -> Iterator[tuple[str, Signal]]:
    first, second = codec.encode(sample), codec.encode(other)
    for tenth in range(2, 10):
        cut = min(first.frames, second.frames) * tenth // 10
        joined = np.hstack([first.samples[:, :cut], second.samples[:, cut:]])
        yield f"a tape with another on it from {tenth} tenths on", Signal(joined, first.sample_rate_hz)


def intact_never_lies(codec: Codec) -> None:
    """A damaged tape is never declared intact with a wrong payload; a stack that checks always gives a verdict, and one
    that does not vouches for none.
    """
    sample = sample_payload(codec)
    other = probes.payload(len(sample), 23)
    checked = is_checked(codec)
    damaged = ((what, signal, (sample,)) for what, signal in _damaged(codec, sample))
    spliced = ((what, signal, (sample, other)) for what, signal in _spliced(codec, sample, other))
    for what, signal, payloads in (*damaged, *spliced):
        decoded = listen(codec, what, signal)
        truth = decoded.intact is not True or decoded.payload in payloads
        require(truth, f"{what} was declared intact, with {len(decoded.payload)} bytes that were never recorded.")
        fits = decoded.intact is not None if checked else decoded.intact is not True
        require(fits, f"{what} got the verdict {decoded.intact}, unlike a clean tape.")


def golden_tape_still_decodes(golden: tuple[Path, ...]) -> None:
    """Each recording made once and kept gives its payload: ``NAME.json`` holds that and the spec."""
    import soundfile

    for path in golden:
        told = json.loads(path.read_text(encoding="utf-8"))
        samples, rate_hz = soundfile.read(path.with_suffix(".flac"), dtype="float32", always_2d=True)
        payload = bytes.fromhex(told["payload"])
        _right(build(told["spec"]), f"golden tape '{path.stem}'", payload, Signal(samples.T, rate_hz))
