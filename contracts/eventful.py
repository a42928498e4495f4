"""Eventful: a channel model whose damage comes as events, so that the rare and grave ones can be drawn on purpose.

Law: the number of arrivals that a tape meets is Poisson with mean ``mean_arrivals``, and given their number they are
independent and alike (an arrival may bring several events, a cluster). ``arrive`` draws so many with the law of each
event tilted towards graver ones by ``severity``, 0 being the law itself; ``log_ratio`` is the logarithm of how much
likelier the tilt makes these events, so that a weight of its inverse takes the tilt back. What ``treat`` does with a
generator is what ``strike`` does with as many arrivals as Poisson's law gives, at severity 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray


@runtime_checkable
class Eventful(Protocol):
    """A ``Treatment`` that offers its events. See the module's text."""

    def mean_arrivals(self, duration_s: float) -> float:
        """Expected number of arrivals of which a tape of ``duration_s`` seconds may be touched."""

    def arrive(self, arrivals: int, duration_s: float, severity: float, rng: np.random.Generator) -> tuple[Any, ...]:
        """The events of so many arrivals, in no order; those that do not touch the tape may be among them."""

    def log_ratio(self, events: Sequence[Any], severity: float) -> float:
        """Logarithm of the events' density under the tilt re their own law."""

    def strike(self, samples: NDArray[np.float32], sample_rate_hz: int, events: Sequence[Any]) -> None:
        """What the events do to both tracks, shape (2, frames), in place."""
