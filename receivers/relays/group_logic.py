"""Group logic: what the contacts of the bit latches make of a group: the byte that the data bus shows, and an alarm.

A layer that widens a group (a parity bit, three copies) has no memory of its own in a machine: it is a network of
contacts, whose output follows the latches. So its ``decode`` of one group is the network's truth table.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ...contracts.layer import Layer
from ...contracts.relay_cost import AlarmingLayer
from ...contracts.soft_bits import SoftBits


@dataclass(frozen=True, slots=True)
class GroupLogic:
    """The networks of one machine.

    Attributes:
        layers: outermost first.
        least_first: the bits of a group are heard from its last to its first, and wired so.
    """

    layers: tuple[Layer, ...] = ()
    least_first: bool = False

    def bits(self, heard: tuple[int, ...]) -> tuple[int, ...]:
        """The byte shown for latches that stand at ``heard``, most significant bit first."""
        return _read(self.layers, heard[::-1] if self.least_first else heard)[0]

    def byte(self, heard: tuple[int, ...]) -> int:
        """The same as a number."""
        return int("".join(map(str, self.bits(heard))), 2)

    def alarms(self, heard: tuple[int, ...]) -> bool:
        """Whether the chain feeds the alarm relay."""
        return _read(self.layers, heard[::-1] if self.least_first else heard)[1]

    @property
    def stops(self) -> bool:
        """Whether the alarm relay opens the clock's feed."""
        return any(isinstance(layer, AlarmingLayer) and layer.stop for layer in self.layers)


@lru_cache(maxsize=1 << 14)
def _read(layers: tuple[Layer, ...], group: tuple[int, ...]) -> tuple[tuple[int, ...], bool]:
    passes: tuple[SoftBits, ...] = (SoftBits.certain(np.array(group, np.uint8)),)
    alarm = False
    for layer in reversed(layers):
        heard = layer.decode(passes)
        passes = heard.passes
        alarm = alarm or heard.verdict is False
    return tuple(passes[0].bits.tolist()), alarm
