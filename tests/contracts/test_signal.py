"""Signal and SoftBits: what may go in, and that nothing can change it afterwards."""

import copy
import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.contracts.decoded import Event
from tapewright.contracts.errors import UsageError
from tapewright.contracts.signal import LOUDEST, Signal
from tapewright.contracts.soft_bits import CERTAIN, LOST, SoftBits


def test_one_track_is_laid_on_both_rows():
    signal = Signal([0.25, -0.5], 8_000)
    assert signal.samples.tolist() == [[0.25, -0.5], [0.25, -0.5]]
    assert signal.samples.dtype == np.float32
    assert (signal.frames, signal.duration_s) == (2, 2 / 8_000)


@pytest.mark.parametrize("frames", [0, 1, 3])
@pytest.mark.parametrize("layout", ["C", "F"])
@pytest.mark.parametrize("dtype", [np.float32, np.float64, np.int16])
def test_samples_are_contiguous_read_only_and_of_their_own(frames, layout, dtype):
    given_ = np.ones((2, frames), dtype=dtype, order=layout)
    signal = Signal(given_, 44_100)
    given_[:] = 0
    assert (signal.samples == 1).all()
    assert signal.samples.flags.c_contiguous
    assert not signal.samples.flags.writeable
    assert given_.flags.writeable


def test_one_frame_on_one_track_is_still_contiguous():
    assert Signal([0.5], 44_100).samples.flags.c_contiguous


def test_a_finished_array_is_shared_not_copied():
    ready = np.zeros((2, 5), np.float32)
    ready.flags.writeable = False
    assert Signal(ready, 44_100).samples is ready


def test_owning_takes_the_array_and_closes_it():
    fresh = np.zeros((2, 5), np.float32)
    signal = Signal.owning(fresh, 44_100)
    assert signal.samples is fresh
    with pytest.raises(ValueError, match="read-only"):
        fresh[0, 0] = 1


@pytest.mark.parametrize(
    "samples",
    [
        np.zeros((2, 5)),
        np.zeros((5, 2), np.float32),
        np.zeros(5, np.float32),
        np.zeros((2, 10), np.float32)[:, ::2],
        np.zeros((2, 5), np.float32, order="F"),
    ],
)
def test_owning_takes_nothing_that_would_need_a_copy(samples):
    with pytest.raises(UsageError, match="C-contiguous float32"):
        Signal.owning(samples, 44_100)


def test_what_the_caller_knows_to_be_bearable_is_not_looked_at():
    samples = np.full((2, 5), np.nan, np.float32)
    assert np.isnan(Signal.owning(samples, 44_100, known_peak=1.0).samples).all()
    with pytest.raises(UsageError, match="within"):
        Signal.owning(np.full((2, 5), 2e6, np.float32), 44_100, known_peak=2e6)


@pytest.mark.parametrize("place", [(0, 0), (0, 199_999), (1, 0), (1, 100_000), (1, 199_999)])
def test_every_sample_of_a_long_signal_is_looked_at(place):
    samples = np.zeros((2, 200_000), np.float32)
    samples[place] = -2e6
    with pytest.raises(UsageError, match="within"):
        Signal.owning(samples, 44_100)


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, 1e300])
@pytest.mark.parametrize("place", [(0, 0), (1, 99)])
def test_samples_must_be_finite(value, place):
    samples = np.zeros((2, 100))
    samples[place] = value
    with pytest.raises(UsageError, match="'samples' must be finite"):
        Signal(samples, 44_100)
    with np.errstate(over="ignore"), pytest.raises(UsageError, match="'samples' must be finite"):
        Signal.owning(samples.astype(np.float32), 44_100)


def test_plus_and_minus_infinity_do_not_cancel():
    with pytest.raises(UsageError, match="finite"):
        Signal([[np.inf, 0], [0, -np.inf]], 44_100)


@pytest.mark.parametrize("sample", [3e38, -3e38, 2e6])
def test_no_sound_is_a_million_times_full_scale(sample):
    with pytest.raises(UsageError) as caught:
        Signal([0, sample], 44_100)
    assert str(caught.value) == (
        f"Argument 'samples' must be within +-1,000,000 (full scale is 1), not {abs(np.float32(sample)):g}."
    )
    assert Signal([LOUDEST, -LOUDEST], 44_100).frames == 2


@pytest.mark.parametrize(
    "samples",
    [
        0.0,
        np.zeros((3, 4)),
        np.zeros((1, 4)),
        np.zeros((2, 2, 2)),
        ["a"],
        np.zeros(4, complex),
        np.zeros(4, bool),
        None,
    ],
)
def test_another_shape_or_kind_is_refused(samples):
    with pytest.raises(UsageError, match="Argument 'samples' must"):
        Signal(samples, 44_100)


@pytest.mark.parametrize("rate", [999, 768_001, 0, -44_100, 44_100.5, "44100", "fast", None, True, np.nan, np.inf, [1]])
def test_another_rate_is_refused(rate):
    with pytest.raises(UsageError, match="Argument 'sample_rate_hz' must be"):
        Signal([0.0], rate)


@pytest.mark.parametrize("rate", [44_100, 44_100.0, np.int32(44_100), np.float64(44_100)])
def test_a_whole_rate_of_any_type_is_an_int(rate):
    assert type(Signal([0.0], rate).sample_rate_hz) is int


def test_a_signal_is_frozen_equal_by_value_and_has_no_hash():
    signal = Signal([0.5], 44_100)
    with pytest.raises(AttributeError):
        signal.sample_rate_hz = 8_000
    assert signal == Signal([0.5], 44_100)
    assert signal != Signal([0.5], 48_000)
    assert signal != Signal([0.25], 44_100)
    assert signal != "signal"
    with pytest.raises(TypeError):
        hash(signal)


@given(st.integers(0, 400), st.integers(0, 2**32 - 1))
def test_signals_and_soft_bits_survive_pickle_and_copy(size, seed):
    rng = np.random.default_rng(seed)
    signal = Signal(rng.normal(size=(2, size)), 44_100)
    heard = SoftBits(rng.normal(size=size), rng.random(size), (Event("hum", 0.5),))
    for remade in (pickle.loads(pickle.dumps(signal)), copy.deepcopy(signal), copy.copy(signal)):
        assert remade == signal
        assert not remade.samples.flags.writeable
    for again in (pickle.loads(pickle.dumps(heard)), copy.deepcopy(heard)):
        assert np.array_equal(again.values, heard.values)
        assert np.array_equal(again.times_s, heard.times_s)
        assert again.events == heard.events
        assert not again.values.flags.writeable
        assert not again.times_s.flags.writeable


def test_soft_bits_copy_what_they_are_given():
    values, times_s = np.ones(3, np.float32), np.arange(3.0)
    heard = SoftBits(values, times_s)
    values[:] = times_s[:] = -1
    assert heard.values.tolist() == [1, 1, 1]
    assert heard.times_s.tolist() == [0, 1, 2]


def test_the_sign_is_the_bit_and_nothing_heard_is_zero():
    assert SoftBits([2, -2, 0.1, -0.1, 0]).bits.tolist() == [1, 0, 1, 0, 0]
    assert SoftBits.certain([1, 0, 1]).values.tolist() == [CERTAIN, -CERTAIN, CERTAIN]
    assert LOST < 1 < CERTAIN


def test_one_time_serves_for_all():
    assert SoftBits([1, 1], 2.5).times_s.tolist() == [2.5, 2.5]
    assert len(SoftBits([])) == 0
    assert SoftBits(1.0).values.shape == (1,)


@pytest.mark.parametrize(
    ("values", "times_s"),
    [
        ([[1.0]], 0.0),
        (np.zeros((2, 3)), 0.0),
        ([np.nan], 0.0),
        ([np.inf], 0.0),
        ([1e300], 0.0),
        ([1.0], np.nan),
        ([1.0, 2.0], [0.0, 1.0, 2.0]),
        ([1.0], [[0.0, 1.0]]),
        ([1.0], [[0.0]]),
        ([1.0], np.zeros((1, 1))),
        ([1.0, 2.0], [[0.0, 1.0]]),
        ([1.0, 2.0], np.zeros((1, 2))),
        ([1.0, 2.0], [0.0]),
        ([], [0.0]),
        ([1.0], [0.0, 1.0]),
        (["one"], 0.0),
        ([1.0], ["soon"]),
    ],
)
def test_other_soft_bits_are_refused(values, times_s):
    with pytest.raises(UsageError, match="Argument") as caught:
        SoftBits(values, times_s)
    assert "'values'" in str(caught.value)
