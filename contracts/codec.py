"""A codec is a stack: layers over one line code.

``decode`` is total and returns a ``Decoded``; what came out wrong is a result, not an exception.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from . import bits as bytes_and_bits
from .bearable import NOTHING
from .decoded import Decoded, Event
from .errors import UsageError
from .layer import Layer
from .line_code import NEEDS, LineCode
from .merging import merged
from .play import heard_play
from .signal import Signal, whole_rate
from .soft_bits import LOST, SoftBits
from .spec import format_stack

MOST_PAYLOAD_BYTES = 1 << 20

FORMAT_VERSION = 1
"""Written on labels and into recordings; goes up when a default changes or a format means something else."""


@dataclass(frozen=True)
class Codec:
    """Layers, the outermost first, over a line code.

    Args:
        layers: outermost first.
        line_code: what makes the sound.
    """

    layers: tuple[Layer, ...]
    line_code: LineCode

    @property
    def plug_ins(self) -> tuple[Layer | LineCode, ...]:
        """All members in the order of the spec."""
        return (*self.layers, self.line_code)

    @cached_property
    def spec(self) -> str:
        """The canonical spec, with every default written out."""
        return format_stack(self.plug_ins)

    def __str__(self) -> str:
        return self.spec

    @property
    def needs(self) -> str:
        """The least decoder (relays, microcontroller or computer)."""
        return max((member.needs for member in self.plug_ins), key=NEEDS.index)

    @property
    def tolerates(self) -> frozenset[str]:
        """What the format lives with (polarity, swapped_tracks)."""
        return self.line_code.tolerates.union(*(layer.restores for layer in self.layers))

    @property
    def lies_at_most(self) -> float | None:
        """Chance that a damaged load of one play is called intact, at most; None if the outermost layer has none."""
        return self.layers[0].lies_at_most if self.layers else None

    def coded_bits(self, payload_bytes: int) -> int:
        """Bits on the tape for a payload of that size."""
        bits = 8 * payload_bytes
        for layer in self.layers:
            bits = layer.coded_bits(bits)
        return bits

    def duration_s(self, payload_bytes: int) -> float:
        """Length of the recording in seconds, leader and all overhead included."""
        return self.line_code.duration_s(self.coded_bits(payload_bytes))

    def guaranteed_burst_ms(self, payload_bytes: int) -> float:
        """The longest dropout of both tracks that costs nothing, wherever it falls, if there is no other; 0 if none is
        promised.
        """
        bits, bearable = 8 * payload_bytes, NOTHING
        for layer in self.layers:
            bearable = layer.bearable(bits, bearable)
            bits = layer.coded_bits(bits)
        return 1000.0 * self.line_code.bearable_s(bearable.bits)

    def encode(self, payload: bytes, sample_rate_hz: int = 44_100) -> Signal:
        """The recording of ``payload``.

        Raises:
            UsageError: a payload of more than 1 MiB, or a sample rate that is out of range or too low for the format.
        """
        if len(payload) > MOST_PAYLOAD_BYTES:
            raise UsageError(f"Argument 'payload' must be at most {MOST_PAYLOAD_BYTES} bytes, not {len(payload)}.")
        rate_hz = whole_rate(sample_rate_hz)
        return self.line_code.modulate(self.line_bits(payload), rate_hz)

    def line_bits(self, payload: bytes) -> bytes_and_bits.Bits:
        """What the line code is given to put on the tape."""
        bits = bytes_and_bits.from_bytes(payload)
        for layer in self.layers:
            bits = layer.encode(bits)
        return bits

    def decode(self, *signals: Signal) -> Decoded:
        """The payload as heard in one play, or in several plays of the same tape together. Never raises."""
        return self.read(tuple(self.line_code.demodulate(signal) for signal in signals))

    def read(self, passes: tuple[SoftBits, ...]) -> Decoded:
        """The payload in bits that somebody has demodulated already: a receiver with hardware of its own, say."""
        plays = tuple(heard_play(self.line_code, heard) for heard in passes)
        events = [
            event if len(passes) == 1 else Event(f"play {number}: {event.what}", event.time_s)
            for number, heard in enumerate(passes, 1)
            for event in heard.events
        ]
        intact: bool | None = None
        for layer in reversed(self.layers):
            heard = layer.decode(passes)
            passes = heard.passes
            events.extend(heard.events)
            if heard.verdict is not None:
                intact = heard.verdict
        best = merged(passes)
        whole = len(best) - len(best) % 8
        # Eight bits at once by pairs and as one number: a reduction over so short an axis takes ten times as long.
        times = best.times_s[:whole]
        for _ in range(3):
            times = times[0::2] + times[1::2]
        unknown = (np.abs(best.values[:whole]) <= LOST).view(np.uint64)
        return Decoded(
            payload=bytes_and_bits.to_bytes(best.bits),
            intact=intact,
            lost=tuple(int(place) for place in np.flatnonzero(unknown)),
            events=tuple(events),
            times_s=tuple((times / 8).tolist()),
            plays=plays,
        )
