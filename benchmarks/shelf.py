"""The shelf: recordings made once for each codec and kept while they fit."""

from __future__ import annotations

from collections import OrderedDict
from threading import Lock

from ..contracts.codec import Codec
from ..contracts.signal import Signal


class Shelf:
    """Recordings of one program. Safe to use from several threads.

    Args:
        program: the payload.
        sample_rate_hz: of the recordings.
        most_bytes: recordings beyond this are let go, the longest unused first; one that is larger never stands here.
    """

    def __init__(self, program: bytes, sample_rate_hz: int, most_bytes: int) -> None:
        self.program = program
        self._sample_rate_hz = sample_rate_hz
        self._most_bytes = most_bytes
        self._kept: OrderedDict[str, Signal] = OrderedDict()
        self._being_made: dict[str, Lock] = {}
        self._lock = Lock()

    def tape(self, codec: Codec) -> Signal:
        """The recording by ``codec``, made now unless it stands on the shelf."""
        name = codec.spec
        with self._lock:
            making = self._being_made.setdefault(name, Lock())
        with making:
            with self._lock:
                if name in self._kept:
                    self._kept.move_to_end(name)
                    return self._kept[name]
            tape = codec.encode(self.program, self._sample_rate_hz)
            if tape.samples.nbytes <= self._most_bytes:
                with self._lock:
                    self._kept[name] = tape
                    while sum(kept.samples.nbytes for kept in self._kept.values()) > self._most_bytes:
                        self._kept.popitem(last=False)
            return tape
