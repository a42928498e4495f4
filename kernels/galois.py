"""Reed-Solomon words over GF(256), many at once: clean ones recognised, damaged ones put right.

A word is a row of bytes, the highest power first, right-aligned in a whole number of 8-byte columns behind zeros,
which change no codeword. Eight bytes go through the division by the generator polynomial in one step, each with its
own table. A remainder of zero is a codeword; any other holds all the syndromes.

Symbols of the literature: a word has p = n - k parity bytes, the roots are ``alpha^(c + j)`` for 0 <= j < p, S is the
syndrome polynomial, Lambda the locator of errors and erasures (E. R. Berlekamp 1968, J. L. Massey 1969; started from
the erasures as R. E. Blahut 1983), Omega = S Lambda mod x^p (G. D. Forney 1965). Products are looked up in a table of
all of them; sums of many at once in tables by half bytes, eight bytes at a time.

Byte order is that of the processors the compiler serves: the first byte of a row is the lowest of its column.
"""

from __future__ import annotations

import numpy as np
from numba import types
from numpy.typing import NDArray

from .compiled import compiled

_BYTES = types.Array(types.uint8, 1, "C", readonly=True)
_LANES = types.Array(types.uint64, 1, "C", readonly=True)
_OWN_BYTES = types.Array(types.uint8, 1, "C")
_OWN_LANES = types.Array(types.uint64, 1, "C")
_ROWS_OF_BYTES = types.Array(types.uint8, 2, "C")
_ROWS_OF_LANES = types.Array(types.uint64, 2, "C")
_MASKS = types.Array(types.bool_, 2, "C", readonly=True)
_COUNTS = types.Array(types.int64, 1, "C")
_VERDICTS = types.Array(types.bool_, 1, "C")

_LOW = np.uint64(0xFF)


@compiled(types.bool_(_OWN_LANES, _LANES, _OWN_LANES))
def _divides(word: NDArray[np.uint64], feedback: NDArray[np.uint64], register: NDArray[np.uint64]) -> bool:
    """Whether ``word`` is a codeword; ``register`` becomes the remainder of ``x^p`` times it.

    ``feedback`` has shape (8, 256, register) in one row: each byte in each of eight places times ``x^p``, reduced.
    """
    lanes = np.uint64(register.size)
    table = lanes << np.uint64(8)
    for slot in range(register.size):
        register[slot] = np.uint64(0)
    for taken in word:
        taken ^= register[0]
        at_0 = (taken & _LOW) * lanes
        at_1 = (taken >> np.uint64(8) & _LOW) * lanes + table
        at_2 = (taken >> np.uint64(16) & _LOW) * lanes + np.uint64(2) * table
        at_3 = (taken >> np.uint64(24) & _LOW) * lanes + np.uint64(3) * table
        at_4 = (taken >> np.uint64(32) & _LOW) * lanes + np.uint64(4) * table
        at_5 = (taken >> np.uint64(40) & _LOW) * lanes + np.uint64(5) * table
        at_6 = (taken >> np.uint64(48) & _LOW) * lanes + np.uint64(6) * table
        at_7 = (taken >> np.uint64(56)) * lanes + np.uint64(7) * table
        for place in range(register.size):
            lane = np.uint64(place)
            moved = register[lane + np.uint64(1)] if lane + np.uint64(1) < lanes else np.uint64(0)
            moved ^= feedback[at_0 + lane] ^ feedback[at_1 + lane] ^ feedback[at_2 + lane] ^ feedback[at_3 + lane]
            moved ^= feedback[at_4 + lane] ^ feedback[at_5 + lane] ^ feedback[at_6 + lane] ^ feedback[at_7 + lane]
            register[lane] = moved
    left = np.uint64(0)
    for lane_value in register:
        left |= lane_value
    return bool(left == np.uint64(0))


@compiled(types.void(_OWN_BYTES, types.int64, _LANES, _OWN_LANES))
def _gather(values: NDArray[np.uint8], count: int, halves: NDArray[np.uint64], total: NDArray[np.uint64]) -> None:
    """``total`` becomes the sum of the rows that ``halves``, shape (count, 2, 16, total), has for both half bytes."""
    lanes = np.uint64(total.size)
    for slot in range(total.size):
        total[slot] = np.uint64(0)
    for place in range(count):
        value = np.uint64(values[place])
        if value == np.uint64(0):
            continue
        low = (np.uint64(32) * np.uint64(place) + (value & np.uint64(15))) * lanes
        high = (np.uint64(32) * np.uint64(place) + np.uint64(16) + (value >> np.uint64(4))) * lanes
        for column in range(total.size):
            lane = np.uint64(column)
            total[lane] ^= halves[low + lane] ^ halves[high + lane]


@compiled(types.int64(_OWN_BYTES, types.int64, _OWN_BYTES, types.int64, _OWN_BYTES, _BYTES, _BYTES))
def _locate(
    syndromes: NDArray[np.uint8],
    parity: int,
    locator: NDArray[np.uint8],
    erasures: int,
    spare: NDArray[np.uint8],
    products: NDArray[np.uint8],
    inverses: NDArray[np.uint8],
) -> int:
    """Grow ``locator`` from that of the erasures to that of the errors as well; its degree, or -1 if beyond the bound.

    ``locator`` and ``spare`` have room for ``parity + 2`` coefficients.
    """
    length = erasures
    for power in range(parity + 2):
        spare[power] = locator[power]
    for step in range(erasures, parity):
        discrepancy = np.uint8(0)
        for power in range(length + 1):
            discrepancy ^= products[np.int64(locator[power]) << 8 | np.int64(syndromes[step - power])]
        for power in range(step + 1, 0, -1):
            spare[power] = spare[power - 1]
        spare[0] = 0
        if discrepancy == 0:
            continue
        row = np.int64(discrepancy) << 8
        if 2 * length <= step + erasures:
            length = step + 1 + erasures - length
            inverse = np.int64(inverses[discrepancy]) << 8
            for power in range(length + 1):
                was = locator[power]
                locator[power] = was ^ products[row | np.int64(spare[power])]
                spare[power] = products[inverse | np.int64(was)]
        else:
            for power in range(length + 1):
                locator[power] ^= products[row | np.int64(spare[power])]
    within = 2 * length - erasures <= parity and locator[length] != 0
    return length if within else -1


@compiled(
    types.bool_(
        _OWN_BYTES, types.int64, _OWN_BYTES, _OWN_BYTES, types.int64, _OWN_BYTES, types.int64, _BYTES, _BYTES, _BYTES
    )
)
def _repair(
    word: NDArray[np.uint8],
    size: int,
    syndromes: NDArray[np.uint8],
    locator: NDArray[np.uint8],
    degree: int,
    at_positions: NDArray[np.uint8],
    first_root: int,
    powers: NDArray[np.uint8],
    products: NDArray[np.uint8],
    inverses: NDArray[np.uint8],
) -> bool:
    """Put right the last ``size`` bytes of ``word`` where the locator, evaluated ``at_positions``, is zero.

    False, perhaps with some bytes changed, if there are not as many such places as the locator has roots.
    """
    evaluator = np.empty(degree, np.uint8)
    for power in range(degree):
        total = np.uint8(0)
        for place in range(power + 1):
            total ^= products[np.int64(locator[place]) << 8 | np.int64(syndromes[power - place])]
        evaluator[power] = total
    found = 0
    for position in range(size):
        if at_positions[position] != 0:
            continue
        found += 1
        inverse = np.int64(powers[(255 - position) % 255]) << 8
        square = np.int64(products[inverse | inverse >> 8]) << 8
        over = np.uint8(0)
        for power in range(degree - 1, -1, -1):
            over = products[inverse | np.int64(over)] ^ evaluator[power]
        under = np.uint8(0)
        for power in range(degree - 1 + degree % 2, 0, -2):
            under = products[square | np.int64(under)] ^ locator[power]
        scale = np.int64(powers[position * (256 - first_root) % 255]) << 8
        value = products[np.int64(over) << 8 | np.int64(inverses[under])]
        word[word.size - 1 - position] ^= products[scale | np.int64(value)]
    return found == degree


@compiled(types.void(_ROWS_OF_LANES, _LANES, _VERDICTS), brief=True)
def recognise_words(lanes: NDArray[np.uint64], feedback: NDArray[np.uint64], clean: NDArray[np.bool_]) -> None:
    """Write to ``clean``, shape (words,), which rows of ``lanes``, shape (words, columns), are codewords."""
    register = np.empty(feedback.size // 2048, np.uint64)
    for number in range(lanes.shape[0]):
        clean[number] = _divides(lanes[number], feedback, register)


@compiled(
    types.void(
        _ROWS_OF_BYTES,
        _ROWS_OF_LANES,
        _MASKS,
        types.int64,
        types.int64,
        _LANES,
        _LANES,
        _LANES,
        _BYTES,
        _BYTES,
        _BYTES,
        _VERDICTS,
        _COUNTS,
    )
)
def correct_words(
    words: NDArray[np.uint8],
    lanes: NDArray[np.uint64],
    erased: NDArray[np.bool_],
    parity: int,
    first_root: int,
    feedback: NDArray[np.uint64],
    to_syndromes: NDArray[np.uint64],
    to_positions: NDArray[np.uint64],
    powers: NDArray[np.uint8],
    products: NDArray[np.uint8],
    inverses: NDArray[np.uint8],
    sound: NDArray[np.bool_],
    errors: NDArray[np.int64],
) -> None:
    """Correct each row in place where ``2 e + f <= parity``; a row beyond that is left as it was.

    Args:
        words: shape (words, 8 columns), each word right-aligned.
        lanes: the same memory, shape (words, columns).
        erased: which bytes are not known, shape (words, n).
        parity: n - k.
        first_root: c.
        feedback: as ``_divides`` takes it.
        to_syndromes: what each half byte of a remainder gives in all syndromes, shape (parity, 2, 16, register).
        to_positions: what each half byte of a locator's coefficient gives at ``alpha^-m`` for all positions m from
            the right, shape (parity + 1, 2, 16, 32).
        powers: of alpha, shape (255,).
        products: shape (256 * 256,).
        inverses: shape (256,); 0 for 0.
        sound: written, shape (words,): whether the row is now a codeword within the bound.
        errors: written, shape (words,): bytes that changed without having been erased (e).
    """
    size = erased.shape[1]
    register = np.empty(feedback.size // 2048, np.uint64)
    remainder = register.view(np.uint8)
    syndrome_lanes = np.empty(register.size, np.uint64)
    syndromes = syndrome_lanes.view(np.uint8)
    position_lanes = np.empty(32, np.uint64)
    at_positions = position_lanes.view(np.uint8)
    locator = np.empty(parity + 2, np.uint8)
    spare = np.empty(parity + 2, np.uint8)
    received = np.empty(words.shape[1], np.uint8)
    for number in range(words.shape[0]):
        errors[number] = 0
        erasures = 0
        for place in range(size):
            erasures += erased[number, place]
        sound[number] = erasures <= parity
        if not sound[number] or _divides(lanes[number], feedback, register):
            continue
        sound[number] = False
        _gather(remainder, parity, to_syndromes, syndrome_lanes)
        for place in range(locator.size):
            locator[place] = np.uint8(0)
        locator[0] = 1
        degree = 0
        if erasures:
            for place in range(size):
                if erased[number, place]:
                    degree += 1
                    row = np.int64(powers[size - 1 - place]) << 8
                    for power in range(degree, 0, -1):
                        locator[power] ^= products[row | np.int64(locator[power - 1])]
        degree = _locate(syndromes, parity, locator, erasures, spare, products, inverses)
        if degree < 0:
            continue
        _gather(locator, degree + 1, to_positions, position_lanes)
        word = words[number]
        for place in range(word.size):
            received[place] = word[place]
        repaired = _repair(word, size, syndromes, locator, degree, at_positions, first_root, powers, products, inverses)
        if repaired and _divides(lanes[number], feedback, register):
            changed = 0
            before = received.size - size
            for place in range(size):
                changed += (word[before + place] != received[before + place]) and not erased[number, place]
            errors[number] = changed
            sound[number] = 2 * changed + erasures <= parity
        if not sound[number]:
            errors[number] = 0
            for place in range(word.size):
                word[place] = received[place]
