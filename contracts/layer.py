"""A layer turns bits into other bits and back: checks, correction, framing, interleaving.

``decode`` gets a tuple because several plays or copies of a tape may be given. A layer that can align them combines
them by confidence and hands on fewer; any other maps each. That is merging.

Laws: ``decode(encode(bits))`` gives ``bits`` first; ``len(encode(bits)) == coded_bits(len(bits))``; ``decode`` is
total. A corrector re-checks its own result; what it could not correct keeps its signs with magnitude <= ``LOST``.
"""

from __future__ import annotations

from abc import abstractmethod
from dataclasses import dataclass
from typing import ClassVar

from .bearable import NOTHING, Bearable
from .bits import Bits
from .decoded import Event
from .plug_in import PlugIn
from .soft_bits import SoftBits


@dataclass(frozen=True)
class Heard:
    """What a layer makes of what it was given.

    Attributes:
        passes: soft bits for the layer above, one entry a play that could not be merged.
        verdict: True or False from a layer that checks; None from one that does not.
        events: what was noticed.
    """

    passes: tuple[SoftBits, ...]
    verdict: bool | None = None
    events: tuple[Event, ...] = ()


@dataclass(frozen=True)
class Layer(PlugIn):
    """Base of every layer.

    Class attributes:
        needs: the least decoder, one of ``line_code.NEEDS``.
        restores: tolerances (``line_code.TOLERANCES``) that this layer gives to any line code below it.
        needs_exact: whether ``decode`` goes wrong where bits too many come in at the end; if not, up to 7 do no harm.
        hands_on: how many bits, one of ``line_code.LENGTHS``; None if that is as what is below has it.
    """

    needs: ClassVar[str] = "microcontroller"
    restores: ClassVar[frozenset[str]] = frozenset()
    needs_exact: ClassVar[bool] = False
    hands_on: ClassVar[str | None] = None

    @abstractmethod
    def encode(self, bits: Bits) -> Bits:
        """Coded bits, uint8 0/1."""

    @abstractmethod
    def decode(self, passes: tuple[SoftBits, ...]) -> Heard:
        """What the coded bits say. Total: any number of passes of any length."""

    @abstractmethod
    def coded_bits(self, data_bits: int) -> int:
        """How many bits ``encode`` makes of that many, by arithmetic alone."""

    @property
    def lies_at_most(self) -> float | None:
        """The greatest chance that this layer calls a damaged load of one play intact; None if it states none."""
        return None

    def bearable(self, data_bits: int, above: Bearable) -> Bearable:
        """What may be missing of the coded bits of that many data bits, of which ``above`` may be missing."""
        return NOTHING
