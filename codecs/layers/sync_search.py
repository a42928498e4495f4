"""Finding sync words in a stream of soft bits, in either polarity, with some bits wrong."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .block_format import HEADER_BITS, BlockFormat

_WEAKEST = 6  # weakest bits of a header among which more than one wrong is guessed


@dataclass(frozen=True, slots=True)
class Sighting:
    """A sync word whose header checks.

    Attributes:
        place: bit of the stream where the sync word starts.
        polarity: +1, or -1 if the stream is inverted there.
        number: the block's number.
        total: data bits of the whole frame.
        mended: whether the header failed its check and was put right by guessing wrong bits.
        sound: whether the body's check holds as well.
    """

    place: int
    polarity: int
    number: int
    total: int
    mended: bool
    sound: bool


def sightings(
    values: NDArray[np.float32], blocks: BlockFormat, errors_allowed: int, most_total: int
) -> tuple[Sighting, ...]:
    """Every sync word with a sound header in ``values``, shape (bits,), in order of place.

    A bit that was not heard counts as half an error. A header that announces more than ``most_total`` data bits is
    not believed.
    """
    lead = blocks.lead_bits
    if values.size < lead:
        return ()
    heard = np.sign(values)
    word = 2.0 * blocks.sync.astype(np.float32) - 1.0
    agreement = np.correlate(heard[: values.size - HEADER_BITS], word, "valid")
    enough = blocks.sync.size - 2 * errors_allowed
    found = []
    for place in np.flatnonzero(np.abs(agreement) >= enough).tolist():
        polarity = 1 if agreement[place] > 0 else -1
        header = np.packbits(heard[place + blocks.sync.size : place + lead] * polarity > 0).tobytes()
        told = blocks.read_header(header)
        mended = told is None
        if mended:
            strength = np.abs(values[place + blocks.sync.size : place + lead])
            told = blocks.mended_header(header, np.argsort(strength, kind="stable")[:_WEAKEST].tolist())
        if told is None or told[1] > most_total:
            continue
        number, total = told
        end = place + lead + blocks.data_bits(number, total) + blocks.check_bits
        body = heard[place + lead : end] * polarity > 0
        sound = blocks.checks(number, total, body.astype(np.uint8))
        found.append(Sighting(place, polarity, number, total, mended, sound))
    return tuple(found)
