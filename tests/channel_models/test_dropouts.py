"""Dropouts against the closed forms of a Poisson process with lengths."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from tapewright.channel_models.dropouts import EDGE_SHARE, Dropouts
from tapewright.contracts.errors import UsageError
from tapewright.contracts.signal import Signal

RATE_HZ = 44_100
PLAIN = {"length_sigma": 0.0, "missing_share": 1.0, "inner_share": 0.0}


def plain(rate_per_s, length_s, **more):
    return Dropouts(per_minute=60 * rate_per_s, length_ms=1000 * length_s, **(PLAIN | more))


@pytest.mark.parametrize(
    ("rate", "block_s", "length_s", "chance"),
    [  # P(hit) = 1 - exp(-rate (T + d)), computed from the closed form
        (0.1, 1.0, 0.02, 0.09697045),
        (0.5, 0.5, 0.01, 0.22508350),
        (1 / 60, 2.0, 0.05, 0.03358958),
        (2.0, 0.1, 0.02, 0.21337214),
    ],
)
@pytest.mark.parametrize("start_s", [0.0, 3.0])
def test_chance_that_a_block_is_hit(rate, block_s, length_s, chance, start_s):
    # Null: the binomial of 3,000 independent tapes with that chance, seeds 0 to 2999; two-sided exact test at 1e-5,
    # eight cases: false alarm 8e-5.
    assert chance == pytest.approx(1 - math.exp(-rate * (block_s + length_s)), abs=5e-9)
    model = plain(rate, length_s)
    hits = 0
    for seed in range(3000):
        events = model.events(start_s + block_s, np.random.default_rng(seed))
        hits += any(e.start_s + e.length_s > start_s and e.start_s < start_s + block_s for e in events)
    assert stats.binomtest(hits, 3000, chance).pvalue > 1e-5


def test_first_frame_is_as_likely_hit_as_any_other():
    # A tape starts in the middle of a dropout as often as closed form has it, 1 - exp(-rate d), T = 0: 0.3297 for 2 a
    # second of 0.2 s. Null: that binomial over 3,000 tapes, seeds 0 to 2999; exact test at 1e-5.
    model = plain(2.0, 0.2)
    tapes = (model.events(0.001, np.random.default_rng(seed)) for seed in range(3000))
    hits = sum(any(event.start_s <= 0 < event.start_s + event.length_s for event in events) for events in tapes)
    assert stats.binomtest(hits, 3000, 1 - math.exp(-0.4)).pvalue > 1e-5


def test_counts_are_poisson():
    # Null: Poisson(3) in 30 s at 0.1 a second; pmf 0..5 .049787 .149361 .224042 .224042 .168031 .100819, the rest
    # .083918. 3,000 tapes, chi-square at 1e-5.
    pmf = np.array([0.049787, 0.149361, 0.224042, 0.224042, 0.168031, 0.100819])
    expected = 3000 * np.append(pmf, 1 - pmf.sum())
    model = plain(0.1, 0.001)
    tapes = (model.events(30.0, np.random.default_rng(seed)) for seed in range(3000))
    counts = [sum(0 <= event.start_s < 30 for event in events) for events in tapes]
    seen = np.bincount(np.minimum(counts, 6), minlength=7)
    assert stats.chisquare(seen, expected).pvalue > 1e-5


@pytest.mark.parametrize(
    ("rate", "length_s", "covered", "clumps_per_s"),
    [(0.5, 0.02, 0.00995017, 0.49502492), (1.0, 0.1, 0.09516258, 0.90483742)],
)
def test_overlaps_follow_the_closed_forms(rate, length_s, covered, clumps_per_s):
    # Covered share 1 - exp(-rate d), clumps a second rate exp(-rate d) (Boolean model), their mean length
    # (exp(rate d) - 1) / rate. Null: that; 20,000 s in 20 tapes. Clumps: s.e. sqrt(n) at most, covered: the clumps'
    # relative s.e. times 1.5 (their lengths vary); 5 s.e. each: false alarm 2e-6.
    model = plain(rate, length_s)
    total, clumps = 0.0, 0
    for seed in range(20):
        reached = 0.0
        for event in model.events(1000.0, np.random.default_rng(seed)):
            start, end = max(0.0, event.start_s), min(1000.0, event.start_s + event.length_s)
            if end <= 0 or start >= 1000.0:
                continue
            clumps += start > reached
            total += max(0.0, end - max(start, reached))
            reached = max(reached, end)
    expected = 20_000 * clumps_per_s
    assert abs(clumps - expected) < 5 * math.sqrt(expected)
    assert abs(total / 20_000 / covered - 1) < 5 * 1.5 / math.sqrt(expected)
    assert total / clumps == pytest.approx((math.exp(rate * length_s) - 1) / rate, rel=5 / math.sqrt(expected))


def test_lengths_and_lifts_are_log_normal():
    # Null: the logarithm is Gaussian, truncated at 2.5 s.d., lift given 0.83 um or more. Some 7,200 dropouts, seed 1;
    # Kolmogorov-Smirnov at 1e-6 each.
    model = Dropouts(
        per_minute=600, length_ms=15, length_sigma=1.0, lift_um=2.0, lift_sigma=0.7, least_um=0.83, missing_share=0.0
    )
    events = model.events(600.0, np.random.default_rng(1))
    lengths = np.log([event.length_s / 0.015 for event in events])
    assert stats.kstest(lengths, stats.truncnorm(-2.5, 2.5).cdf).pvalue > 1e-6
    lifts = np.log([event.lift_um / 2.0 for event in events]) / 0.7
    assert stats.kstest(lifts, stats.truncnorm(math.log(0.83 / 2.0) / 0.7, 2.5).cdf).pvalue > 1e-6


def test_tracks_share_as_declared():
    # Null: the left track 10 a second, the right 0.4 of it, half of the right's on both. Counts over 1,000 s within
    # 5 Poisson s.d.: left 10,000 (500), right 4,000 (316), both 2,000 (224). False alarm 2e-6.
    model = Dropouts(per_minute=600, inner_share=0.4, both_share=0.5)
    events = model.events(1000.0, np.random.default_rng(2))
    assert abs(sum(e.left for e in events) - 10_000) < 500
    assert abs(sum(e.right for e in events) - 4000) < 316
    assert abs(sum(e.left and e.right for e in events) - 2000) < 224
    assert all(e.left or e.right for e in events)


def test_missing_coat_has_its_own_depth_and_share():
    # Null: binomial, share 0.25 of some 10,000; 5 s.d. is 0.022. Seed 3.
    model = Dropouts(per_minute=600, inner_share=0.0, missing_share=0.25, missing_db=33.0)
    events = model.events(1000.0, np.random.default_rng(3))
    assert abs(np.mean([event.missing_db == 33.0 for event in events]) - 0.25) < 0.022
    assert all((event.missing_db == 0) == (event.lift_um >= 0.83) for event in events)


@given(seed=st.integers(0, 2**32 - 1), short_s=st.floats(0, 20), more_s=st.floats(0, 20))
def test_longer_tape_has_the_same_dropouts(seed, short_s, more_s):
    model = Dropouts(per_minute=300)
    short = model.events(short_s, np.random.default_rng(seed))
    long = model.events(short_s + more_s, np.random.default_rng(seed))
    reaching = [event for event in long if event.start_s - event.edge_s / 2 < short_s]
    assert list(short) == reaching


def test_longer_tape_starts_the_same():
    sound = np.random.default_rng(0).uniform(-1, 1, (2, 5 * RATE_HZ))
    model = Dropouts(per_minute=300)
    long = model.degrade(Signal(sound, RATE_HZ), np.random.default_rng(4)).samples
    # A filter reaches 20 ms over the end of the tape.
    reach = round(0.02 * RATE_HZ)
    for frames in range(reach, 4 * RATE_HZ, 7919):
        short = model.degrade(Signal(sound[:, :frames], RATE_HZ), np.random.default_rng(4)).samples
        assert np.array_equal(short[:, : frames - reach], long[:, : frames - reach])


def test_each_dropout_has_raised_cosine_edges_between_half_depths():
    model = plain(2.0, 0.05, missing_db=20.0)
    rng = np.random.default_rng
    sound = Signal(np.ones(20 * RATE_HZ), RATE_HZ)
    heard = model.degrade(sound, rng(5))
    events = [event for event in model.events(20.0, rng(5)) if event.start_s > 0.1]
    alone = next(
        e for e in events if all(f is e or abs(f.start_s - e.start_s) > 0.2 for f in events) and e.start_s < 19
    )
    edge_s = EDGE_SHARE * 0.05
    at = lambda seconds: -20 * math.log10(heard.samples[0, round(seconds * RATE_HZ)])  # noqa: E731
    # A sample is at most 11 us from the instant; the slope in the middle of the edge is 20 dB pi / 2 / 12.5 ms.
    steepest_db = 20 * math.pi / 2 / edge_s * 0.5 / RATE_HZ
    for instant, share in ((0.0, 0.5), (-edge_s / 2, 0.0), (edge_s / 2, 1.0), (edge_s / 4, 0.5 + 0.5 * math.sqrt(0.5))):
        assert at(alone.start_s + instant) == pytest.approx(20 * share, abs=steepest_db)
        assert at(alone.start_s + 0.05 - instant) == pytest.approx(20 * share, abs=steepest_db)
    assert np.array_equal(heard.samples[1], sound.samples[1])


@pytest.mark.parametrize(
    ("lift_um", "hertz", "loss_db"),
    [  # lift, tone, loss: Wallace's formula at 47.6 mm/s
        (0.5, 1200, 0.69),
        (0.5, 2400, 1.38),
        (0.5, 3150, 1.81),
        (0.5, 6300, 3.61),
        (0.5, 10_000, 5.73),
        (1.0, 1200, 1.38),
        (1.0, 2400, 2.75),
        (1.0, 3150, 3.61),
        (1.0, 6300, 7.22),
        (1.0, 10_000, 11.47),
        (5.0, 1200, 6.88),
        (5.0, 2400, 13.76),
        (5.0, 3150, 18.06),
        (5.0, 6300, 36.12),
        (5.0, 10_000, 57.33),
    ],
)
def test_middle_of_a_lift_loses_what_the_table_says(lift_um, hertz, loss_db):
    model = Dropouts(
        per_minute=12,
        length_ms=200,
        length_sigma=0.0,
        lift_um=lift_um,
        lift_sigma=0.0,
        least_um=0.0,
        inner_share=1.0,
        both_share=1.0,
        missing_share=0.0,
    )
    seed = 11
    (event, *_) = [e for e in model.events(30.0, np.random.default_rng(seed)) if e.start_s > 0.2]
    turns = np.exp(2j * np.pi * hertz / RATE_HZ * np.arange(round((event.start_s + 1) * RATE_HZ)))
    heard = model.degrade(Signal(turns.imag, RATE_HZ), np.random.default_rng(seed)).samples
    middle = round((event.start_s + event.length_s / 2) * RATE_HZ)
    inner = slice(middle - 1500, middle + 1500)
    window = np.hanning(3000)
    peaks = 2 * np.abs((heard[:, inner] * turns[inner].conj() * window).sum(axis=1)) / window.sum()
    # The table is rounded to 0.01 dB; the filter is right to 0.05 dB, and rounds the cusp at 0 Hz off below 1 kHz.
    assert -20 * np.log10(peaks) == pytest.approx(loss_db, abs=0.1)
    assert np.array_equal(heard[0], heard[1])


@given(seed=st.integers(0, 2**32 - 1), size=st.floats(1.5, 10.0))
def test_clusters_keep_the_rate_and_the_law_of_longer_tapes(seed, size):
    model = Dropouts(per_minute=300, cluster_size=size)
    short = model.events(5.0, np.random.default_rng(seed))
    long = model.events(25.0, np.random.default_rng(seed))
    assert list(short) == [event for event in long if event.touches(5.0)]
    assert [event.start_s for event in long] == sorted(event.start_s for event in long)


def test_clusters_come_together_and_keep_the_mean_rate():
    # Null: clusters are Poisson, sizes geometric with mean 4 (variance 12): counts in 2,000 s at 5 a second have mean
    # 10,000 and variance rate / 4 times E[size^2] = 28, 70,000: s.d. 265, five of them. Clustered gaps are shorter:
    # the median of an exponential gap is 0.69 of the mean.
    events = Dropouts(per_minute=300, inner_share=0.0, cluster_size=4.0).events(2000.0, np.random.default_rng(6))
    plain_events = Dropouts(per_minute=300, inner_share=0.0).events(2000.0, np.random.default_rng(6))
    assert abs(len(events) - 10_000) < 5 * 265
    for found, low, high in ((events, 0.0, 0.62), (plain_events, 0.64, 0.75)):
        gaps = np.diff([event.start_s for event in found])
        assert low < np.median(gaps) / gaps.mean() < high


def test_passes_wear_the_tape_by_the_documented_law():
    rates = [Dropouts(per_minute=1.0, passes=passes).worn_per_minute for passes in (0, 1, 10, 100)]
    assert rates == pytest.approx([1.0, 1.03, 1.3, 4.0])


def test_lift_that_hardly_ever_comes_is_refused():
    with pytest.raises(UsageError, match=r"dropouts: parameter 'least_um' must be at most 2 um.*not 30"):
        Dropouts(lift_um=2.0, lift_sigma=0.0, least_um=30.0)
