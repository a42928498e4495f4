"""The figures that any capture gives, without the test recording: noise, and what a steady tone tells."""

from __future__ import annotations

from ..contracts.signal import Signal
from .carrier_losses import HALF_WIDTH_HZ as LOSS_HALF_WIDTH_HZ
from .carrier_losses import Loss, loss_series, losses
from .collected import Collected, Traces
from .dropout_figures import dropout_findings
from .figures import Missing
from .flutter_meter import tone_on, waver
from .levels import noise_findings
from .played_test import TWO_TRACK_FIGURES
from .playing import TRACKS
from .silence import noise
from .steady_sound import quietest, steady_tone
from .tone import baseband
from .transport import flutter, noise_share

TEST_FIGURES = ("speed_error_percent", "three_percent_level_db", "limit_at_10_khz_db", "response_db")
"""Figures that need the test recording, whatever the number of tracks."""

_NO_TEST = "the capture does not hold the test recording (three of its marks or more)"


def without_test(signal: Signal) -> Collected:
    """Everything that a capture without the test recording gives."""
    got = Collected()
    got.notes.append(f"{_NO_TEST}: what follows is what any capture gives")
    got.findings += [Missing(name, _NO_TEST) for name in (*TEST_FIGURES, *TWO_TRACK_FIGURES)]
    rows = signal.samples
    quiet_span = quietest(signal)
    for track, name in enumerate(TRACKS):
        heard = noise(rows[track][slice(*quiet_span)], signal.sample_rate_hz) if quiet_span else None
        if heard is None:
            got.findings.append(Missing(f"noise_{name}_db", "there is no quiet stretch of two seconds"))
        else:
            got.findings += noise_findings(heard, name, None)
    if quiet_span:
        where = quiet_span[0] / signal.sample_rate_hz
        got.notes.append(f"noise was read in the quietest stretch, from {where:.1f} s on; it may not be the tape's")
    tone = steady_tone(signal)
    if tone is None:
        reason = "there is no steady tone of 20 s"
        names = ("flutter_weighted_percent", "flutter_unweighted_percent", "dropouts_per_minute")
        got.findings += [Missing(name, reason) for name in names]
        return got
    tracks = tone.tracks
    pair = tone_on(signal.samples[list(tracks)], signal.sample_rate_hz, tone.hz, tone.start, tone.stop)
    heard_tone = waver(pair)
    told = flutter([heard_tone], noise_share([pair]))
    got.findings += told.findings
    got.lines = told.lines
    span = (tone.start / signal.sample_rate_hz, tone.stop / signal.sample_rate_hz)
    got.notes.append(f"a steady tone of {heard_tone.mean_hz:.1f} Hz from {span[0]:.1f} to {span[1]:.1f} s is measured")
    found: list[list[Loss]] = []
    width_hz = min(LOSS_HALF_WIDTH_HZ, tone.hz / 4)
    tracks_told = tuple(TRACKS[track] for track in tracks)
    for track, row in enumerate(signal.samples[list(tracks)]):
        one = baseband(row, signal.sample_rate_hz, tone.hz, width_hz, tone.start, tone.stop)
        series = loss_series(one.values, one.rate_hz, heard_tone.mean_hz, one.start_s)
        found.append(losses(None, series, track))
    got.findings += dropout_findings(found, tracks_told, (span[1] - span[0]) / 60)
    each = tuple(tuple(one) for one in found)
    got.traces = Traces((heard_tone,), told.spectrum, each, (span,), tracks_told, signal.duration_s)
    return got
