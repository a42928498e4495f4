"""Decks and tapes drawn at random whose every figure is known, and what each figure really is.

Levels are not worked out from formulae: single tones go through the very models that the tape goes through, without
what wavers or is random, and are read by least squares, not with the code under test.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from tapewright.channel_models.drift import Drift
from tapewright.channel_models.reading import inner, phasor
from tapewright.channel_models.tape_loss import skew_us
from tapewright.contracts import registry
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import substream
from tapewright.measurement.layout import RESPONSE_HZ
from tapewright.measurement.weighting import TABLE_DB, TABLE_HZ

LONG_S = 1200


@dataclass(frozen=True)
class Deck:
    """A deck and a tape; levels in dB, lengths as the names say."""

    seed: int
    speed_percent: float
    wow_percent: float
    wow_hz: float
    flutter_percent: float
    flutter_hz: float
    noise_percent: float
    record_db: float
    high_limit_db: float
    output_lost_db: float
    modulation_db: float
    per_minute: float
    length_ms: float
    lift_um: float
    contact_um: float
    spacing_um: float
    azimuth_arcmin: float
    wander_arcmin: float
    separation_db: float
    low_hz: float
    high_hz: float
    difference_db: float
    hum_db: float
    noise_db: float
    gain_db: float
    inverted: bool

    @classmethod
    def drawn(cls, seed: int) -> Deck:
        """From portable with an attic tape to good with a new one."""
        rng = np.random.default_rng(seed)
        u = rng.uniform
        return cls(
            *(seed, u(-5, 5), u(0.1, 0.4), u(0.8, 2.0), u(0.05, 0.2), u(5, 8), u(0.02, 0.08)),
            *(u(-6, 2), u(-14, -8), u(0, 4), u(-46, -36), u(2, 20), u(8, 25), u(1.5, 4), u(0.03, 0.15)),
            *(u(0.25, 1.0), u(-8, 8), u(0.5, 4), u(20, 40), u(30, 90), u(8000, 14_000), u(-3, 3)),
            *(u(-60, -48), u(-50, -40), u(-20, 0), bool(rng.random() < 0.5)),
        )

    @property
    def drift(self) -> str:
        """The spec of the transport."""
        return (
            f"drift:speed_percent={self.speed_percent},wow_percent={self.wow_percent},wow_hz={self.wow_hz},"
            f"flutter_percent={self.flutter_percent},flutter_hz={self.flutter_hz},noise_percent={self.noise_percent}"
        )

    @property
    def still(self) -> str:
        """The stages that neither waver nor are random, as far as the crosstalk."""
        return f"{self._recorded}/drift:speed_percent={self.speed_percent}/{self._heads}/{self._amplifier}"

    @property
    def _recorded(self) -> str:
        return f"level:gain_db={self.record_db},place=record/saturation:high_limit_db={self.high_limit_db}"

    @property
    def _heads(self) -> str:
        return (
            f"level:gain_db={-self.output_lost_db},place=tape/head_losses:spacing_um={self.spacing_um}/"
            f"azimuth:azimuth_arcmin={self.azimuth_arcmin}"
        )

    @property
    def _amplifier(self) -> str:
        return (
            f"replay_amp:low_hz={self.low_hz},high_hz={self.high_hz},difference_db={self.difference_db},"
            f"inverted_chance={int(self.inverted)}"
        )

    @property
    def spec(self) -> str:
        """The whole channel."""
        return "/".join(
            (
                self._recorded,
                self.drift,
                f"level:gain_db={-self.output_lost_db},place=tape",
                f"modulation_noise:level_db={self.modulation_db}",
                f"dropouts:per_minute={self.per_minute},length_ms={self.length_ms},lift_um={self.lift_um}",
                f"contact:fluctuation_um={self.contact_um}",
                f"head_losses:spacing_um={self.spacing_um}",
                f"azimuth:azimuth_arcmin={self.azimuth_arcmin},wander_arcmin={self.wander_arcmin}",
                f"crosstalk:separation_db={self.separation_db}",
                self._amplifier,
                f"hum:level_db={self.hum_db}",
                f"hiss:level_db={self.noise_db},place=replay",
                f"level:gain_db={self.gain_db},place=capture",
            )
        )

    def play(self, recording: Signal) -> Signal:
        """A capture of ``recording``."""
        return registry.channel(self.spec).degrade(recording, np.random.default_rng(self.seed))

    def truth(self, rate_hz: int) -> dict[str, float | NDArray[np.float64]]:
        """What each figure is in a capture of that sample rate; curves as arrays over ``RESPONSE_HZ``."""
        return _truth(self, rate_hz)

    def worked_out(self, rate_hz: int) -> dict[str, float | NDArray[np.float64]]:
        """As ``truth``, anew."""
        levels = np.array([self._level_db(hz, rate_hz) for hz in RESPONSE_HZ]).T
        at = RESPONSE_HZ.index(315.0)
        full_db = levels[:, at] + 20 * math.log10(20)
        weighted, unweighted = self._flutter(rate_hz)
        told: dict[str, float | NDArray[np.float64]] = {
            "speed_error_percent": self.speed_percent,
            "flutter_weighted_percent": weighted,
            "flutter_unweighted_percent": unweighted,
            "level_difference_db": float(full_db[0] - full_db[1]),
            "skew_us": skew_us(self.azimuth_arcmin),
            "skew_wander_us": skew_us(self.wander_arcmin),
            "azimuth_error_arcmin": self.azimuth_arcmin,
            "separation_left_to_right_db": self.separation_db + self.difference_db,
            "separation_right_to_left_db": self.separation_db - self.difference_db,
            "dropouts_left_per_minute": self.per_minute,
            "dropouts_right_per_minute": 0.4 * self.per_minute,
            "dropouts_on_both_share": 0.5,
            "dropouts_missing_oxide_share": 0.06,
            "dropout_length_median_ms": self.length_ms,
            "dropout_length_sigma": 1.0,
            "dropout_lift_median_um": self.lift_um,
            "dropout_lift_sigma": 0.7,
            # The model cuts its Gaussian at 3 standard deviations, which leaves 0.9975 of the rms value.
            "contact_fluctuation_um": 0.9975 * self.contact_um,
        }
        highest_hz = min(20_000.0, rate_hz / 2)
        noise_db = self.noise_db + 10 * math.log10((highest_hz - 20) / (20_000 - 20))
        a_weighted_db = flat_noise_a_weighted_db(highest_hz)
        for track, name in enumerate(("left", "right")):
            told |= {
                f"replay_level_{name}_db": full_db[track] + self.gain_db,
                f"signal_to_noise_{name}_db": full_db[track] - noise_db,
                f"signal_to_noise_a_{name}_db": full_db[track] - noise_db - a_weighted_db,
                f"hum_{name}_db": self.hum_db - full_db[track],
                f"response_{name}_db": levels[track] - levels[track, at],
                f"three_percent_level_{name}_db": -self.record_db,
                f"limit_at_10_khz_re_3_percent_level_{name}_db": self.high_limit_db,
                f"modulation_noise_{name}_db": self.modulation_db,
            }
        return told

    def _level_db(self, tone_hz: float, rate_hz: int) -> tuple[float, float]:
        """Peak of a step of the response at the end of the channel, gain of the capture left out, on each track."""
        hz = tone_hz * (1 + self.speed_percent / 100)
        times = np.arange(round(0.6 * rate_hz)) / rate_hz
        row = (0.05 * np.sin(2 * np.pi * tone_hz * times)).astype(np.float32)
        heard = registry.channel(self.still).degrade(Signal(row, rate_hz), np.random.default_rng(0))
        left, right = (20 * math.log10(abs(phasor(one, hz, rate_hz))) for one in inner(heard))
        return left, right

    def _flutter(self, rate_hz: int) -> tuple[float, float]:
        """Weighted and unweighted 2-sigma reading of the speed itself over 20 minutes of the same transport."""
        root = tuple(int(word) for word in np.random.default_rng(self.seed).integers(0, 2**32, 4, dtype=np.uint64))
        stage = registry.channel(self.drift).stages[0]
        assert isinstance(stage, Drift)
        motion = stage.motion(LONG_S * rate_hz, rate_hz, substream(root, "drift"))
        speed = motion.slopes
        return read_speed(speed, rate_hz / motion.knot_frames)


@cache
def _truth(deck: Deck, rate_hz: int) -> dict[str, float | NDArray[np.float64]]:
    return deck.worked_out(rate_hz)


def read_speed(speed: NDArray[np.float64], rate_hz: float) -> tuple[float, float]:
    """The two readings by weighting the spectrum with the table itself, in %."""
    percent = 100 * (speed / speed.mean() - 1)
    spectrum = np.fft.rfft(percent)
    hz = np.fft.rfftfreq(percent.size, 1 / rate_hz)
    table = 10 ** (np.interp(np.log(np.maximum(hz, 1e-6)), np.log(TABLE_HZ), TABLE_DB) / 20)
    table[hz < TABLE_HZ[0]] = 0.0
    ends = (hz / 0.2) ** 2 / np.sqrt(1 + (hz / 0.2) ** 4) / np.sqrt(1 + (hz / 200.0) ** 4)
    return tuple(  # type: ignore[return-value]
        float(np.quantile(np.abs(np.fft.irfft(spectrum * weight, percent.size)), 0.95)) for weight in (table, ends)
    )


def flat_noise_a_weighted_db(highest_hz: float) -> float:
    """A-weighted level of flat noise re its level from 20 Hz to an end, by the formula of IEC 61672-1 (E.6)."""
    hz = np.arange(20.0, highest_hz, 0.5)
    square = hz**2
    poles = [20.598997**2, 107.65265**2, 737.86223**2, 12194.217**2]
    gain = poles[3] * square**2 / ((square + poles[0]) * (square + poles[3]))
    gain /= np.sqrt((square + poles[1]) * (square + poles[2]))
    power = gain**2 * 10**0.2
    return float(10 * np.log10(power.mean()))
