"""Packs: as many tapes as are worth handing to another process or machine at once."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from itertools import groupby

from .trials import Tape

MOST_TAPES = 256
"""In one pack."""

_LONGEST_RUN = 4096


class Packs:
    """Cuts tapes into packs of equal tasks; single ones until a kind's cost is known."""

    def __init__(self, tapes: Iterable[Tape]) -> None:
        self._runs = (deque(run) for run in _runs(tapes))
        self._run: deque[Tape] = deque()
        self._cost_s: dict[tuple[str, str], float] = {}

    def took(self, kind: tuple[str, str], busy_s: Iterable[float]) -> None:
        """Tapes of that kind took so long."""
        self._cost_s[kind] = min(busy_s)

    def next(self, order_s: float) -> tuple[Tape, ...]:
        """The next pack, of about ``order_s``; empty at the end."""
        while not self._run:
            run = next(self._runs, None)
            if run is None:
                return ()
            self._run = run
        cost_s = self._cost_s.get(self._run[0].kind)
        size = 1 if cost_s is None else max(1, min(MOST_TAPES, int(order_s / max(cost_s, 1e-6))))
        return tuple(self._run.popleft() for _ in range(min(size, len(self._run))))


def _runs(tapes: Iterable[Tape]) -> Iterator[list[Tape]]:
    """Consecutive tapes of equal tasks, a few thousand at most."""
    for _, run in groupby(tapes, key=lambda tape: (tape.kind, tape.tasks)):
        ours: list[Tape] = []
        for tape in run:
            ours.append(tape)
            if len(ours) == _LONGEST_RUN:
                yield ours
                ours = []
        if ours:
            yield ours
