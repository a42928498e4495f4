"""The shape of a play: waveform with bits, how sure the bits were, and how strong the tracks were, as plain data."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..contracts.codec import Codec
from ..contracts.receiver import Receiver
from ..contracts.signal import Signal
from .bit_trace import RIGHT, Trace, trace
from .excerpt import drawn, shown_bits
from .replay import overheard

MOST_SURE = 30.0
"""Log-likelihood ratios beyond this are counted as this."""

_SURE_BINS = 61
_PIECE_S = 0.005
_FAINTEST_DB = -60.0
_LEVEL_BINS = 60


def shape(
    codec: Codec, receiver: Receiver, signal: Signal, rng: np.random.Generator, expected: bytes | None
) -> dict[str, Any]:
    """The shape of one play.

    Args:
        expected: what should come out; with it bits are told right from wrong. None if nobody knows.

    Returns:
        ``waveform`` around the first trouble, or the middle where there is none; ``sure`` with ``edges`` and the counts
        of ``right`` and ``wrong`` bits by log-likelihood ratio, negative for a 0; ``level`` with ``edges_db`` and the
        counts of ``left`` and ``right`` by the peak of each 5 ms, re full scale.
    """
    heard = overheard(codec, receiver, signal, rng).heard
    sent = heard.bits if expected is None else codec.line_bits(expected)
    followed = trace(sent, heard)
    payload_bytes = 0 if expected is None else len(expected)
    place = followed.first_trouble(codec.guaranteed_burst_ms(payload_bytes) > 0)
    middle = sent.size // 2 if place is None else place
    return {
        "place": middle,
        "trouble": place is not None,
        "known": expected is not None,
        "waveform": drawn(signal, followed, shown_bits(followed, middle)),
        "sure": _sureness(followed),
        "level": _levels(signal),
    }


def _sureness(followed: Trace) -> dict[str, list[float] | list[int]]:
    edges = np.linspace(-MOST_SURE, MOST_SURE, _SURE_BINS + 1)
    kept = np.clip(followed.soft, -MOST_SURE, MOST_SURE)
    good = followed.states == RIGHT
    return {
        "edges": edges.round(3).tolist(),
        "right": np.histogram(kept[good], edges)[0].tolist(),
        "wrong": np.histogram(kept[~good], edges)[0].tolist(),
    }


def _levels(signal: Signal) -> dict[str, list[float] | list[int]]:
    """Of the whole capture; what is fainter than the faintest is silence and does not count."""
    edges = np.linspace(_FAINTEST_DB, 0.0, _LEVEL_BINS + 1)
    piece = max(int(_PIECE_S * signal.sample_rate_hz), 1)
    pieces = signal.frames // piece
    peaks = np.abs(signal.samples[:, : pieces * piece]).reshape(2, pieces, piece).max(axis=2, initial=0)
    levels: NDArray[np.float64] = np.minimum(20 * np.log10(np.maximum(peaks, 1e-9)), 0.0)
    left, right = (np.histogram(row, edges)[0].tolist() for row in levels)
    return {"edges_db": edges.tolist(), "left": left, "right": right}
