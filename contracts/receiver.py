"""A receiver is who listens: a computer's sound input, or simulated hardware that draws itself anew for each trial."""

from __future__ import annotations

from abc import abstractmethod
from dataclasses import dataclass

import numpy as np

from .codec import Codec
from .decoded import Decoded
from .plug_in import PlugIn
from .signal import Signal
from .spec import format_stack


@dataclass(frozen=True)
class Receiver(PlugIn):
    """Base of every receiver."""

    @property
    def spec(self) -> str:
        """The canonical spec."""
        return format_stack((self,))

    def refusal(self, codec: Codec) -> str | None:
        """Why this receiver cannot decode ``codec``, in one line; None if it can."""
        return None

    def limit_bits_per_s(self, codec: Codec) -> float | None:
        """Bits a second that this receiver can take in of ``codec`` at its fastest; None if it sets no limit."""
        return None

    def quickest(self, codec: Codec) -> Codec | None:
        """``codec`` at the quickest pace that this receiver is sure to follow, by arithmetic; None if there is none.

        A receiver that sets no pace of its own gives ``codec`` as it is.

        Raises:
            UsageError: a codec that it cannot decode at any pace (ask ``refusal`` first).
        """
        return codec

    def follows(self, codec: Codec) -> bool:
        """Whether this receiver is sure to follow ``codec`` at the pace it has, by arithmetic.

        A receiver that sets no pace of its own follows all.

        Raises:
            UsageError: a codec that it cannot decode at any pace (ask ``refusal`` first).
        """
        return True

    def relay_count(self, codec: Codec) -> int | None:
        """Relays to be bought for a decoder of ``codec``; None from a receiver without relays, or if it cannot tell."""
        return None

    def check_load(self, codec: Codec, payload_bytes: int) -> None:
        """Refuse a program that has no room here, once ``refusal`` has said that the codec can be decoded.

        Raises:
            UsageError: longer than this receiver can hold.
        """

    @abstractmethod
    def receive(self, codec: Codec, signals: tuple[Signal, ...], rng: np.random.Generator) -> Decoded:
        """What was heard of the plays of one tape. Total, like ``Codec.decode``."""
