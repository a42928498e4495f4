"""From two tones to bits: characters after an idling mark, or one stream between a start word and an end word."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from ...contracts.decoded import Event
from ...contracts.signal import Signal
from ...contracts.soft_bits import SoftBits
from .tone_pair import EveryHop, TonePair

if TYPE_CHECKING:
    from .fsk import Fsk

STREAM_WORD_BITS = 8
"""Bits of an unframed stream over which its timing is corrected."""
START_LIKENESS = 0.75
"""Share of the sureness of its bits by which a place must agree with run-up and start word; in noise the share has
mean 0 and standard deviation 0.23."""
SAME_LENGTH = 0.04
"""Words that follow each other within this share of their length have nothing between them."""

USUAL_WORDS = 9
"""Characters in a row whose sureness, at its best, is the usual one of the recording."""
SURE_ENOUGH = 10.0
"""Log-likelihood ratio beyond which more does not make a character more of one."""
UNUSUAL = 0.6
"""Share of the usual sureness below which a character speaks against being part of the recording."""
PAUSE_WORDS = 1.0
"""Characters' worth of sureness by which a strange pause speaks against it."""
MOSTLY_MARK = 0.95
MUCH_LOUDER, MUCH_QUIETER = 6.0, 30.0
"""Power re the usual one, either way, beyond which a character is of another sound, or in a dropout."""

Array = NDArray[np.float64]


def demodulate(code: Fsk, signal: Signal) -> SoftBits:
    """Soft bits of a two-tone tape; nothing if no character or start word is found."""
    rate_hz = signal.sample_rate_hz
    if max(code.mark_hz, code.space_hz) >= rate_hz / 2 or signal.duration_s * code.baud_hz < 12:
        return SoftBits([])
    rows = {"same": signal.samples, "left": signal.samples[:1], "right": signal.samples[1:]}[code.tracks]
    heard = TonePair.listen(rows, rate_hz, code.mark_hz, code.space_hz, code.baud_hz)
    track = heard.every_hop()
    return _characters(code, heard, track) if code.framing == "character" else _stream(heard, track)


def _followed(
    heard: TonePair, track: EveryHop, pattern: NDArray[np.int8], start: float
) -> tuple[Array, NDArray[np.float32]]:
    from ...kernels.word_flywheel import follow_words

    most = int(track.ratio.size / (0.9 * pattern.size * heard.bit)) + 2
    starts, fits = np.empty(most), np.empty(most, np.float32)
    count = follow_words(track.ratio, track.likelihood, pattern, heard.bit, start, starts, fits)
    return starts[:count], fits[:count]


def _in_words(heard: TonePair, starts: Array, word_bits: int) -> tuple[Array, Array]:
    """Start of each bit, shape (words, word_bits), and hops a bit in each word."""
    lengths = np.diff(starts, append=starts[-1] + word_bits * heard.bit) / word_bits
    bits = np.where(np.abs(lengths / heard.bit - 1.0) < SAME_LENGTH, lengths, heard.bit)
    return starts[:, None] + np.arange(word_bits) * bits[:, None], bits


def _characters(code: Fsk, heard: TonePair, track: EveryHop) -> SoftBits:
    pattern = code.pattern
    starts, fits = _followed(heard, track, pattern, -1.0)
    if starts.size == 0:
        return SoftBits([])
    places, bits = _in_words(heard, starts, pattern.size)
    values = heard.likelihood(places, bits)
    sureness = np.where(fits < 0, 0.0, np.abs(values).mean(axis=1))
    own = _recording(code, heard, track, starts, sureness)
    level = np.sum([np.max(one.powers(places, bits[:, None]), axis=0).mean(axis=1) for one in heard.tracks], axis=0)
    usual = np.median(level[own])
    sureness[(level > MUCH_LOUDER * usual) | (MUCH_QUIETER * level < usual)] = 0.0
    own = _recording(code, heard, track, starts, sureness)
    places, bits, values, starts, fits = places[own], bits[own], values[own], starts[own], fits[own]
    values[fits < 0] = 0.0
    data = slice(code.start_bits, code.start_bits + 8)
    values, times_s = values[:, data], (places[:, data] + 0.5 * bits[:, None]) * heard.hop_s
    if code.bit_order == "lsb":
        values, times_s = values[:, ::-1], times_s[:, ::-1]
    events = [Event(f"first character, tape speed {100 * heard.speed_error:+.2f} %", float(starts[0]) * heard.hop_s)]
    events += [Event("character without its start or stop", float(start) * heard.hop_s) for start in starts[fits < 0]]
    events.append(Event("last character", float(starts[-1]) * heard.hop_s))
    return SoftBits(values.ravel(), times_s.ravel(), tuple(events))


def _recording(code: Fsk, heard: TonePair, track: EveryHop, starts: Array, sureness: Array) -> slice:
    """The characters that make one recording: what looks like some in voice or hiss before and after it is left out.

    It is the stretch with the greatest sum of sureness beyond a share of the usual. Across a pause that is no mark, or
    a mark as long as a leader, two stretches are one recording only if both have much to say.
    """
    around = min(USUAL_WORDS, sureness.size)
    usual = np.convolve(np.minimum(sureness, SURE_ENOUGH), np.full(around, 1 / around), "valid").max()
    gains = np.minimum(sureness, SURE_ENOUGH) - UNUSUAL * usual
    ends = starts + code.pattern.size * heard.bit
    leader = max(0.5, 0.5 * code.leader_s) / heard.hop_s
    best, total, first = (-np.inf, 0, 0), 0.0, 0
    for word, gain in enumerate(gains.tolist()):
        if word:
            # A window that starts less than a bit before the character hears its start.
            pause = track.ratio[math.ceil(ends[word - 1]) : max(0, math.floor(starts[word] - heard.bit))]
            strange = pause.size > heard.bit and (pause > 0).mean() < MOSTLY_MARK
            if strange or pause.size > leader:
                total -= PAUSE_WORDS * usual
        if total <= 0:
            total, first = 0.0, word
        total += gain
        if total > best[0]:
            best = (total, first, word + 1)
    return slice(best[1], best[2])


def _signs(word: Bits) -> Array:
    return np.where(word > 0, 1.0, -1.0)


def _stream(heard: TonePair, track: EveryHop) -> SoftBits:
    from .fsk import RUN_UP, START_WORD

    opening = np.concatenate([_signs(RUN_UP), _signs(START_WORD)])
    pattern = np.zeros(STREAM_WORD_BITS, np.int8)
    for place in _places_like(track.ratio, opening, heard.bit):
        starts, _ = _followed(heard, track, pattern, place + opening.size * heard.bit)
        if starts.size == 0:
            continue
        places, bits = _in_words(heard, starts, pattern.size)
        on_tape = (places + bits[:, None]).ravel() < heard.tracks[0].mark.size
        values = heard.likelihood(places, bits).ravel()[on_tape]
        length = _length(np.clip(values, -30.0, 30.0))
        times_s = ((places + 0.5 * bits[:, None]) * heard.hop_s).ravel()[on_tape]
        told = f"start word, tape speed {100 * heard.speed_error:+.2f} %"
        ends = "end word" if length < values.size else "the stream stops without an end word"
        events = (
            Event(told, float(starts[0]) * heard.hop_s),
            Event(ends, float(times_s[min(length, times_s.size - 1)])),
        )
        return SoftBits(values[:length], times_s[:length], events)
    return SoftBits([])


def _places_like(ratio: NDArray[np.float32], signs: Array, bit: float) -> list[float]:
    """Where ``ratio`` is like the bits ``signs``: the best place of each stretch that is like them enough."""
    offsets = np.rint(np.arange(signs.size) * bit).astype(np.int64)
    count = ratio.size - int(offsets[-1])
    if count <= 0:
        return []
    agreement = np.zeros(count, np.float32)
    sureness = np.zeros(count, np.float32)
    for offset, sign in zip(offsets.tolist(), signs.tolist(), strict=True):
        told = ratio[offset : offset + count]
        agreement += np.float32(sign) * told
        sureness += np.abs(told)
    like = (agreement > START_LIKENESS * sureness) & (agreement > signs.size)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], like, [False]])))
    return [float(first + np.argmax(agreement[first:beyond])) for first, beyond in edges.reshape(-1, 2).tolist()]


def _length(ratio: Array) -> int:
    """How many bits stand before the end word: the likeliest split of (free bits, end word, mark to the end)."""
    from .fsk import END_WORD

    signs = _signs(END_WORD)
    free = np.concatenate([[0.0], np.cumsum(np.log(np.cosh(0.5 * ratio)))])
    if ratio.size < signs.size:
        return ratio.size
    marked = 0.5 * np.concatenate([[0.0], np.cumsum(ratio)])
    word = 0.5 * np.correlate(ratio, signs, "valid")
    splits = free[: word.size] + word + marked[-1] - marked[signs.size :]
    best = int(np.argmax(splits))
    return best if splits[best] > free[-1] else ratio.size
