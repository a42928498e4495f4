"""What a measurement gathers on its way: findings, notes, and the traces that pictures show."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

from .carrier_losses import Loss
from .figures import Finding
from .flutter_meter import Waver, weighted
from .mechanics import FlutterLine, WaverSpectrum

_DRAWN_HZ = 50


@dataclass(frozen=True, slots=True, eq=False)
class Traces:
    """What pictures show and a profile does not hold.

    Attributes:
        wavers: frequency of the test tone along each stretch.
        spectrum: of wow and flutter.
        dropouts: those of each track.
        listened: (start, end) in seconds of each stretch in which dropouts were looked for.
        tracks: names of the tracks that ``dropouts`` tells of.
        duration_s: of the capture.
    """

    wavers: tuple[Waver, ...] = ()
    spectrum: WaverSpectrum | None = None
    dropouts: tuple[tuple[Loss, ...], ...] = ()
    listened: tuple[tuple[float, float], ...] = ()
    tracks: tuple[str, ...] = ()
    duration_s: float = 0.0

    def to_json(self) -> dict[str, Any]:
        """Plain values for pictures: the weighted deviation fifty times a second, the spectrum to 200 Hz."""
        flutter = []
        for one in self.wavers:
            every = max(1, round(one.rate_hz / _DRAWN_HZ))
            percent = weighted(one)
            times_s = one.times_s[one.percent.size - percent.size :]
            flutter.append({"times_s": times_s[::every].tolist(), "percent": percent[::every].tolist()})
        spectrum = None
        if self.spectrum is not None:
            drawn = self.spectrum.hz >= 0.2
            percent = np.sqrt(self.spectrum.power[drawn] * self.spectrum.hz[1])
            spectrum = {"hz": self.spectrum.hz[drawn].tolist(), "percent": percent.tolist()}
        return {
            "flutter": flutter,
            "spectrum": spectrum,
            "dropouts": [[asdict(loss) for loss in found] for found in self.dropouts],
            "tracks": list(self.tracks),
            "listened": [list(span) for span in self.listened],
            "duration_s": self.duration_s,
        }


@dataclass(slots=True)
class Collected:
    """Findings as they come in."""

    findings: list[Finding] = field(default_factory=list)
    lines: tuple[FlutterLine, ...] = ()
    notes: list[str] = field(default_factory=list)
    traces: Traces = field(default_factory=Traces)
