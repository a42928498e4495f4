"""Noise that comes with a carrier, and echoes of it: read from sounds that hold so much of it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from tapewright.contracts import registry
from tapewright.contracts.signal import Signal
from tapewright.measurement.carrier_losses import Loss, LossSeries, loss_series
from tapewright.measurement.coat_noise import modulation_noise, print_through
from tapewright.measurement.figures import Figure, Missing
from tapewright.measurement.measuring import measure
from tapewright.measurement.playing import Playing
from tapewright.measurement.silence import Noise

RATE_HZ = 9600.0
NOISE_HZ = 3000.0


def carrier(power_db: float, width_hz: float, hiss: float, seconds: float = 60.0) -> LossSeries:
    """A carrier of amplitude 1 whose amplitude has Gaussian noise in it, up to ``width_hz``, and hiss beside it."""
    rng = np.random.default_rng(8)
    count = round(seconds * RATE_HZ)
    spectrum = np.fft.rfft(rng.standard_normal(count))
    spectrum[np.fft.rfftfreq(count, 1 / RATE_HZ) > width_hz] = 0.0
    noise = np.fft.irfft(spectrum, count)
    values = 1 + noise / noise.std() * 10 ** (power_db / 20)
    drawn = np.fft.fft(rng.standard_normal(count) + 1j * rng.standard_normal(count))
    drawn[np.abs(np.fft.fftfreq(count, 1 / RATE_HZ)) > NOISE_HZ / 2] = 0.0
    beside = np.fft.ifft(drawn)
    values = values + beside / np.sqrt(np.mean(np.abs(beside) ** 2)) * np.sqrt(hiss)
    return loss_series(values, RATE_HZ, 3150.0, 0.0, hiss, NOISE_HZ)


@pytest.mark.parametrize("power_db", [-34.0, -45.0])
@pytest.mark.parametrize("hiss", [1e-6, 1e-4])
def test_modulation_noise_is_read_beside_hiss(power_db: float, hiss: float) -> None:
    # Null: flat up to 250 Hz, 30,000 degrees of freedom in 60 s: s.e. 0.04 dB; what is continued below 120 Hz 0.1 dB.
    told = modulation_noise([carrier(power_db, 250.0, hiss)], [], "left")
    assert isinstance(told, Figure)
    assert told.value == pytest.approx(power_db, abs=0.4)
    assert told.low - 0.1 <= power_db <= told.high + 0.1


def test_dropouts_are_left_out_and_hiss_alone_is_none() -> None:
    clean = carrier(-40.0, 250.0, 1e-6)
    share = clean.share.copy()
    share[20_000:20_100] *= 0.01
    cut = LossSeries(share, clean.noise, clean.carrier_hz, clean.start_s, clean.rate_hz, clean.noise_hz)
    start_s = 20_000 / clean.rate_hz
    told = modulation_noise([cut], [Loss(start_s, 100 / clean.rate_hz, 20.0, 5.0, 0, 3150.0)], "left")
    assert isinstance(told, Figure)
    assert told.value == pytest.approx(-40.0, abs=0.4)
    spoiled = modulation_noise([cut], [], "left")
    assert not isinstance(spoiled, Figure) or spoiled.value > -39.0
    none = modulation_noise([carrier(-120.0, 250.0, 1e-3)], [], "left")
    assert isinstance(none, Missing)
    assert "it is below" in none.reason
    assert isinstance(modulation_noise([carrier(-40.0, 250.0, 1e-6, 5.0)], [], "left"), Missing)


@pytest.mark.parametrize("echo_db", [-36.0, -46.0])
def test_echoes_are_read_in_the_silence_beside_the_carrier(recording: Signal, echo_db: float) -> None:
    spec = f"print_through:level_db={echo_db}/hiss:level_db=-60,place=replay"
    profile = measure(registry.channel(spec).degrade(recording, np.random.default_rng(2))).profile
    for track in ("left", "right"):
        figure = profile.figure(f"print_through_{track}_db")
        assert figure is not None
        assert figure.value == pytest.approx(echo_db, abs=1.5)
        assert figure.low <= echo_db <= figure.high


def test_no_echo_is_said_with_its_bound(recording: Signal) -> None:
    heard = registry.channel("hiss:level_db=-46,place=replay").degrade(recording, np.random.default_rng(2))
    told = {one.name: one.reason for one in measure(heard).profile.missing}
    assert "no echo of the carrier stands out of the noise: it is below -" in told["print_through_left_db"]


def test_a_silence_that_holds_nothing_at_all_has_no_echo(recording: Signal) -> None:
    """The recording itself, never on a tape: its silence is digital zeros."""
    rate = recording.sample_rate_hz
    play = SimpleNamespace(
        signal=recording,
        samples=recording.samples,
        located=SimpleNamespace(speed=1.0, at=lambda place_s: place_s),
        span=lambda section: (round(section.start_s * rate), round(section.end_s * rate)),
    )
    silent = SimpleNamespace(density_at=lambda hz: 0.0)
    told = print_through(cast(Playing, play), cast(tuple[Noise, Noise], (silent, silent)), 0, "left", 0.0)
    assert isinstance(told, Missing)
    assert told.reason == "the silence beside the carrier holds nothing at all, no noise and no echo"
