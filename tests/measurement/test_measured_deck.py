"""The whole measurement on decks whose figures are known: an interval holds the true figure as often as it says."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
import pytest
from deck_rate import LOW_RATE_HZ
from scipy.stats import binom, chi2, norm, sem, t
from simulated_deck import Deck
from tapewright.contracts.signal import Signal
from tapewright.measurement.figures import Curve, Figure, Missing
from tapewright.measurement.layout import RESPONSE_HZ, whole_recording
from tapewright.measurement.measuring import Measurement, measure
from tapewright.measurement.profile import Profile

TAPES = 50
WANDERS_BELOW_DB = -20.0
"""Near the null of an azimuth error its wander makes a mean that is not the response to the mean."""

FIRST_SEED = 300
LEAST_COVERAGE, MOST_COVERAGE = 0.90, 0.99
FALSE_ALARM = 1e-3

COUNTED = ("_per_minute", "_share")
"""Figures whose errors are those of small counts and far from Gaussian."""


@dataclass(frozen=True)
class Reading:
    """A figure as it is, as it was read, and the interval that was stated."""

    true: float
    value: float
    low: float
    high: float

    @property
    def error(self) -> float:
        """Re what half the interval on that side stands for: of 1 on average if it holds the true one in 95 %."""
        half = self.high - self.value if self.true > self.value else self.value - self.low
        return 1.96 * (self.value - self.true) / max(half, 1e-12)


def readings(profile: Profile, deck: Deck, rate_hz: int) -> dict[str, list[Reading]]:
    """Each figure that was measured and whose true value is known; of a curve, each of its points."""
    found: dict[str, list[Reading]] = {}
    for name, true in deck.truth(rate_hz).items():
        if isinstance(true, float):
            figure = profile.figure(name)
            if figure is not None:
                found[name] = [Reading(true, figure.value, figure.low, figure.high)]
            continue
        curve = profile.curve(name)
        if curve is None:
            continue
        for hz, value in zip(RESPONSE_HZ, true, strict=True):
            if hz in curve.places and hz != 315.0 and value > WANDERS_BELOW_DB:
                at = curve.places.index(hz)
                one = Reading(float(value), curve.values[at], curve.lows[at], curve.highs[at])
                found.setdefault(name, []).append(one)
    return found


def chance_of_so_few(shares: list[float]) -> float:
    """Of no more intervals that hold the true figure, where 90 % do; one share a tape."""
    if set(shares) <= {0.0, 1.0}:
        return float(binom.cdf(sum(shares), len(shares), LEAST_COVERAGE))
    return float(t.cdf((np.mean(shares) - LEAST_COVERAGE) / sem(shares), len(shares) - 1))


def chance_of_so_many(shares: list[float]) -> float:
    """Of no fewer, where 99 % do."""
    if set(shares) <= {0.0, 1.0}:
        return float(binom.sf(sum(shares) - 1, len(shares), MOST_COVERAGE))
    return float(t.sf((np.mean(shares) - MOST_COVERAGE) / sem(shares), len(shares) - 1))


def chance_of_so_small(squares: list[float]) -> float:
    """Of no larger errors, where they are Gaussian and 99 % of the intervals hold the true figure."""
    scale = (norm.ppf(0.5 + MOST_COVERAGE / 2) / norm.ppf(0.975)) ** 2
    return float(chi2.cdf(scale * sum(squares), len(squares)))


def test_one_deck_is_measured_rightly(measured: Measurement, deck: Deck) -> None:
    # Null: each of some 60 intervals holds the true figure with 95 %; seed 7; fewer than 48 of 60: chance below 1e-5.
    every = [one for points in readings(measured.profile, deck, LOW_RATE_HZ).values() for one in points]
    assert len(every) >= 55
    assert sum(one.low <= one.true <= one.high for one in every) >= 0.8 * len(every)


def test_the_law_s_own_tests_refuse_what_they_should() -> None:
    # Worked out: P(X <= 38 | 50, 0.9) = 0.3 %, P(X <= 36) < 0.1 %; 50 of 50 at 99 % have 0.99^50 = 60.5 %.
    assert chance_of_so_few([1.0] * 38 + [0.0] * 12) > FALSE_ALARM > chance_of_so_few([1.0] * 36 + [0.0] * 14)
    assert chance_of_so_many([1.0] * 50) == pytest.approx(0.605, abs=1e-3)
    # Errors of 0.76 have just 99 % of their intervals right; a third of that in 50 tapes is no accident.
    assert chance_of_so_small([0.76**2] * 50) > 0.3
    assert chance_of_so_small([0.25**2] * 50) < FALSE_ALARM


def test_every_figure_of_a_whole_capture_is_there(measured: Measurement, deck: Deck) -> None:
    names = {one.name for one in measured.profile.figures}
    wanted = {name for name in deck.truth(LOW_RATE_HZ) if not name.startswith("response")}
    assert wanted <= names
    assert {"response_left_db", "response_right_db", "flutter_spectrum_percent"} <= {
        one.name for one in measured.profile.curves
    }
    assert {"dropout_length_ms", "dropout_lift_um", "dropout_depth_db"} == {
        one.name for one in measured.profile.histograms
    }
    for one in measured.profile.figures:
        assert np.isfinite([one.value, one.low, one.high]).all()
        assert one.low <= one.value <= one.high
        assert one.method


def test_the_mechanical_causes_are_named(measured: Measurement, deck: Deck) -> None:
    # The deck's components: wow between 0.8 and 2 Hz, flutter between 5 and 8 Hz.
    (fast,) = [line for line in measured.profile.lines if line.frequency_hz > 4]
    assert fast.cause == "capstan"
    assert fast.frequency_hz == pytest.approx(deck.flutter_hz, abs=0.1)
    assert fast.peak_percent == pytest.approx(deck.flutter_percent, rel=0.1)


def test_polarity_is_told(measured: Measurement, deck: Deck) -> None:
    assert measured.profile.provenance["polarity_inverted"] == deck.inverted
    assert measured.profile.provenance["tracks_swapped"] is False


def test_swapping_the_tracks_changes_nothing_but_the_note(capture: Signal, measured: Measurement) -> None:
    swapped = measure(Signal(capture.samples[::-1], capture.sample_rate_hz)).profile
    assert swapped.provenance["tracks_swapped"] is True
    assert any("swapped" in note for note in swapped.notes)
    for one in measured.profile.figures:
        other = swapped.figure(one.name)
        assert other is not None, one.name
        assert other.value == pytest.approx(one.value, rel=1e-3, abs=1e-3), one.name


@pytest.mark.acceptance
def test_intervals_hold_the_true_figures_as_often_as_they_say() -> None:
    """Null: each figure's interval holds the true one in 90 to 99 % of all tapes; N = 50, seeds 300 to 349.

    A figure is refused only if so few (or so many) of its intervals hold the true one that the nearer end of that
    range has a chance of 0.1 %; with some 40 figures and two ends one false alarm comes in 25 runs at worst, if every
    figure lay at an end. 50 of 50 have a chance of 60 % at 99 %: a figure with intervals far too wide is refused by
    how small its errors are re its intervals, taken as Gaussian (counts are not), whose mean square is improbably low.
    The points of a curve go together, so a tape counts as one for them as well: Student's t of their shares.
    """
    recording = whole_recording()
    held: defaultdict[str, list[float]] = defaultdict(list)
    squares: defaultdict[str, list[float]] = defaultdict(list)
    total, of = 0, 0
    for seed in range(FIRST_SEED, FIRST_SEED + TAPES):
        deck = Deck.drawn(seed)
        for name, points in readings(measure(deck.play(recording)).profile, deck, recording.sample_rate_hz).items():
            inside = [one.low <= one.true <= one.high for one in points]
            held[name].append(float(np.mean(inside)))
            squares[name].append(float(np.mean([one.error**2 for one in points])))
            total, of = total + sum(inside), of + len(points)
    told = {
        name: f"{sum(shares):.1f} of {len(shares)}, error {np.sqrt(np.mean(squares[name])):.2f}"
        for name, shares in held.items()
    }
    for name, shares in held.items():
        assert len(shares) >= TAPES / 2, told
        assert chance_of_so_few(shares) > FALSE_ALARM, (name, told)
        assert chance_of_so_many(shares) > FALSE_ALARM, (name, told)
        if not name.endswith(COUNTED):
            assert chance_of_so_small(squares[name]) > FALSE_ALARM, (name, told)
    assert LEAST_COVERAGE <= total / of <= MOST_COVERAGE, told


def test_figures_and_reasons_never_share_a_name(measured: Measurement) -> None:
    profile = measured.profile
    names = [one.name for one in (*profile.figures, *profile.missing)]
    assert len(names) == len(set(names))
    assert all(isinstance(one, Figure | Missing | Curve) for one in (*profile.figures, *profile.missing))
