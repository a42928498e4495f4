"""Tapes within a set's limits, and machines at the limits of their spreads, for the tests of this folder."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from tapewright.contracts import bits
from tapewright.contracts.keying import KeyedLineCode
from tapewright.contracts.registry import codec
from tapewright.contracts.signal import Signal
from tapewright.receivers.relays.corner import Corner
from tapewright.receivers.relays.machine import EVEN, Place, input_roles
from tapewright.receivers.relays.relay_set import RelaySet

RATE = 44_100


def keyed(spec: str) -> KeyedLineCode:
    code = codec(spec).line_code
    assert isinstance(code, KeyedLineCode)
    return code


def tape(
    code: KeyedLineCode,
    payload: bytes | NDArray[np.uint8],
    *,
    speed: float = 0.0,
    levels_db: tuple[float, float] = (-1.0, -1.0),
    skew_s: float = 0.0,
) -> Signal:
    """``payload`` a share ``speed`` too fast, each track's peak at its level, data or one rail late by ``skew_s``.

    Bits in place of bytes are taken as the layers have coded them.
    """
    on_tape = bits.from_bytes(payload) if isinstance(payload, bytes) else payload
    samples = code.modulate(on_tape, RATE).samples.copy()
    peaks = np.maximum(np.abs(samples).max(axis=1, keepdims=True), 1e-9)
    samples *= (10 ** (np.array(levels_db)[:, None] / 20) / peaks).astype(np.float32)
    data = code.keying().track(input_roles(code.keying())[1])
    samples[data] = np.roll(samples[data], round(skew_s * RATE))
    return Signal(samples, round(RATE * (1 + speed)))


def tape_within(
    code: KeyedLineCode, payload: bytes | NDArray[np.uint8], relays: RelaySet, rng: np.random.Generator
) -> Signal:
    """A tape somewhere within what the set is lined up for."""
    limits = relays.tape
    quiet, loud = limits.quietest_db, limits.loudest_db
    return tape(
        code,
        payload,
        speed=rng.uniform(-1, 1) * limits.speed,
        levels_db=(rng.uniform(quiet, loud), rng.uniform(quiet, loud)),
        skew_s=rng.uniform(-1, 1) * limits.skew_s,
    )


def tape_of(corner: Corner, code: KeyedLineCode, payload: bytes | NDArray[np.uint8], relays: RelaySet) -> Signal:
    """The tape of a corner."""
    limits = relays.tape
    left, right = (limits.loudest_db if corner.loud(role) else limits.quietest_db for role in code.keying().roles)
    return tape(
        code,
        payload,
        speed=corner.surroundings.speed * limits.speed,
        levels_db=(left, right),
        skew_s=corner.skew * limits.skew_s,
    )


def extreme_place(rng: np.random.Generator) -> Place:
    """Every figure at one of its limits, each by the toss of a coin: harsher than any drawn machine."""

    def place(role: str, quantity: str) -> float:
        return float(rng.uniform(-1, 1)) if quantity in EVEN and rng.random() < 0.3 else float(rng.choice((-1.0, 1.0)))

    return place
