"""The frontier: rows that no other row beats in both useful bytes per second and residual byte error."""

from __future__ import annotations

from collections.abc import Sequence


def on_frontier(points: Sequence[tuple[float, float]]) -> tuple[bool, ...]:
    """Which of ``points`` (useful bytes per second, byte error rate) are Pareto-optimal.

    More bytes per second is better, a smaller error rate is better. A point leaves the frontier when another is at
    least as good in both and better in one; equal points stand or fall together.

    >>> on_frontier([(10.0, 0.0), (80.0, 0.0), (120.0, 0.01), (100.0, 0.02)])
    (False, True, True, False)
    """
    return tuple(
        not any(
            speed >= own_speed and error <= own_error and (speed > own_speed or error < own_error)
            for speed, error in points
        )
        for own_speed, own_error in points
    )
