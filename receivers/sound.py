"""The default receiver: a sound input that hears the capture as it is and runs the codec's own decoder."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..contracts.codec import Codec
from ..contracts.decoded import Decoded, Event
from ..contracts.receiver import Receiver
from ..contracts.signal import Signal

GOOD = 0.8
"""What is so much like a load of its format is read as it stands."""

BETTER = 0.2
"""By how much the tracks exchanged must be more like it."""

ORDINARY_EVENTS = 4
"""Start, speed and end are noticed in the best of plays."""


@dataclass(frozen=True)
class Sound(Receiver):
    """A computer or microcontroller at a sound input."""

    name = "sound"
    summary = "A sound input and the codec's own decoder."

    def receive(self, codec: Codec, signals: tuple[Signal, ...], rng: np.random.Generator) -> Decoded:
        """See ``Receiver``; nothing is drawn from ``rng``.

        Where the format has a left and a right track and little is heard so, the tracks are tried the other way round.
        """
        decoded = codec.decode(*signals)
        if decoded.intact or "swapped_tracks" in codec.tolerates or not signals or _likeness(decoded) >= GOOD:
            return decoded
        exchanged = codec.decode(*(Signal(signal.samples[::-1], signal.sample_rate_hz) for signal in signals))
        if not exchanged.intact and _likeness(exchanged) < _likeness(decoded) + BETTER:
            return decoded
        return replace(exchanged, events=(Event("left and right are exchanged: read so"), *exchanged.events))


def _likeness(decoded: Decoded) -> float:
    """How much this is like a load of its format: the evidence of its plays, less what was noticed a bit."""
    bits = sum(play.bits for play in decoded.plays)
    evidence = max((play.evidence for play in decoded.plays), default=0.0)
    return evidence - max(len(decoded.events) - ORDINARY_EVENTS * len(decoded.plays), 0) / max(bits, 1)
