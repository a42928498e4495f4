"""Dropouts as figures: how often, how long, how deep, how many on both tracks."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .carrier_losses import LEAST_LIFT_UM, Loss, on_both
from .figures import CONFIDENCE, Figure, Finding, Histogram, Missing, of_counts, student_t

FEWEST_FOR_SHAPE = 8
"""Below that many dropouts neither their lengths nor their lifts have a distribution worth stating."""

LENGTH_EDGES_MS = (0.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
LIFT_EDGES_UM = (0.83, 1.0, 1.5, 2.0, 3.0, 5.0, 8.0, 15.0)
DEPTH_EDGES_DB = (3.0, 6.0, 10.0, 15.0, 20.0, 30.0, 40.0, 60.0)


def dropout_findings(found: Sequence[Sequence[Loss]], tracks: Sequence[str], minutes: float) -> list[Finding]:
    """Figures of the dropouts of one or two tracks.

    Args:
        found: the dropouts of each track.
        tracks: the names of the tracks.
        minutes: how long was listened.
    """
    findings: list[Finding] = []
    method = f"lift of at least {LEAST_LIFT_UM:g} um (6 dB at 6.3 kHz), counted over {60 * minutes:.0f} s"
    for one, track in zip(found, tracks, strict=True):
        findings.append(of_counts(f"dropouts_{track}_per_minute", len(one), minutes, method))
    if len(found) == 2:
        findings.append(_share("dropouts_on_both_share", on_both(list(found[0]), list(found[1])), len(found[1])))
    every = _once(found)
    findings.append(_missing_oxide(every))
    lengths_ms = np.array([1000 * loss.length_s for loss in every])
    lifts = np.array([loss.lift_um for loss in every if loss.lift_um is not None])
    findings += _lengths(lengths_ms)
    findings += _lifts(lifts)
    if every:
        depths = np.array([loss.depth_db for loss in every])
        findings += [
            _histogram("dropout_length_ms", LENGTH_EDGES_MS, lengths_ms),
            _histogram("dropout_lift_um", LIFT_EDGES_UM, lifts),
            _histogram("dropout_depth_db", DEPTH_EDGES_DB, depths),
        ]
    return findings


def _once(found: Sequence[Sequence[Loss]]) -> list[Loss]:
    """All dropouts; of those on both tracks the deeper one."""
    every = list(found[0])
    for loss in found[1] if len(found) == 2 else ():
        partner = next((one for one in every if one.start_s < loss.end_s and one.end_s > loss.start_s), None)
        if partner is None:
            every.append(loss)
        elif loss.depth_db > partner.depth_db:
            every[every.index(partner)] = loss
    return every


def _share(name: str, count: int, of: int) -> Finding:
    """A share with Jeffreys' interval, which holds the true one in 95 % on average (Brown, Cai and DasGupta, 2001).

    The exact one of Clopper and Pearson holds it in 99 % and more where the counts are as small as here.
    """
    from scipy.special import betaincinv

    if not of:
        return Missing(name, "there were no dropouts to share out")
    tail = (1 - CONFIDENCE) / 2
    low = float(betaincinv(count + 0.5, of - count + 0.5, tail)) if count else 0.0
    high = float(betaincinv(count + 0.5, of - count + 0.5, 1 - tail)) if count < of else 1.0
    return Figure(name, count / of, low, high, f"{count} of {of}")


def _missing_oxide(every: Sequence[Loss]) -> Finding:
    """The share where oxide is missing; dropouts that may be either widen its interval upwards."""
    name = "dropouts_missing_oxide_share"
    missing, unclear = sum(loss.lift_um is None for loss in every), sum(loss.unclear for loss in every)
    if unclear == len(every):
        return Missing(name, "there were no dropouts in which lift and missing oxide could be told apart")
    least, most = _share(name, missing, len(every)), _share(name, missing + unclear, len(every))
    assert isinstance(least, Figure)
    assert isinstance(most, Figure)
    told = f"; {unclear} more are too deep to tell" if unclear else ""
    return Figure(name, missing / (len(every) - unclear), least.low, most.high, f"{missing} of {len(every)}{told}")


def _lengths(lengths_ms: NDArray[np.float64]) -> list[Finding]:
    names = ("dropout_length_median_ms", "dropout_length_sigma")
    if lengths_ms.size < FEWEST_FOR_SHAPE:
        return [Missing(name, f"{lengths_ms.size} dropouts do not show a distribution") for name in names]
    logs = np.log(lengths_ms)
    mean, spread = float(logs.mean()), float(logs.std(ddof=1))
    half = student_t(logs.size) * spread / math.sqrt(logs.size)
    low, high = _spread_interval(spread, logs.size)
    return [
        Figure(names[0], math.exp(mean), math.exp(mean - half), math.exp(mean + half), "between half-depth points"),
        Figure(names[1], spread, low, high, "standard deviation of the logarithm of the length"),
    ]


def _spread_interval(spread: float, count: int) -> tuple[float, float]:
    """Of a Gaussian's standard deviation, by the chi-squared distribution."""
    from scipy.special import gammaincinv

    tail = (1 - CONFIDENCE) / 2
    half = (count - 1) / 2
    ends = (2 * float(gammaincinv(half, 1 - tail)), 2 * float(gammaincinv(half, tail)))
    low, high = (spread * math.sqrt((count - 1) / end) for end in ends)
    return low, high


def _lifts(lifts: NDArray[np.float64]) -> list[Finding]:
    """Median and sigma of a log-normal lift of which only what is above the least lift is seen.

    Maximum likelihood on a grid, the intervals by the likelihood ratio (chi-squared, one degree of freedom).
    """
    names = ("dropout_lift_median_um", "dropout_lift_sigma")
    if lifts.size < FEWEST_FOR_SHAPE:
        return [Missing(name, f"{lifts.size} lifts do not show a distribution") for name in names]
    from scipy.special import log_ndtr

    logs = np.log(lifts)
    medians = np.log(np.geomspace(LEAST_LIFT_UM / 8, 4 * float(lifts.max()), 200))[:, None]
    sigmas = np.geomspace(0.05, 3.0, 120)[None, :]
    total, square = float(logs.sum()), float((logs**2).sum())
    squares = square - 2 * medians * total + logs.size * medians**2
    likelihood = -squares / (2 * sigmas**2) - logs.size * np.log(sigmas)
    likelihood -= logs.size * log_ndtr((medians - math.log(LEAST_LIFT_UM)) / sigmas)
    best = np.unravel_index(int(likelihood.argmax()), likelihood.shape)
    near = likelihood > likelihood.max() - 1.92
    rows, columns = np.flatnonzero(near.any(axis=1)), np.flatnonzero(near.any(axis=0))
    if rows[0] == 0:
        reason = "the dropouts show only the tail of their distribution above the least lift"
        return [Missing(name, reason) for name in names]
    middle, low, high = (float(np.exp(medians[row, 0])) for row in (best[0], rows[0], rows[-1]))
    spread, least, most = (float(sigmas[0, column]) for column in (best[1], columns[0], columns[-1]))
    method = f"log-normal, of which what is above {LEAST_LIFT_UM:g} um is seen"
    return [Figure(names[0], middle, low, high, method), Figure(names[1], spread, least, most, method)]


def _histogram(name: str, edges: tuple[float, ...], values: NDArray[np.float64]) -> Histogram:
    counts, _ = np.histogram(np.clip(values, edges[0], edges[-1]), edges)
    return Histogram(name, edges, tuple(int(count) for count in counts))
