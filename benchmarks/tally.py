"""Raw counts of what became of whole tapes: additive, so that any split of the work sums to the same record.

A trial is one whole tape. It ends in one of three ways:

- right: the payload is equal and nobody doubts it (``intact`` is not False);
- detected: not right, and the format says so (``intact`` is False, or bytes are marked lost);
- silent: the rest, the dangerous one.

A byte error is a position below the payload's length whose byte is wrong or missing.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from ..contracts.decoded import Decoded


@dataclass(frozen=True, slots=True)
class Tally:
    """Counts of tapes and of byte errors.

    Attributes:
        trials: tapes played.
        right, detected, silent: how they ended; they sum to ``trials``.
        byte_errors: summed over the tapes.
        byte_errors_squared: the sum of each tape's byte errors squared, from which the spread between tapes follows.
        tapes_with_byte_errors: tapes with at least one.
        tapes_wholly_wrong: tapes without a single right byte.
    """

    trials: int = 0
    right: int = 0
    detected: int = 0
    silent: int = 0
    byte_errors: int = 0
    byte_errors_squared: int = 0
    tapes_with_byte_errors: int = 0
    tapes_wholly_wrong: int = 0

    def __add__(self, other: Tally) -> Tally:
        return Tally(*(getattr(self, field.name) + getattr(other, field.name) for field in fields(self)))


def score(payload: bytes, decoded: Decoded) -> Tally:
    """The tally of one tape that held ``payload`` and gave ``decoded``.

    >>> score(b"noon", Decoded(b"moon", intact=None))
    Tally(trials=1, right=0, detected=0, silent=1, byte_errors=1, byte_errors_squared=1, tapes_with_byte_errors=1, \
tapes_wholly_wrong=0)
    """
    right = decoded.payload == payload and decoded.intact is not False
    detected = not right and (decoded.intact is False or bool(decoded.lost))
    errors = _byte_errors(payload, decoded.payload)
    return Tally(
        trials=1,
        right=int(right),
        detected=int(detected),
        silent=int(not right and not detected),
        byte_errors=errors,
        byte_errors_squared=errors * errors,
        tapes_with_byte_errors=int(errors > 0),
        tapes_wholly_wrong=int(errors == len(payload)),
    )


def _byte_errors(payload: bytes, heard: bytes) -> int:
    both = min(len(payload), len(heard))
    wrong = np.frombuffer(payload, np.uint8, both) != np.frombuffer(heard, np.uint8, both)
    return int(np.count_nonzero(wrong)) + len(payload) - both
