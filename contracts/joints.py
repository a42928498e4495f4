"""Whether the members of a stack fit on each other.

Line codes hear a few bits too many at the end, or send whole bytes; most layers live with up to 7 bits too many. One
that needs exactly the bits that were sent can only stand over what hands on exactly those.
"""

from __future__ import annotations

from collections.abc import Sequence

from .errors import UsageError
from .layer import Layer
from .line_code import LineCode

_PAYLOADS = range(0, 17)
"""Bytes: enough to see whether what is sent is always whole bytes."""

_TOLD = {"whole_bytes": "hands on whole bytes", "a few more": "may hand on a few more"}


def check_joints(layers: Sequence[Layer], line_code: LineCode) -> None:
    """Raise where two members do not join.

    Args:
        layers: outermost first.
        line_code: what they stand on.

    Raises:
        UsageError: names the two and what each needs or gives.
    """
    giver: Layer | LineCode = line_code
    hands_on = line_code.hands_on
    for place in reversed(range(len(layers))):
        layer = layers[place]
        exact = hands_on == "exact" or (hands_on == "whole_bytes" and _whole_bytes(layers[: place + 1]))
        if layer.needs_exact and not exact:
            raise UsageError(
                f"codec: '{layer.name}' needs exactly the bits that it sent, and '{giver.name}' below it "
                f"{_TOLD.get(hands_on, hands_on)}; put 'frame' between them."
            )
        if layer.hands_on is not None:
            giver, hands_on = layer, layer.hands_on


def _whole_bytes(layers: Sequence[Layer]) -> bool:
    """Whether these make whole bytes of any payload."""
    for payload_bytes in _PAYLOADS:
        bits = 8 * payload_bytes
        for layer in layers:
            bits = layer.coded_bits(bits)
        if bits % 8:
            return False
    return True
