"""Checks of a layer alone: bits to bits and back, without any sound."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..layer import Heard, Layer
from ..soft_bits import LOST, SoftBits
from . import probes
from .check import Exempt, require

_COUNTS = (0, 8, 16, 64, 136, 1_000, 4_800)
_CONFIDENCE = 3.0


def _as_heard(bits: NDArray[np.uint8], confidence: float = _CONFIDENCE) -> SoftBits:
    """Bits at 1 ms each, as an ordinary demodulator hands them on."""
    return SoftBits(np.where(bits > 0, confidence, -confidence), 0.5 + 1e-3 * np.arange(bits.size))


def _listen(layer: Layer, what: str, *passes: SoftBits) -> Heard:
    try:
        heard = layer.decode(passes)
    except Exception as error:
        raise AssertionError(f"decoding {what} raised {type(error).__name__}: {error}") from error
    require(isinstance(heard, Heard), f"{what} gave {type(heard).__name__}, not Heard.")
    whole = type(heard.passes) is tuple and all(isinstance(one, SoftBits) for one in heard.passes)
    require(whole, f"{what} gave passes that are no tuple of SoftBits.")
    require(len(heard.passes) <= max(1, len(passes)), f"{what} made {len(heard.passes)} passes of {len(passes)}.")
    require(heard.verdict in (True, False, None), f"{what} gave the verdict {heard.verdict!r}.")
    require(all(event.what.isprintable() for event in heard.events), f"{what} gave an event of more than one line.")
    return heard


def _starts_with(heard: Heard, bits: NDArray[np.uint8]) -> bool:
    return all(len(one) >= bits.size and np.array_equal(one.bits[: bits.size], bits) for one in heard.passes)


def _checks(layer: Layer) -> bool:
    return layer.decode((_as_heard(layer.encode(probes.bits(64))),)).verdict is True


def bits_round_trip(layer: Layer) -> None:
    """What comes out starts with the bits that went in, with confidence, for one play and for several."""
    for count in _COUNTS:
        for bits in (probes.bits(count), np.zeros(count, np.uint8), np.ones(count, np.uint8)):
            what = f"{count} clean bits"
            coded = _as_heard(layer.encode(bits))
            for plays in (1, 2, 3):
                heard = _listen(layer, what, *(coded,) * plays)
                require(
                    len(heard.passes) >= 1 and _starts_with(heard, bits), f"{what} in {plays} plays came out wrong."
                )
                require(heard.verdict is not False, f"{what} in {plays} plays got the verdict False.")
            unsure = np.abs(heard.passes[0].values[:count]) <= LOST
            require(not unsure.any(), f"{what}: {int(unsure.sum())} of them are said to be lost.")


def encoding_is_deterministic(layer: Layer) -> None:
    """The same bits give the same coded bits, uint8 0/1, and stay as they are."""
    bits = probes.bits(1_000)
    kept = bits.copy()
    coded = layer.encode(bits)
    require(np.array_equal(coded, layer.encode(bits)), "the same bits were coded in two ways.")
    require(np.array_equal(bits, kept), "encode changed the bits it was given.")
    require(coded.dtype == np.uint8 and coded.ndim == 1, f"encode gave {coded.dtype} of shape {coded.shape}.")
    require(coded.max(initial=0) <= 1, "encode gave values other than 0 and 1.")


def coded_bits_is_arithmetic(layer: Layer) -> None:
    """``coded_bits`` says how many bits ``encode`` makes, for any whole number of bytes."""
    for count in (*range(0, 320, 8), *_COUNTS):
        made = layer.encode(probes.bits(count)).size
        declared = layer.coded_bits(count)
        require(made == declared, f"{count} bits became {made}, not the declared {declared}.")


def decode_is_total(layer: Layer) -> None:
    """Any number of plays of any length and any confidence give an answer, and input and answer stay finite."""
    rng = probes.generator(41)
    coded = layer.encode(probes.bits(1_000)).size
    lengths = (0, 1, 7, 8, 9, 31, 200, coded - 1, coded, coded + 1, 3 * coded)
    for length in lengths:
        for what, values in (
            ("nothing heard", np.zeros(length)),
            ("all ones", np.full(length, 30.0)),
            ("all zeros", np.full(length, -30.0)),
            ("random bits", rng.normal(0, 3.0, length)),
            ("huge confidence", rng.choice([-1e30, 1e30], length)),
        ):
            heard = _listen(layer, f"{length} bits, {what},", SoftBits(values, 1e-3 * np.arange(length)))
            _is_bounded(layer, heard, length)
    _listen(layer, "no play")
    for plays in (2, 3, 5):
        uneven = tuple(SoftBits(rng.normal(0, 3.0, int(rng.integers(0, 2 * coded)))) for _ in range(plays))
        _listen(layer, f"{plays} plays of uneven length", *uneven)
    good = _as_heard(layer.encode(probes.bits(1_000)))
    _listen(layer, "a good play and an empty one", good, SoftBits([]))


def _is_bounded(layer: Layer, heard: Heard, length: int) -> None:
    most = 8 * (1 << 20)
    for one in heard.passes:
        require(len(one) <= most, f"{layer.name} made {len(one)} bits of {length}.")


def verdict_never_lies(layer: Layer) -> None:
    """A layer that checks never vouches for wrong bits and always gives a verdict; one that does not vouches for none.

    A check of r bits vouches for one damaged word in 2^r. Null: it does no worse. Seed 42, 60 words. With 16 bits or
    more not one lie is allowed (chance 60 / 2^16 = 0.1 %); with fewer, down to 8, three are (chance of a fourth
    1e-4). The seed is fixed, so that each is met once for each plug-in.
    """
    rng = probes.generator(42)
    checks = _checks(layer)
    allowed = 0 if layer.coded_bits(64) - 64 >= 16 else 3
    lies = 0
    for trial in range(60):
        bits = probes.bits(int(rng.integers(1, 60)) * 8, seed=100 + trial)
        coded = layer.encode(bits)
        flips = min(coded.size, (1, 2, 3, 8, 30, 200)[trial % 6])
        coded = coded.copy()
        coded[rng.choice(coded.size, flips, replace=False)] ^= 1
        heard = _listen(layer, f"{bits.size} bits with {flips} flipped", _as_heard(coded))
        fits = heard.verdict is not None if checks else heard.verdict is not True
        require(fits, f"the verdict on {flips} flipped bits is {heard.verdict}, unlike that on clean bits.")
        lies += heard.verdict is True and not _starts_with(heard, bits)
        require(lies <= allowed, f"{flips} flipped bits were vouched for.")


def uncorrected_keeps_signs(layer: Layer) -> None:
    """Bits that could not be corrected are handed on as heard: still mostly right, and marked as lost.

    Null: lost bits keep their signs, so that 90 % of them are right when 10 % were flipped. Seed 43; at least 400
    lost bits: below 75 % right is 10 standard errors off, a chance of less than 1e-20.
    """
    rng = probes.generator(43)
    bits = probes.bits(6_400)
    coded = layer.encode(bits)
    flipped = coded ^ (rng.random(coded.size) < 0.1)
    heard = _listen(layer, "a tape with a tenth of its bits flipped", _as_heard(flipped.astype(np.uint8)))
    right = lost = 0
    for one in heard.passes:
        count = min(len(one), bits.size)
        magnitude = np.abs(one.values[:count])
        guessed = (magnitude > 0) & (magnitude <= LOST)
        lost += int(guessed.sum())
        right += int((one.bits[:count] == bits[:count])[guessed].sum())
    if lost < 400:
        raise Exempt("this layer corrects nothing: it hands on no bit as heard but lost")
    # A failed word of eight bits holds two wrong ones at the least: three in four kept is what to expect of it. Signs
    # that mean nothing are right half the time; 0.65 of 400 bits is six standard errors from that, four from 0.75.
    require(right / lost >= 0.65, f"only {right / lost:.0%} of the lost bits kept the sign that was heard.")


def times_stay_on_the_tape(layer: Layer) -> None:
    """Each bit handed on has a time at which something was heard, and so has each event."""
    rng = probes.generator(44)
    bits = probes.bits(4_800)
    coded = layer.encode(bits)
    hurt = coded.copy()
    hurt[coded.size // 3 : coded.size // 3 + 400] = rng.integers(0, 2, hurt[coded.size // 3 :][:400].size)
    for what, given in (("clean bits", _as_heard(coded)), ("damaged bits", _as_heard(hurt))):
        heard = _listen(layer, what, given)
        first_s, last_s = float(given.times_s[0]), float(given.times_s[-1])
        for one in heard.passes:
            on_tape = (one.times_s >= first_s - 1e-9) & (one.times_s <= last_s + 1e-9)
            require(bool(on_tape.all()), f"{what}: {int((~on_tape).sum())} bits have a time off the tape.")
        for event in heard.events:
            if event.time_s is not None:
                require(first_s <= event.time_s <= last_s, f"{what}: '{event}' is off the tape.")


def claimed_tolerances_hold(layer: Layer) -> None:
    """A layer that restores polarity reads its bits inverted."""
    bits = probes.bits(1_000)
    if "polarity" in layer.restores:
        inverted = _as_heard(1 - layer.encode(bits))
        require(_starts_with(_listen(layer, "inverted bits", inverted), bits), "inverted bits came out wrong.")
