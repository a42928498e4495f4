"""A receiver: listens through a gain that is drawn anew for each tape."""

from dataclasses import dataclass

from tapewright.contracts.receiver import Receiver
from tapewright.contracts.signal import Signal


@dataclass(frozen=True)
class SecondEar(Receiver):
    """A sound input whose level nobody set."""

    name = "second_ear"
    summary = "A sound input at a level left to chance."

    def receive(self, codec, signals, rng):
        gain = rng.uniform(0.7, 1.0)
        return codec.decode(*(Signal(signal.samples * gain, signal.sample_rate_hz) for signal in signals))
