"""Eventful: a channel model whose damage comes as events, so that the rare and grave ones can be drawn on purpose.

Law: the number of arrivals that a tape meets is Poisson with mean ``mean_arrivals``; given their number they fall
evenly and independently into ``span_s``, and what comes with one (a dropout, or a cluster of them) does not depend on
where. ``arrive`` draws that, with the law of each event tilted towards graver ones by ``severity``, 0 being the law
itself; ``log_ratio`` is the logarithm of how much likelier the tilt makes it, so that a weight of its inverse takes the
tilt back. What ``treat`` does with a generator is what ``strike`` does with arrivals so drawn, at severity 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray


@runtime_checkable
class Eventful(Protocol):
    """A ``Treatment`` that offers its events. See the module's text."""

    def span_s(self, duration_s: float) -> tuple[float, float]:
        """Between which times an arrival may touch a tape of ``duration_s`` seconds; may begin before the tape."""

    def mean_arrivals(self, duration_s: float) -> float:
        """Expected number of arrivals in ``span_s``."""

    def arrive(self, start_s: float, severity: float, rng: np.random.Generator) -> tuple[Any, ...]:
        """The events of the arrival at ``start_s``."""

    def log_ratio(self, events: Sequence[Any], severity: float) -> float:
        """Logarithm of the density of one arrival's events under the tilt re their own law."""

    def strike(self, samples: NDArray[np.float32], sample_rate_hz: int, events: Sequence[Any]) -> None:
        """What the events of all arrivals do to both tracks, shape (2, frames), in place."""
