"""The default receiver: a sound input that hears the capture as it is and runs the codec's own decoder."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..contracts.codec import Codec
from ..contracts.decoded import Decoded
from ..contracts.receiver import Receiver
from ..contracts.signal import Signal


@dataclass(frozen=True)
class Sound(Receiver):
    """A computer or microcontroller at a sound input."""

    name = "sound"
    summary = "A sound input and the codec's own decoder."

    def receive(self, codec: Codec, signals: tuple[Signal, ...], rng: np.random.Generator) -> Decoded:
        """See ``Receiver``; nothing is drawn from ``rng``."""
        return codec.decode(*signals)
