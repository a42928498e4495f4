"""The figures that any capture gives, without the test recording: noise, and what a steady tone tells."""

from __future__ import annotations

import numpy as np

from ..contracts.signal import Signal
from .carrier_losses import HALF_WIDTH_HZ as LOSS_HALF_WIDTH_HZ
from .carrier_losses import Loss, loss_series, losses
from .collected import Collected, Traces
from .dropout_figures import dropout_findings
from .expected import TONE_FIGURES, of_tracks
from .figures import Missing
from .flutter_meter import tone_on, waver
from .levels import noise_findings
from .playing import TRACKS
from .silence import noise
from .steady_sound import quietest, steady_tone
from .tone import baseband
from .transport import flutter, noise_share

NO_TEST = "the capture does not hold the test recording (three of its marks, or two with what belongs between them)"


def without_test(signal: Signal) -> Collected:
    """Everything that a capture without the test recording gives."""
    got = Collected()
    got.notes.append(f"{NO_TEST}: what follows is what any capture gives")
    rows = signal.samples
    mono = bool(np.array_equal(rows[0], rows[1]))
    names = ("mono",) if mono else TRACKS
    quiet_span = quietest(signal)
    for track, name in enumerate(names):
        heard = noise(rows[track][slice(*quiet_span)], signal.sample_rate_hz) if quiet_span else None
        if heard is None:
            unheard = (f"noise_{name}_db", f"noise_a_{name}_db", f"hum_{name}_db")
            got.findings += [Missing(one, "there is no quiet stretch of two seconds") for one in unheard]
        else:
            got.findings += noise_findings(heard, name, None)
    if quiet_span:
        where = quiet_span[0] / signal.sample_rate_hz
        got.notes.append(f"noise was read in the quietest stretch, from {where:.1f} s on; it may not be the tape's")
    tone = steady_tone(signal)
    if tone is None:
        reason = "there is no steady tone of 20 s"
        got.findings += [Missing(one, reason) for name in TONE_FIGURES for one in of_tracks(name, names)]
        return got
    tracks = tone.tracks[:1] if mono else tone.tracks
    pair = tone_on(signal.samples[list(tracks)], signal.sample_rate_hz, tone.hz, tone.start, tone.stop)
    heard_tone = waver(pair)
    told = flutter([heard_tone], noise_share([pair]))
    got.findings += told.findings
    got.lines = told.lines
    span = (tone.start / signal.sample_rate_hz, tone.stop / signal.sample_rate_hz)
    got.notes.append(f"a steady tone of {heard_tone.mean_hz:.1f} Hz from {span[0]:.1f} to {span[1]:.1f} s is measured")
    found: list[list[Loss]] = []
    width_hz = min(LOSS_HALF_WIDTH_HZ, tone.hz / 4)
    tracks_told = names if mono else tuple(TRACKS[track] for track in tracks)
    for track, row in enumerate(signal.samples[list(tracks)]):
        one = baseband(row, signal.sample_rate_hz, tone.hz, width_hz, tone.start, tone.stop)
        series = loss_series(one.values, one.rate_hz, heard_tone.mean_hz, one.start_s)
        found.append(losses(None, series, track))
    got.findings += dropout_findings(found, tracks_told, (span[1] - span[0]) / 60)
    if len(tracks) == 1 and not mono:
        silent = [f"dropouts_{name}_per_minute" for name in TRACKS if name not in tracks_told]
        reason = f"the steady tone is on the {tracks_told[0]} track only"
        got.findings += [Missing(name, reason) for name in (*silent, "dropouts_on_both_share")]
    each = tuple(tuple(one) for one in found)
    got.traces = Traces((heard_tone,), told.spectrum, each, (span,), tracks_told, signal.duration_s)
    return got
