"""How long a dropout may last that costs nothing, wherever it falls: by arithmetic, from the outermost layer inwards.

A layer that mends says what may be missing of its coded bits (``Layer.bearable``), one that only moves bits about turns
what those above it can bear into what it can, and the line code turns bits into seconds (``LineCode.bearable_s``).
Whoever promises nothing keeps the default, which is nothing. A promise may be too small, never too great.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Bearable:
    """Bits that may be missing without harm.

    Attributes:
        bits: so many, if they stand in a row and are not heard at all.
        among: of that many bits in a row not more than ``bits`` may be missing.
    """

    bits: int
    among: int


NOTHING = Bearable(0, 1)
