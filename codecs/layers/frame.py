"""`frame`: blocks that can be found again after the clock was lost, and whose absence is noticed.

``block_format`` says what a block looks like. Blocks are found by their sync words (``sync_search``), put in order by
number and distance (``block_chain``), the damaged ones are placed between them (``block_places``), and the bodies are
cut out and merged (``block_bodies``). Several passes are merged block by block: a body whose check holds
stands for all, else the soft bits are added. A block that no pass gives is handed on as zeros, which is what
"nothing heard" looks like to the layers above.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...contracts.bearable import NOTHING, Bearable
from ...contracts.bits import Bits
from ...contracts.decoded import Event
from ...contracts.errors import UsageError
from ...contracts.layer import Heard, Layer
from ...contracts.parameters import parameter
from ...contracts.soft_bits import SoftBits
from .block_bodies import Cutter, merged
from .block_chain import Chain, chains
from .block_format import BODY_CHECKS, MOST_BLOCKS, BlockFormat
from .block_places import Place, placed
from .sync_search import sightings

_MOST_DATA_PER_HEARD_BIT = 16  # a header that announces more is not believed: it bounds memory


@dataclass(frozen=True)
class Frame(Layer):
    """Blocks with preamble, sync word, number, total and check."""

    name = "frame"
    summary = "Blocks with a sync word, their number, the total and a check: found again after a loss, missed if lost."
    needs = "microcontroller"
    hands_on = "exact"
    restores = frozenset({"polarity"})

    block_bytes: int = parameter(128, "Data bytes of a block; the last may be shorter.", unit="bytes", low=1, high=4096)
    preamble_bits: int = parameter(16, "Alternating bits before a sync word.", unit="bits", low=0, high=1024)
    sync_word: str = parameter("1acffc1d", "Sync word in hexadecimal, 4 to 16 digits.")
    sync_errors_allowed: int = parameter(4, "Wrong bits with which a sync word is still looked at.", low=0, high=16)
    body_check: str = parameter("crc-16", "Check after each body.", choices=tuple(BODY_CHECKS))

    def check(self) -> None:
        digits = self.sync_word.lower()
        if not 4 <= len(digits) <= 16 or not set(digits) <= set("0123456789abcdef"):
            raise UsageError(
                f"{self.name}: parameter 'sync_word' must be 4 to 16 hexadecimal digits, not '{self.sync_word[:40]}'."
            )
        if self.sync_errors_allowed > len(digits):
            raise UsageError(
                f"{self.name}: parameter 'sync_errors_allowed' must be at most a quarter of the sync word's "
                f"{4 * len(digits)} bits, not {self.sync_errors_allowed}."
            )

    @property
    def blocks(self) -> BlockFormat:
        """The layout that the parameters ask for."""
        digits = self.sync_word
        word = np.array([int(bit) for bit in f"{int(digits, 16):0{4 * len(digits)}b}"], np.uint8)
        preamble = (1 - (np.arange(self.preamble_bits) % 2)).astype(np.uint8)
        return BlockFormat(preamble, word, 8 * self.block_bytes, BODY_CHECKS[self.body_check])

    def coded_bits(self, data_bits: int) -> int:
        return self.blocks.coded_bits(data_bits)

    def bearable(self, data_bits: int, above: Bearable) -> Bearable:
        """As much as touches no more blocks than may be missing; the last one must tell of the others."""
        blocks = min(above.bits // self.blocks.body_bits, self.blocks.blocks(data_bits) - 1)
        return Bearable((blocks - 1) * self.blocks.pitch + 1, self.coded_bits(data_bits)) if blocks > 0 else NOTHING

    def encode(self, bits: Bits) -> Bits:
        """The blocks one after the other.

        Raises:
            UsageError: data for more than 65,536 blocks.
        """
        blocks, total = self.blocks, bits.size
        if blocks.blocks(total) > MOST_BLOCKS:
            raise UsageError(
                f"{self.name}: data must fit into {MOST_BLOCKS} blocks of {self.block_bytes} bytes; "
                f"{total // 8} bytes do not."
            )
        return np.concatenate(
            [blocks.block(n, total, bits[blocks.data(n, total)]) for n in range(blocks.blocks(total))]
        )

    def decode(self, passes: tuple[SoftBits, ...]) -> Heard:
        """One pass of exactly the data's length, or an empty one if no header was heard.

        The verdict is true if every block is there and its check holds; without a check after the bodies, it is None
        unless a block is missing.
        """
        blocks = self.blocks
        most_total = _MOST_DATA_PER_HEARD_BIT * max((len(heard) for heard in passes), default=0)
        found = [
            chains(sightings(heard.values, blocks, self.sync_errors_allowed, most_total), blocks.pitch)
            for heard in passes
        ]
        total = _most_likely_total(found)
        if total is None:
            return Heard((SoftBits([]),), False, (Event("frame: no block was found"),))
        known = [
            placed(chain[total].links if total in chain else (), total, heard.values, blocks)
            for chain, heard in zip(found, passes, strict=True)
        ]
        return _gathered(passes, known, total, blocks)


def _gathered(passes: tuple[SoftBits, ...], known: list[dict[int, Place]], total: int, blocks: BlockFormat) -> Heard:
    """The data from the blocks of all passes."""
    cutters = [Cutter(heard, places, total, blocks) for heard, places in zip(passes, known, strict=True)]
    values = np.zeros(total, np.float32)
    times = np.full(total, np.nan)
    missing, failing = [], []
    for number in range(blocks.blocks(total)):
        bodies = [body for cutter in cutters if (body := cutter.body(number)) is not None]
        if not bodies:
            missing.append(number)
            continue
        body = merged(bodies, number, total, blocks)
        values[blocks.data(number, total)] = body.data
        times[blocks.data(number, total)] = body.times_s
        if not body.sound and blocks.body_check is not None:
            failing.append(number)
    times = _filled(times)
    events = [_said("is missing", number, total, blocks, times) for number in missing]
    events += [_said("fails its check", number, total, blocks, times) for number in failing]
    if any(place.polarity < 0 for places in known for place in places.values()):
        events.append(Event("frame: polarity was inverted and is restored"))
    unchecked = blocks.body_check is None
    verdict = False if missing or failing else None if unchecked else True
    return Heard((SoftBits(values, times),), verdict, tuple(events))


def _most_likely_total(found: list[dict[int, Chain]]) -> int | None:
    """The total for which most speaks, all passes together."""
    weights: dict[int, float] = {}
    for of_total in found:
        for total, chain in of_total.items():
            weights[total] = weights.get(total, 0.0) + chain.weight
    return max(weights, key=lambda total: weights[total], default=None)


def _filled(times: NDArray[np.float64]) -> NDArray[np.float64]:
    """``times`` with those of missing blocks interpolated."""
    known = np.flatnonzero(~np.isnan(times))
    if known.size == 0:
        return np.zeros_like(times)
    filled: NDArray[np.float64] = np.interp(np.arange(times.size), known, times[known])
    return filled


def _said(what: str, number: int, total: int, blocks: BlockFormat, times: NDArray[np.float64]) -> Event:
    first = blocks.data(number, total).start
    return Event(
        f"frame: block {number + 1} of {blocks.blocks(total)} {what}", float(times[first]) if times.size else None
    )
