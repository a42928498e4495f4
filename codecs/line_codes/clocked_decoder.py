"""How a sound input hears a clocked tape: envelopes, clock bursts, and the data in the window of each.

Both tracks are mixed to zero frequency in hops of one or two cycles of the tone. From there on "time" is counted in
hops. The turning of the tone from hop to hop tells the speed of the tape, and what does not turn with it is noise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...contracts.decoded import Event
from ...contracts.signal import Signal
from ...contracts.soft_bits import CERTAIN, LOST, SoftBits
from .clock_flywheel import ClockBursts, Train, follow
from .envelope_likelihood import tone_against_silence

if TYPE_CHECKING:
    from .clocked import Clocked

LOOK_CYCLES = 20
"""Cycles of tone summed in one phase: 1 % of wow turns it by a fifth of a cycle, which costs 0.6 dB."""

CLOCK_SHARE = 0.25
"""Power, as a share of the loudest around, by which a burst must stand out from the silence before it."""
MOST_SPEED_ERROR = 0.1
SPEED_WINDOW_S = 1.0
SWALLOWED = 1e-3
"""Chance that a dropout swallows the data burst of a step whose clock was heard: a modelling prior, which bounds
how sure silence can be."""
SWALLOWED_WITH_CLOCK = math.exp(-LOST / 2)
"""The same where the clock was not heard either: silence then says nothing."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Tracks:
    """Both tracks at zero frequency, turned back by the speed of the tape.

    Attributes:
        clock, data: complex, shape (hops,).
        clock_noise, data_noise: mean square of the noise in a hop, shape (hops,).
        pace: hops a nominal second, shape (hops,).
        hop_s: length of a hop.
    """

    clock: NDArray[np.complex128]
    data: NDArray[np.complex128]
    clock_noise: Array
    data_noise: Array
    pace: Array
    hop_s: float


def demodulate(code: Clocked, signal: Signal) -> SoftBits:
    """Soft bits of a clocked tape; nothing if no train of clock bursts is found."""
    rate_hz = signal.sample_rate_hz
    if code.tone_hz >= rate_hz / 2:
        return SoftBits([])
    cycles = 2 if code.burst_s * code.tone_hz >= 40 else 1
    hop = max(1, round(cycles * rate_hz / code.tone_hz))
    if signal.frames * 1.0 < code.byte_s * rate_hz / 2:
        return SoftBits([])
    tracks = _listen(code, signal, hop)
    bursts = _clock_bursts(code, tracks)
    train = follow(code, bursts, tracks.pace)
    return _read(code, tracks, train)


def _listen(code: Clocked, signal: Signal, hop: int) -> Tracks:
    from scipy.ndimage import uniform_filter1d

    from ...kernels.tone_mixer import baseband

    rows = signal.samples if code.clock_track == "left" else signal.samples[::-1]
    hop_s = hop / signal.sample_rate_hz
    mixed = [baseband(row, code.tone_hz / signal.sample_rate_hz, hop) for row in rows]
    size = max(1, round(SPEED_WINDOW_S / hop_s))

    def smooth(values: Array) -> Array:
        smoothed: Array = uniform_filter1d(values, size, mode="nearest")
        return smoothed

    def turning(track: NDArray[np.complex128], hops: int) -> NDArray[np.complex128]:
        product = np.zeros(track.size, np.complex128)
        product[hops:] = track[hops:] * track[:-hops].conj()
        return smooth(product.real) + 1j * smooth(product.imag)

    # Four cycles turn by 0.4 of one at the largest speed error: no doubt which way.
    far = max(1, int(4.0 / (code.tone_hz * hop_s)))
    noise = []
    turned = np.zeros(mixed[0].size, np.complex128)
    for track in mixed:
        power = smooth(track.real**2 + track.imag**2)
        noise.append(np.maximum(power - np.abs(turning(track, 1)), 1e-9 * power.max(initial=0.0) + 1e-30))
        turned += turning(track, far)
    # Where little is heard the speed of the whole tape fills in.
    turned += 0.25 * turned.mean()
    error = np.angle(turned) / (2 * math.pi * code.tone_hz * far * hop_s)
    error = np.clip(error, -MOST_SPEED_ERROR, MOST_SPEED_ERROR)
    back = np.exp(-2j * math.pi * np.cumsum(error * code.tone_hz * hop_s))
    return Tracks(mixed[0] * back, mixed[1] * back, noise[0], noise[1], 1.0 / (hop_s * (1.0 + error)), hop_s)


def _chi_square_limit(looks: float) -> float:
    """What a mean of ``looks`` noise powers exceeds once in a hundred (Wilson and Hilferty, 1931)."""
    share = 2.0 / (9.0 * 2.0 * looks)
    return float((1.0 - share + 2.33 * math.sqrt(share)) ** 3)


def _clock_bursts(code: Clocked, tracks: Tracks) -> ClockBursts:
    """Every place where silence turns into tone for a burst's length."""
    from scipy.ndimage import maximum_filter1d, uniform_filter1d

    burst = max(2, round(code.burst_s / tracks.hop_s))
    step = code.step_s / tracks.hop_s
    pause = max(2, min(burst, math.floor(step) - burst))
    look = max(1, min(round(LOOK_CYCLES / (code.tone_hz * tracks.hop_s)), burst // 3, pause // 3))
    total = np.concatenate([[0], np.cumsum(tracks.clock)])
    summed = total[look:] - total[:-look]
    power = (summed.real**2 + summed.imag**2) / look
    if power.size < 2 * burst:
        return ClockBursts.none()
    running = np.concatenate([[0.0], np.cumsum(power)])
    last = power.size

    def mean_power(places: NDArray[np.int64], first: int, beyond: int) -> Array:
        low = np.clip(places + first, 0, last - 1)
        high = np.clip(places + beyond - look + 1, low + 1, last)
        mean: Array = (running[high] - running[low]) / (high - low)
        return mean

    everywhere = np.arange(power.size)
    on = mean_power(everywhere, 0, burst)
    before = mean_power(everywhere, -pause, 0)
    before[:pause] = tracks.clock_noise[:pause]  # a tape may begin with its first burst
    contrast = on - before
    highest = maximum_filter1d(on, 2 * round(1.5 * step) + 1)
    level = uniform_filter1d(highest, max(1, round(2.0 / tracks.hop_s)), mode="nearest")
    floor = _chi_square_limit(burst / look) * tracks.clock_noise[: power.size]
    above = (contrast > np.maximum(CLOCK_SHARE * level, floor)) & (before < 0.5 * level)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], above, [False]])))
    places = np.array(
        [first + int(np.argmax(contrast[first:beyond])) for first, beyond in edges.reshape(-1, 2).tolist()], np.int64
    )
    half = 0.5 * level[places]

    def goes_on(bursts_later: int) -> NDArray[np.bool_]:
        first = bursts_later * burst
        longer: NDArray[np.bool_] = mean_power(places, first + pause // 8, first + pause) > half
        return longer

    mark = goes_on(1)
    end = mark & goes_on(2)
    # The line-up tone is no burst: it sounds on where even an end mark is over.
    short = ~(end & goes_on(4) & goes_on(5))
    strength = contrast[places] / tracks.clock_noise[places]
    return ClockBursts(places[short].astype(np.float64), strength[short], mark[short], end[short])


def _sums(total: NDArray[np.complex128], bounds: Array) -> NDArray[np.complex128]:
    """``total`` (a running sum) read between hops, differenced along the first axis."""
    hops = np.arange(total.size)
    flat = bounds.ravel()
    read = np.interp(flat, hops, total.real) + 1j * np.interp(flat, hops, total.imag)
    return np.diff(read.reshape(bounds.shape), axis=0)


def _read(code: Clocked, tracks: Tracks, train: Train) -> SoftBits:
    from scipy.ndimage import median_filter

    onsets = train.onsets.ravel()
    known = np.isfinite(onsets)
    if not known.any():
        return SoftBits(np.zeros(onsets.size), 0.0, _events(tracks, train))
    steps = np.arange(onsets.size)
    places = np.interp(steps, steps[known], onsets[known])
    nearest = np.clip(np.rint(places).astype(np.int64), 0, tracks.pace.size - 1)
    pace = tracks.pace[nearest]
    edge_s = code.edge_ms / 1000
    looks = max(1, round((code.lead_s + code.burst_s - 2 * edge_s) * code.tone_hz / LOOK_CYCLES))

    def looked(total: NDArray[np.complex128], first_s: float, last_s: float) -> tuple[Array, Array]:
        bounds = places + np.linspace(first_s, last_s, looks + 1)[:, None] * pace
        summed = _sums(total, bounds)
        return (summed.real**2 + summed.imag**2).sum(axis=0), (last_s - first_s) * pace / looks

    clock_power, clock_hops = looked(np.concatenate([[0], np.cumsum(tracks.clock)]), edge_s, code.burst_s - edge_s)
    power, hops = looked(np.concatenate([[0], np.cumsum(tracks.data)]), edge_s - code.lead_s, code.burst_s - edge_s)
    # Power of one hop of steady tone, from the clocks heard around each step.
    tone = clock_power / (looks * clock_hops**2) - tracks.clock_noise[nearest] / clock_hops
    heard = train.heard.ravel() & known
    tone = np.where(heard, tone, np.median(tone[heard if heard.any() else known]))
    tone = np.maximum(median_filter(tone, 9, mode="nearest"), 1e-30)
    noise = tracks.data_noise[nearest]
    ratio = _balance((power / (looks * hops**2) - noise / hops) / tone, known)
    gain = ratio * tone * looks * hops / noise
    told = tone_against_silence(power / (hops * noise), gain, looks)
    swallowed = np.where(heard, SWALLOWED, SWALLOWED_WITH_CLOCK)
    values = np.logaddexp(np.log1p(-swallowed) + np.minimum(told, CERTAIN), np.log(swallowed))
    values = np.where(known, np.clip(values, -CERTAIN, CERTAIN), 0.0)
    times_s = (places + 0.5 * code.burst_s * pace) * tracks.hop_s
    values, times_s = values.reshape(-1, 8), times_s.reshape(-1, 8)
    if code.bit_order == "lsb":
        values, times_s = values[:, ::-1], times_s[:, ::-1]
    return SoftBits(values.ravel(), times_s.ravel(), _events(tracks, train))


def _balance(shares: Array, known: NDArray[np.bool_]) -> float:
    """Power of the data track's ones re the clock track's bursts; 1 if there seem to be no ones."""
    shares = shares[known]
    ones = shares[shares > 0.1]
    if ones.size == 0:
        return 1.0
    high = float(np.quantile(ones, 0.75))
    return float(np.median(ones[ones > 0.25 * high]))


def _events(tracks: Tracks, train: Train) -> tuple[Event, ...]:
    noticed = []
    if train.start is not None:
        at = min(max(0, round(train.start)), tracks.pace.size - 1)
        percent = 100.0 * (1.0 / (tracks.pace[at] * tracks.hop_s) - 1.0)
        noticed.append(Event(f"clock starts, tape speed {percent:+.2f} %", train.start * tracks.hop_s))
    noticed += [Event("clock lost, put in from the cadence", at * tracks.hop_s) for at in train.lost]
    noticed += [Event("cadence broken, byte given up", at * tracks.hop_s) for at in train.broken]
    if train.end is not None:
        noticed.append(
            Event("end mark" if train.ended else "clock stops without an end mark", train.end * tracks.hop_s)
        )
    return tuple(sorted(noticed, key=lambda event: event.time_s or 0.0))
