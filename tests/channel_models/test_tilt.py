"""Tilted laws, and the dropouts that are drawn with them: their densities are densities, and their weights exact."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats
from tapewright.channel_models.dropouts import Dropouts
from tapewright.channel_models.tilt import TiltedChance, TiltedGaussian
from tapewright.contracts.eventful import Eventful


@given(severity=st.floats(0, 5), low=st.floats(-2.5, 1.2))
def test_tilted_gaussian_is_a_density(severity, low):
    tilted = TiltedGaussian(severity, low, 2.5)
    plain = stats.truncnorm(low, 2.5)
    total, _ = integrate.quad(lambda z: plain.pdf(z) * math.exp(tilted.log_ratio(z)), low, 2.5)
    assert total == pytest.approx(1, abs=1e-6)


@given(severity=st.floats(-3, 5), chance=st.floats(0, 1))
def test_tilted_chances_sum_to_one_and_odds_grow_as_told(severity, chance):
    tilted = TiltedChance(severity, chance)
    happens, not_ = (share * math.exp(tilted.log_ratio(told)) for share, told in ((chance, True), (1 - chance, False)))
    assert happens + not_ == pytest.approx(1)
    assert happens * (1 - chance) == pytest.approx(math.exp(severity) * chance * not_, abs=1e-9)


@pytest.mark.parametrize("severity", [0.0, 1.5, 4.0])
def test_tilted_gaussian_is_drawn_as_its_density_says(severity):
    # Null: scipy's truncated normal about the severity. 4,000 draws, seed 1; Kolmogorov-Smirnov at 1e-6 each of three.
    tilted = TiltedGaussian(severity, -1.0, 2.5)
    rng = np.random.default_rng(1)
    law = stats.truncnorm(-1.0 - severity, 2.5 - severity, loc=severity)
    assert stats.kstest([tilted.drawn(rng) for _ in range(4000)], law.cdf).pvalue > 1e-6


def arrived(model, severity, count, seed):
    rng = np.random.default_rng(seed)
    return [model.arrive(0.0, severity, rng) for _ in range(count)]


def test_dropouts_offer_their_events():
    assert isinstance(Dropouts(), Eventful)


def test_untilted_arrivals_are_the_dropouts_of_plain_tapes():
    # Null: one law. 3,000 of each, seeds 1 and 2: lengths and lifts by Kolmogorov-Smirnov for two samples at 1e-6 each;
    # shares of both tracks and of a missing coat within 5 s.e. of their difference: false alarm 4e-6 in all.
    model = Dropouts(missing_share=0.2)
    plain = model.events(3000 / model.rate_per_s, np.random.default_rng(1))
    drawn = [event for (event,) in arrived(model, 0.0, 3000, 2)]
    for of in (lambda e: e.length_s, lambda e: e.lift_um):
        assert stats.ks_2samp([of(e) for e in plain], [of(e) for e in drawn]).pvalue > 1e-6
    for of in (lambda e: e.left and e.right, lambda e: e.right, lambda e: e.missing_db > 0):
        shares = [np.mean([of(e) for e in events]) for events in (plain, drawn)]
        assert abs(shares[0] - shares[1]) < 5 * math.sqrt(0.5 / 2900)


@pytest.mark.parametrize("model", [Dropouts(), Dropouts(cluster_size=3.0), Dropouts(lift_sigma=0.0, length_sigma=0.5)])
def test_weights_take_the_tilt_back(model):
    # Null: drawn half by the law, half at severity 1, with weights at most 2, the mean weight is 1 and the weighted
    # share of arrivals longer than 25 ms on both tracks is that of plain ones. 20,000 arrivals each way, seeds 3 to 5;
    # 5 s.e. each: false alarm 2e-6 a model.
    def long(events):
        return any(event.length_s > 0.025 and event.left and event.right for event in events)

    drawn = arrived(model, 1.0, 10_000, 3) + arrived(model, 0.0, 10_000, 4)
    weights = np.array([1 / (0.5 + 0.5 * math.exp(model.log_ratio(events, 1.0))) for events in drawn])
    assert abs(weights.mean() - 1) < 5 * weights.std() / math.sqrt(weights.size)
    weighted = weights * [long(events) for events in drawn]
    plain = np.mean([long(events) for events in arrived(model, 0.0, 20_000, 5)])
    assert abs(weighted.mean() - plain) < 5 * math.hypot(weighted.std(), math.sqrt(plain)) / math.sqrt(weights.size)


def test_severity_makes_graver_ones():
    gentle, grave = (arrived(Dropouts(), severity, 500, 5) for severity in (0.0, 3.0))
    for of in (lambda e: e.length_s, lambda e: e.left and e.right, lambda e: e.missing_db):
        assert np.mean([of(e) for (e,) in grave]) > 1.5 * np.mean([of(e) for (e,) in gentle])


def test_arrivals_are_as_many_as_plain_tapes_have():
    # Null: Poisson. Clusters of 4 on 4,000 tapes of 2 s at 0.1 a second, seeds 0 to 3999: the mean number of clusters
    # within 5 s.e.; what touches no frame is among the arrivals, so that fewer are seen.
    model = Dropouts(per_minute=6, cluster_size=2.0)
    first_s, beyond_s = model.span_s(2.0)
    assert model.mean_arrivals(2.0) == pytest.approx(model.rate_per_s / 2.0 * (beyond_s - first_s))
    seen = [bool(model.events(2.0, np.random.default_rng(seed))) for seed in range(4000)]
    most = 1 - math.exp(-model.mean_arrivals(2.0))
    assert np.mean(seen) < most + 5 * math.sqrt(most / 4000)
    # Each cluster is seen if its first dropout falls on the tape.
    least = 1 - math.exp(-model.rate_per_s / 2.0 * 2.0)
    assert np.mean(seen) > least - 5 * math.sqrt(least / 4000)
