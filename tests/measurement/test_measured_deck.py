"""The whole measurement on decks whose figures are known: an interval holds the true figure as often as it says."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from deck_rate import LOW_RATE_HZ
from scipy.stats import binom
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


def covered(profile: Profile, deck: Deck, rate_hz: int) -> tuple[Counter[str], Counter[str]]:
    """How many intervals of each figure hold the true one, and how many there are."""
    inside: Counter[str] = Counter()
    stated: Counter[str] = Counter()
    for name, true in deck.truth(rate_hz).items():
        if isinstance(true, float):
            figure = profile.figure(name)
            if figure is not None:
                stated[name] += 1
                inside[name] += figure.low <= true <= figure.high
            continue
        curve = profile.curve(name)
        if curve is None:
            continue
        for hz, value in zip(RESPONSE_HZ, true, strict=True):
            if hz in curve.places and hz != 315.0 and value > WANDERS_BELOW_DB:
                at = curve.places.index(hz)
                stated[name] += 1
                inside[name] += bool(curve.lows[at] <= value <= curve.highs[at])
    return inside, stated


def test_one_deck_is_measured_rightly(measured: Measurement, deck: Deck) -> None:
    # Null: each of some 60 intervals holds the true figure with 95 %; seed 7; fewer than 48 of 60: chance below 1e-5.
    inside, stated = covered(measured.profile, deck, LOW_RATE_HZ)
    assert sum(stated.values()) >= 55
    assert sum(inside.values()) >= 0.8 * sum(stated.values())


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
    """Null: coverage of each figure lies in 90 to 99 %; seeds 300 to 349, N = 50 tapes; false alarm 0.1 % a figure.

    A curve counts as one figure of 15 points a tape.
    """
    recording = whole_recording()
    inside: Counter[str] = Counter()
    stated: Counter[str] = Counter()
    for seed in range(FIRST_SEED, FIRST_SEED + TAPES):
        deck = Deck.drawn(seed)
        held, of = covered(measure(deck.play(recording)).profile, deck, recording.sample_rate_hz)
        inside += held
        stated += of
    told = {name: f"{inside[name]} of {stated[name]}" for name in stated}
    for name, count in stated.items():
        assert count >= TAPES / 2, told
        assert binom.cdf(inside[name], count, LEAST_COVERAGE) > FALSE_ALARM, (name, told)
        assert binom.sf(inside[name] - 1, count, MOST_COVERAGE) > FALSE_ALARM, (name, told)
    total = sum(stated.values())
    assert LEAST_COVERAGE <= sum(inside.values()) / total <= MOST_COVERAGE, told


def test_figures_and_reasons_never_share_a_name(measured: Measurement) -> None:
    profile = measured.profile
    names = [one.name for one in (*profile.figures, *profile.missing)]
    assert len(names) == len(set(names))
    assert all(isinstance(one, Figure | Missing | Curve) for one in (*profile.figures, *profile.missing))
