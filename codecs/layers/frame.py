"""`frame`: blocks that can be found again after the clock was lost, and whose absence is noticed.

``block_format`` says what a block looks like. Blocks are found by their sync words (``sync_search``), put in order by
number and distance (``block_chain``) and cut out. Several passes are merged block by block: a body whose check holds
stands for all, else the soft bits are added. A block that no pass gives is handed on as zeros, which is what
"nothing heard" looks like to the layers above.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...contracts.bits import Bits
from ...contracts.decoded import Event
from ...contracts.errors import UsageError
from ...contracts.layer import Heard, Layer
from ...contracts.parameters import parameter
from ...contracts.soft_bits import CERTAIN, SoftBits
from .block_chain import Chain, chains, placed
from .block_format import BODY_CHECKS, MOST_BLOCKS, BlockFormat
from .sync_search import Sighting, sightings


@dataclass(frozen=True)
class Frame(Layer):
    """Blocks with preamble, sync word, number, total and check."""

    name = "frame"
    summary = "Blocks with a sync word, their number, the total and a check: found again after a loss, missed if lost."
    needs = "microcontroller"
    restores = frozenset({"polarity"})

    block_bytes: int = parameter(128, "Data bytes of a block; the last may be shorter.", unit="bytes", low=1, high=4096)
    preamble_bits: int = parameter(16, "Alternating bits before a sync word, for the clock.", unit="bits", low=0, high=1024)
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

    def encode(self, bits: Bits) -> Bits:
        """The blocks one after the other.

        Raises:
            UsageError: data for more than 65,536 blocks.
        """
        blocks, total = self.blocks, bits.size
        if blocks.blocks(total) > MOST_BLOCKS:
            raise UsageError(
                f"{self.name}: data must fit into {MOST_BLOCKS} blocks of {self.block_bytes} bytes, not {total // 8} bytes."
            )
        return np.concatenate(
            [blocks.block(n, total, bits[blocks.data(n, total)]) for n in range(blocks.blocks(total))]
        )

    def decode(self, passes: tuple[SoftBits, ...]) -> Heard:
        """One pass of exactly the data's length, or an empty one if no header was heard."""
        blocks = self.blocks
        found = [chains(sightings(heard.values, blocks, self.sync_errors_allowed), blocks.pitch) for heard in passes]
        total = _most_likely_total(found)
        if total is None:
            return Heard((SoftBits([]),), False, (Event("frame: no block was found"),))
        maps = [
            placed(chain[total].links if total in chain else (), heard.values, blocks)
            for chain, heard in zip(found, passes, strict=True)
        ]
        values = np.zeros(total, np.float32)
        times = np.full(total, np.nan)
        events: list[Event] = []
        missing: list[int] = []
        verdict: bool | None = None if blocks.body_check is None else True
        for number in range(blocks.blocks(total)):
            cuts = [
                cut
                for heard, known in zip(passes, maps, strict=True)
                if number in known and (cut := _cut(heard, known, number, total, blocks)) is not None
            ]
            data = blocks.data(number, total)
            if not cuts:
                missing.append(number)
                continue
            sound = next((cut for cut in cuts if cut.sound), None)
            if sound is not None:
                values[data], times[data] = sound.values, sound.times_s
                continue
            together, is_sound = _together(cuts, number, total, blocks)
            values[data], times[data] = together, cuts[0].times_s
            if not is_sound and blocks.body_check is not None:
                verdict = False
                time_s = float(cuts[0].times_s[0]) if cuts[0].times_s.size else None
                events.append(Event(f"frame: block {number + 1} of {blocks.blocks(total)} fails its check", time_s))
        times = _filled(times)
        if missing:
            verdict = False
            events += [_missing(number, total, blocks, times) for number in missing]
        if any(link.polarity < 0 for known in maps for link in known.values()):
            events.append(Event("frame: polarity is inverted, restored"))
        return Heard((SoftBits(values, times),), verdict, tuple(events))


@dataclass(frozen=True, slots=True)
class _Cut:
    """A body as cut out of a pass; with its check, where it has one."""

    values: NDArray[np.float32]
    times_s: NDArray[np.float64]
    check: NDArray[np.float32]
    sound: bool


def _cut(heard: SoftBits, known: dict[int, Sighting], number: int, total: int, blocks: BlockFormat) -> _Cut | None:
    link = known[number]
    data = blocks.data(number, total)
    length = data.stop - data.start
    start = link.place + blocks.lead_bits
    stop = start + length + blocks.check_bits
    if start < 0 or stop > len(heard):
        return None
    values = heard.values[start:stop] * link.polarity
    sound = blocks.checks(number, total, (values > 0).astype(np.uint8))
    if sound:
        values = np.where(values > 0, np.float32(CERTAIN), np.float32(-CERTAIN))
    return _Cut(values[:length], heard.times_s[start : start + length], values[length:], sound)


def _together(cuts: list[_Cut], number: int, total: int, blocks: BlockFormat) -> tuple[NDArray[np.float32], bool]:
    """The bodies added up, certain if the sum's check holds."""
    values = np.sum([np.concatenate([cut.values, cut.check]) for cut in cuts], axis=0, dtype=np.float32)
    length = cuts[0].values.size
    sound = len(cuts) > 1 and blocks.checks(number, total, (values > 0).astype(np.uint8))
    body = values[:length]
    return (np.where(body > 0, np.float32(CERTAIN), np.float32(-CERTAIN)) if sound else body), sound


def _most_likely_total(found: list[dict[int, Chain]]) -> int | None:
    weights: dict[int, float] = {}
    for chain_of in found:
        for total, chain in chain_of.items():
            weights[total] = weights.get(total, 0.0) + chain.weight
    return max(weights, key=lambda total: weights[total], default=None)


def _filled(times: NDArray[np.float64]) -> NDArray[np.float64]:
    known = np.flatnonzero(~np.isnan(times))
    if known.size == 0:
        return np.zeros_like(times)
    filled: NDArray[np.float64] = np.interp(np.arange(times.size), known, times[known])
    return filled


def _missing(number: int, total: int, blocks: BlockFormat, times: NDArray[np.float64]) -> Event:
    data = blocks.data(number, total)
    time_s = float(times[data.start]) if data.start < times.size else None
    return Event(f"frame: block {number + 1} of {blocks.blocks(total)} is missing", time_s)
