"""Dropouts: where a carrier is weaker than just before and after, and what that says of the tape."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .figures import Figure, Finding, Missing, of_blocks
from .skew import TAPE_SPEED_MM_PER_S

SPACING_DB_PER_WAVELENGTH = 54.575
"""20 log10(e) 2 pi: R. L. Wallace, BSTJ 30 (1951), from memory; the constant is exact arithmetic."""

LEAST_LIFT_UM = 0.83
"""What counts as a dropout: 6 dB at 6.3 kHz (common practice for the 6 dB)."""

HALF_WIDTH_HZ = 1200.0
"""Between the two carriers there is room for this: a dropout of a millisecond is followed."""

SERIES_HZ = 1000.0
MISSING_DB = 20.0
"""Missing oxide costs more than this at all frequencies (common practice)."""

REFERENCE_S = 3.0
_CONTACT_HZ = 250.0
_CONTACT_KNOWN = 0.02
"""Where contact ends and slower or faster changes of level begin is known to about this share (modelling prior)."""

_LEANING_KNOWN = 0.1
"""What the wander of the azimuth does to a level is known to this share: the loss is bent (modelling prior)."""

_BRIDGE_S = 0.003
_SHORTEST_S = 0.0015
_SAME_SHARE = 0.75


@dataclass(frozen=True, slots=True)
class Loss:
    """One dropout on one track.

    Attributes:
        start_s: on the capture, at half the depth in dB.
        length_s: between the half-depth points.
        depth_db: at the carrier ``carrier_hz``.
        lift_um: lift of the tape that would make it; None where oxide is missing.
        track: 0 or 1.
        carrier_hz: the frequency that the depth refers to.
        unclear: whether it is so deep that the upper carrier is lost in the noise while the lower one is lost as far:
            it may be missing oxide as well.
    """

    start_s: float
    length_s: float
    depth_db: float
    lift_um: float | None
    track: int
    carrier_hz: float
    unclear: bool = False

    @property
    def end_s(self) -> float:
        """Where half the depth is left again."""
        return self.start_s + self.length_s


@dataclass(frozen=True, slots=True, eq=False)
class LossSeries:
    """Power of a carrier re its surroundings, about a thousand times a second.

    Attributes:
        share: power with its noise re the carrier's usual power, shape (readings,).
        noise: the noise in it, same shape.
        carrier_hz: the carrier.
        start_s: time of the first reading on the capture.
        rate_hz: readings a second.
        noise_hz: width of the filter that let the noise through.
    """

    share: NDArray[np.float32]
    noise: NDArray[np.float64]
    carrier_hz: float
    start_s: float
    rate_hz: float
    noise_hz: float

    @property
    def db(self) -> NDArray[np.float32]:
        """Loss in dB, noise included: no more than the noise lets see."""
        return np.asarray(-10 * np.log10(np.maximum(self.share, 1e-12)), np.float32)

    def depth_db(self, here: NDArray[np.intp]) -> tuple[float, bool]:
        """Loss at some readings together, noise taken off; and whether it is only known to be at least that."""
        power, noise = float(self.share[here].mean()), float(self.noise[here].mean())
        least = noise * 2 / math.sqrt(here.size)
        return -10 * math.log10(max(power - noise, least, 1e-12)), power - noise <= least


def spacing_loss_db(lift_um: float, frequency_hz: float) -> float:
    """What a gap between head and tape takes off a tone.

    >>> round(spacing_loss_db(1.0, 10_000.0), 2)
    11.47
    """
    return SPACING_DB_PER_WAVELENGTH * lift_um * frequency_hz / (1000 * TAPE_SPEED_MM_PER_S)


def loss_series(
    values: NDArray[np.complex128],
    rate_hz: float,
    carrier_hz: float,
    start_s: float,
    noise: float = 0.0,
    noise_hz: float = 1.0,
) -> LossSeries:
    """The loss of a carrier re its running median over three seconds.

    Args:
        values: complex peak amplitude, shape (outputs,).
        noise: what noise adds to ``|values|^2`` on average; it is taken off.
        noise_hz: of the baseband.
    """
    every = max(1, round(rate_hz / SERIES_HZ))
    whole = values.size // every * every
    power = (np.abs(values[:whole]) ** 2).reshape(-1, every).mean(axis=1)
    series_hz = rate_hz / every
    step = max(1, round(REFERENCE_S / 10 * series_hz))
    count = max(1, power.size // step)
    coarse = np.array([np.median(part) for part in np.array_split(power, count)])
    running = np.median(np.lib.stride_tricks.sliding_window_view(np.pad(coarse, 5, mode="edge"), 11), axis=1)
    places = (np.arange(count) + 0.5) * power.size / count
    reference = np.maximum(np.interp(np.arange(power.size), places, running) - noise, 1e-20)
    return LossSeries(
        (power / reference).astype(np.float32), noise / reference, carrier_hz, start_s, series_hz, noise_hz
    )


def contact_blocks(left: LossSeries, right: LossSeries, dropouts: Sequence[Loss]) -> list[float]:
    """Mean square of what both tracks waver together in dB, for each block of about 5 s; dropouts are left out.

    It is what the tracks have in common: noise differs between them and averages out.
    """
    every = max(1, round(left.rate_hz / _CONTACT_HZ))
    rate_hz = left.rate_hz / every
    whole = min(left.share.size, right.share.size) // every * every
    rows = [one.db[:whole].astype(np.float64).reshape(-1, every).mean(axis=1) for one in (left, right)]
    beside = np.zeros(whole // every, bool)
    for loss in dropouts:
        first = loss.start_s - 0.5 * loss.length_s - 0.02 - left.start_s
        last = loss.end_s + 0.5 * loss.length_s + 0.02 - left.start_s
        beside[max(0, int(first * rate_hz)) : max(0, int(last * rate_hz) + 2)] = True
    size = round(REFERENCE_S * rate_hz)
    for row in rows:
        row[beside] = 0.0
        row -= np.convolve(row, np.ones(size) / size, "same")
        row[beside] = 0.0
    blocks = max(1, int(rows[0].size / (5.0 * rate_hz)))
    parts = zip(*(np.array_split(row, blocks) for row in (*rows, beside)), strict=True)
    # What is left out counts as no fluctuation at all, so the rest stands for it too.
    return [_together(one, other, rate_hz) / (1 - out.mean()) for one, other, out in parts if out.mean() < 0.5]


def _together(one: NDArray[np.float64], other: NDArray[np.float64], rate_hz: float) -> float:
    """Mean square of what two series have in common up to 60 Hz, less what modulation noise puts there.

    Modulation noise has the same density up to hundreds of Hz: it is read above 80 Hz, where contact no longer wavers.
    """
    window = np.hanning(one.size)
    hz = np.fft.rfftfreq(one.size, 1 / rate_hz)
    together = (np.fft.rfft(one * window) * np.fft.rfft(other * window).conj()).real
    together *= 2 / (one.size * float((window**2).sum())) / np.sinc(hz / rate_hz) ** 2
    slow, fast = (hz > 0.4) & (hz <= 60.0), (hz >= 80.0) & (hz <= 110.0)
    return float(together[slow].sum() - together[fast].mean() * slow.sum())


def contact_fluctuation(blocks: list[float], carrier_hz: float, leaning: float = 0.0) -> Finding:
    """How much the distance of head and tape fluctuates.

    Args:
        blocks: ``contact_blocks`` of a carrier.
        leaning: mean square in dB of what the wander of the azimuth does to that carrier; it is taken off.
    """
    name = "contact_fluctuation_um"
    if len(blocks) < 4:
        return Missing(name, "there are no 20 s of a carrier on two tracks")
    square = of_blocks(name, [block - leaning for block in blocks])
    if square.value <= 0:
        return Missing(name, "the level of the two tracks does not waver together")
    method = "rms change of the distance of head and tape, 1 to 20 Hz, both tracks together"
    per_um = spacing_loss_db(1.0, carrier_hz)
    value, low, high = (math.sqrt(max(0.0, one)) / per_um for one in (square.value, square.low, square.high))
    leaning_um = _LEANING_KNOWN * leaning / (2 * value * per_um**2)
    half = math.hypot((high - low) / 2, _CONTACT_KNOWN * value, leaning_um)
    return Figure(name, value, max(0.0, value - half), value + half, method)


def losses(low: LossSeries | None, high: LossSeries, track: int) -> list[Loss]:
    """The dropouts of one track, from the carrier ``high`` and, where there is one, the carrier of half its frequency.

    A dropout is a stretch above half the least depth. Its depth is that of its middle half all together, which must be
    at least the least depth.
    """
    least_db = spacing_loss_db(LEAST_LIFT_UM, high.carrier_hz)
    db = high.db
    found = []
    for first, last in _runs(db > least_db / 2, round(_BRIDGE_S * high.rate_hz)):
        length, start = _half_depth(db, first, last, float(db[first:last].max()) / 2)
        middle = _middle(start, length)
        depth_db, is_least = high.depth_db(middle)
        if depth_db < least_db:
            continue
        length, start = _half_depth(db, first, last, depth_db / 2)
        if length < _SHORTEST_S * high.rate_hz:
            continue
        lift_um: float | None = depth_db / spacing_loss_db(1.0, high.carrier_hz)
        unclear = False
        if low is not None:
            lower_db, _ = low.depth_db(middle)
            if lower_db < least_db / 6:
                continue
            lift_um = _lift_um(lower_db, low.carrier_hz, depth_db, high.carrier_hz, is_least)
            unclear = is_least and lower_db > max(MISSING_DB, _SAME_SHARE * depth_db)
        begin_s, length_s = high.start_s + start / high.rate_hz, length / high.rate_hz
        found.append(Loss(begin_s, length_s, depth_db, lift_um, track, high.carrier_hz, unclear))
    return found


def _lift_um(lower_db: float, lower_hz: float, upper_db: float, upper_hz: float, is_least: bool) -> float | None:
    """The lift that costs a lower and an upper tone so much; None where it is missing oxide, which costs both the same.

    Where the upper tone has gone down in the noise (``is_least``) only the lower one says how high the lift is.
    """
    by_lower, by_upper = lower_db / spacing_loss_db(1.0, lower_hz), upper_db / spacing_loss_db(1.0, upper_hz)
    if lower_db > MISSING_DB and not is_least and lower_db > _SAME_SHARE * upper_db:
        return None
    return max(by_lower, by_upper) if is_least else by_upper


def _middle(start: float, length: float) -> NDArray[np.intp]:
    """The readings in the middle half of a stretch, at least one."""
    first = math.ceil(start + 0.25 * length)
    return np.arange(first, max(first, math.floor(start + 0.75 * length)) + 1)


def _runs(inside: NDArray[np.bool_], bridge: int) -> list[tuple[int, int]]:
    """First and one past last of each run of True, runs closer than ``bridge`` joined; those at the ends left out."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], inside, [False])).astype(np.int8)))
    joined: list[tuple[int, int]] = []
    for first, last in edges.reshape(-1, 2).tolist():
        if joined and first - joined[-1][1] <= bridge:
            joined[-1] = (joined[-1][0], last)
        else:
            joined.append((first, last))
    return [run for run in joined if run[0] > 0 and run[1] < inside.size]


def _half_depth(db: NDArray[np.float32], first: int, last: int, half_db: float) -> tuple[float, float]:
    """Length and start in readings between the first and the last crossing of ``half_db``, interpolated."""
    over = np.flatnonzero(db[first:last] > half_db) + first
    start, end = int(over[0]), int(over[-1])
    before, at = float(db[start - 1]), float(db[start])
    begin = start - (at - half_db) / max(at - before, 1e-9) if before < half_db else float(start)
    inner, after = float(db[end]), float(db[end + 1]) if end + 1 < db.size else 0.0
    finish = end + (inner - half_db) / max(inner - after, 1e-9) if after < half_db else float(end)
    return finish - begin, begin


def on_both(left: list[Loss], right: list[Loss]) -> int:
    """How many of the right track's dropouts overlap one of the left's."""
    starts = np.array([loss.start_s for loss in left])
    ends = np.array([loss.end_s for loss in left])
    return sum(bool(((starts < loss.end_s) & (ends > loss.start_s)).any()) for loss in right)
