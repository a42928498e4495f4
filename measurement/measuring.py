"""A capture becomes a profile."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..contracts.errors import TargetNotMet
from ..contracts.signal import Signal
from .any_capture import NO_TEST, without_test
from .channel_spec import channel_spec
from .collected import Collected, Traces
from .expected import OUT_OF_REACH, expected
from .figures import Curve, Figure, Histogram, Missing
from .layout import LAYOUT_VERSION
from .played_test import with_test
from .playing import TRACKS, Playing, clipped_share, playing
from .profile import Profile

CLIPPED_SHARE = 1e-4
"""More of the frames at the largest value than this is clipping, not chance."""

_LEAST_S = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Measurement:
    """A profile and the traces behind it."""

    profile: Profile
    traces: Traces


def measure(
    signal: Signal,
    source: str = "",
    one_track: bool = False,
    watch: Callable[[int, int], None] = lambda done, of: None,
) -> Measurement:
    """Everything that ``signal`` says of the deck and the tape that it came from.

    Args:
        source: name of the capture, for the profile.
        one_track: whether the file held one track only, which was laid on both.
        watch: told how many steps of how many are past, where the capture holds the test recording.

    Raises:
        TargetNotMet: nothing can be measured at all: too short, or nothing but digital silence.
    """
    if signal.duration_s < _LEAST_S:
        raise TargetNotMet(
            f"nothing can be measured: the capture is {signal.duration_s:.2f} s long and {_LEAST_S:g} s are needed."
        )
    if not signal.samples.any():
        raise TargetNotMet("nothing can be measured: the capture holds nothing but zeros.")
    play = playing(signal)
    got = without_test(signal) if play is None else with_test(play, watch)
    clipped = max(clipped_share(row, float(np.abs(row).max())) for row in signal.samples)
    if clipped > CLIPPED_SHARE:
        got.notes.append(
            f"{100 * clipped:.2g} % of the samples stand at the largest value: the sound input clips, so levels, "
            "harmonics and noise are not the deck's own; set it lower and capture again"
        )
    mono = one_track or (play is not None and play.mono)
    if mono:
        got.notes.append("one track only: figures that compare two tracks are not measured")
    provenance: dict[str, str | int | float | bool] = {
        "source": source,
        "capture_s": round(signal.duration_s, 3),
        "sample_rate_hz": signal.sample_rate_hz,
        "test_recording": play is not None,
        "layout_version": LAYOUT_VERSION,
    }
    if play is not None:
        provenance |= {
            "tracks_swapped": play.swapped,
            "polarity_of_tracks_differs": play.opposite and not play.mono,
            "marks_found": len(play.located.marks_s),
        }
        if play.inverted is not None:
            provenance["polarity_inverted"] = play.inverted
    _tell_the_rest(got, play, bool(np.array_equal(signal.samples[0], signal.samples[1])))
    figures = tuple(one for one in got.findings if isinstance(one, Figure))
    curves = tuple(one for one in got.findings if isinstance(one, Curve))
    profile = Profile(
        spec=channel_spec(figures, curves, got.lines, inverted=play is not None and bool(play.inverted)),
        provenance=provenance,
        figures=figures,
        missing=tuple(one for one in got.findings if isinstance(one, Missing)),
        curves=curves,
        histograms=tuple(one for one in got.findings if isinstance(one, Histogram)),
        lines=got.lines,
        notes=tuple(got.notes),
    )
    if not figures:
        reason = (
            "there is no test recording, no steady tone and no quiet moment"
            if play is None
            else "the capture holds too little of the test recording"
        )
        raise TargetNotMet(f"nothing can be measured: {reason}.")
    return Measurement(profile, got.traces)


def _tell_the_rest(got: Collected, play: Playing | None, alike: bool) -> None:
    """Every figure of a whole capture that was neither found nor explained is said to be missing, and why."""
    told = {one.name for one in got.findings}
    for name, part in expected(play.tracks if play is not None else ("mono",) if alike else TRACKS):
        if name not in told:
            reason = NO_TEST if play is None else f"the capture does not hold {part} of the test recording"
            got.findings.append(Missing(name, reason))
    got.findings += [Missing(name, reason) for name, reason in OUT_OF_REACH.items()]
