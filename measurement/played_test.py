"""The figures of a capture that holds the test recording."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from .carrier_losses import HALF_WIDTH_HZ as LOSS_HALF_WIDTH_HZ
from .carrier_losses import REFERENCE_S, Loss, LossSeries, contact_blocks, contact_fluctuation, loss_series, losses
from .coat_noise import modulation_noise, print_through
from .collected import Collected, Traces
from .distortion import CLIPS, high_frequency_limit, ladders, third_harmonic
from .dropout_figures import dropout_findings
from .expected import TWO_TRACK_FIGURES
from .figures import Figure, Missing
from .flutter_meter import Waver, tone_on, waver
from .layout import CARRIER_HZ, FLUTTER_HZ, LIMIT_HZ, LINE_UP_HZ, Section, sections
from .levels import capture_level, full_scale_db, level_difference, noise_findings, response_curve, separation
from .playing import Playing
from .response import Responses, responses
from .silence import Noise, noise
from .skew import skew_series, unmixed, wander_level_square
from .tone import baseband
from .transport import LINE_UP_BLOCK_S, flutter, noise_share, skew, speed_error

_QUIET_GUARD_S = 0.2
_SPOILED = (("dropouts", "per_minute"), ("modulation_noise", "db"), ("print_through", "db"))
"""What a clipped carrier does not show."""


STEPS = 10
"""About equally long ones; the first of them is past when the recording has been found in the capture."""


def with_test(play: Playing, watch: Callable[[int, int], None] = lambda done, of: None) -> Collected:
    """Everything that a play of the test recording gives.

    Args:
        watch: told how many of ``STEPS`` are past.
    """
    got = Collected()
    watch(1, STEPS)
    quiet = _quiet(play)
    response = responses(play, quiet)
    if play.swapped:
        got.notes.append("the tracks came swapped: the left one is on the right channel")
    _levels(play, quiet, response, got)
    watch(2, STEPS)
    _carriers(play, quiet, response, got, watch)
    watch(9, STEPS)
    _loud(play, response, got)
    return got


def _quiet(play: Playing) -> tuple[Noise, Noise] | None:
    span = play.span(sections("silence")[0], _QUIET_GUARD_S)
    if span is None:
        return None
    one, other = (noise(row[slice(*span)], play.signal.sample_rate_hz) for row in play.samples)
    return (one, other) if one is not None and other is not None else None


def _levels(play: Playing, quiet: tuple[Noise, Noise] | None, response: Responses, got: Collected) -> None:
    for track, name in enumerate(play.tracks):
        reference = full_scale_db(play, response, track)
        if reference is not None:
            got.findings.append(capture_level(reference, name))
        if quiet is not None:
            got.findings += noise_findings(quiet[track], name, reference)
        got.findings.append(response_curve(response, track, name))
    if play.mono:
        got.findings += [Missing(name, "both tracks of the capture carry the same sound") for name in TWO_TRACK_FIGURES]
    else:
        got.findings += separation(response)
        got.findings.append(level_difference(play, response))


def _carriers(
    play: Playing,
    quiet: tuple[Noise, Noise] | None,
    response: Responses,
    got: Collected,
    watch: Callable[[int, int], None],
) -> None:
    rate = play.signal.sample_rate_hz
    wavers: list[Waver] = []
    pairs, skews, listened = [], [], []
    dropouts: list[list[Loss]] = [[] for _ in play.tracks]
    steady: list[list[LossSeries]] = [[] for _ in play.tracks]
    contact: list[float] = []
    near_us = 1e6 * float(np.median(play.located.skews_s)) * (-1 if play.swapped else 1)
    for number, section in enumerate(sections("carrier")):
        watch(2 + 3 * number, STEPS)
        span = _held(play, section)
        if span is None:
            continue
        pair = tone_on(play.samples, rate, FLUTTER_HZ * play.located.speed, *span)
        pairs.append(pair)
        wavers.append(waver(pair))
        if not play.mono:
            leak = response.leak_at(FLUTTER_HZ)
            skews.append(skew_series(pair[0], pair[1], leak, near_us, opposite=play.opposite))
        listened.append((span[0] / rate, span[1] / rate))
        by_carrier = _loss_series(play, response, quiet, span)
        if by_carrier:
            high = by_carrier[-1]
            low = by_carrier[0] if len(by_carrier) == 2 else [None] * len(high)
            for track, one in enumerate(by_carrier[0]):
                steady[track].append(one)
            for track, found in enumerate(dropouts):
                found += losses(low[track], high[track], track)
            if not play.mono:
                contact += contact_blocks(high[0], high[1], [loss for found in dropouts for loss in found])
    watch(8, STEPS)
    if not wavers:
        line_up = play.step(sections("line_up")[0], LINE_UP_HZ)
        if line_up is not None:
            got.findings.append(speed_error([waver(line_up)], LINE_UP_HZ, LINE_UP_BLOCK_S))
        return
    got.findings.append(speed_error(wavers, FLUTTER_HZ))
    told = flutter(wavers, noise_share(pairs))
    got.findings += told.findings
    got.lines = told.lines
    if not play.mono:
        got.findings += skew(skews, FLUTTER_HZ, response.leak_error_at(FLUTTER_HZ))
    minutes = sum(end - start for start, end in listened) / 60
    if any(play.clips(section) for section in sections("carrier")):
        unseen = (
            *(f"{one}_{track}_{unit}" for one, unit in _SPOILED for track in play.tracks),
            "contact_fluctuation_um",
        )
        got.findings += [Missing(name, CLIPS) for name in unseen]
        dropouts = [[] for _ in play.tracks]
        listened = []
    else:
        got.findings += dropout_findings(dropouts, play.tracks, minutes)
        rms_percent = float(np.sqrt(np.mean([np.mean(one.percent**2) for one in wavers])))
        for track, name in enumerate(play.tracks):
            if quiet is not None:
                got.findings.append(modulation_noise(steady[track], dropouts[track], name))
            echo = print_through(play, quiet, track, name, rms_percent)
            if echo is not None:
                got.findings.append(echo)
        carrier_hz = CARRIER_HZ[1] * play.located.speed
        leaning = wander_level_square(skews, carrier_hz, REFERENCE_S)
        got.findings.append(contact_fluctuation(contact, carrier_hz, leaning))
    got.traces = Traces(
        tuple(wavers),
        told.spectrum,
        tuple(tuple(found) for found in dropouts),
        tuple(listened),
        play.tracks,
        play.signal.duration_s,
    )


def _held(play: Playing, section: Section) -> tuple[int, int] | None:
    """The part of a carrier that the capture holds, if that is more than 10 s."""
    rate = play.signal.sample_rate_hz
    start = max(0, int((play.located.at(section.start_s) + 0.1) * rate))
    stop = min(play.signal.frames, int((play.located.at(section.end_s) - 0.1) * rate))
    return (start, stop) if stop - start > 10 * rate else None


def _loss_series(
    play: Playing, response: Responses, quiet: tuple[Noise, Noise] | None, span: tuple[int, int]
) -> list[list[LossSeries]]:
    """The losses of each carrier in reach, on each track."""
    rate = play.signal.sample_rate_hz
    by_carrier = []
    for carrier_hz in CARRIER_HZ:
        if carrier_hz * play.located.speed + LOSS_HALF_WIDTH_HZ > rate / 2:
            continue
        heard = [
            baseband(row, rate, carrier_hz * play.located.speed, LOSS_HALF_WIDTH_HZ, *span)
            for row in play.samples[: len(play.tracks)]
        ]
        values: Sequence[NDArray[np.complex128]] = [one.values for one in heard]
        if not play.mono:
            values = unmixed(values[0], values[1], response.leak_at(carrier_hz))
        noises = [0.0, 0.0] if quiet is None else [2 * one.density_at(carrier_hz) * heard[0].noise_hz for one in quiet]
        by_carrier.append(
            [
                loss_series(one, heard[0].rate_hz, heard[0].centre_hz, heard[0].start_s, noise, heard[0].noise_hz)
                for one, noise in zip(values, noises, strict=False)
            ]
        )
    return by_carrier


def _loud(play: Playing, response: Responses, got: Collected) -> None:
    middle = ladders(play, "ladder", response)
    top = ladders(play, "limit_ladder", response)
    for track, name in enumerate(play.tracks):
        if not middle:
            continue
        found = third_harmonic(middle[track], name)
        got.findings += found
        full = found[-1]
        assert isinstance(full, Figure | Missing)
        if top:
            got.findings += high_frequency_limit(top[track], middle[track], full, name)
        elif play.highest_hz < LIMIT_HZ * play.located.speed:
            reason = "the capture's sample rate does not reach 10 kHz"
            got.findings.append(Missing(f"limit_at_10_khz_re_3_percent_level_{name}_db", reason))
