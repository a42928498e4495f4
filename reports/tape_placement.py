"""Where the bytes of a program lie on the tape, as far as its codec tells."""

from __future__ import annotations

from ..contracts.bits import from_bytes
from ..contracts.codec import Codec
from ..contracts.keying import KeyedLineCode
from .happening import Placement


def placement(codec: Codec, origin: int = 0) -> Placement:
    """How a program with its first byte at ``origin`` stands on a tape of ``codec``.

    Layers move bits about, so that only a bare line code says where a byte lies.
    """
    code = codec.line_code
    told = code.arguments()
    if isinstance(code, KeyedLineCode):
        keying = code.keying()
        reversed_order, rests = keying.least_significant_first, keying.extra_steps > 0
    else:
        reversed_order, rests = told.get("bit_order") == "lsb", bool(told.get("extra_steps", 0))
    if codec.layers:
        return Placement(origin, least_significant_first=reversed_order)
    first = code.demodulate(code.modulate(from_bytes(b"\x55"))).times_s
    start_s = float(first.min()) if first.size else 0.0
    shortest_s = code.duration_s(0)

    def tape_s(byte: int) -> float:
        return start_s + code.duration_s(8 * byte) - shortest_s

    return Placement(origin, reversed_order, told.get("tracks") == "split", rests, tape_s)
