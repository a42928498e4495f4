"""Plug-ins of a make-believe third party: tapes of a few milliseconds whose failures are known beforehand."""

import os
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from tapewright.contracts.channel_model import ChannelModel
from tapewright.contracts.layer import Heard, Layer
from tapewright.contracts.line_code import LineCode
from tapewright.contracts.parameters import parameter
from tapewright.contracts.preset import Preset
from tapewright.contracts.receiver import Receiver
from tapewright.contracts.signal import Signal
from tapewright.contracts.soft_bits import SoftBits


@dataclass(frozen=True)
class Pulse(LineCode):
    """Each bit is ``frames`` frames of one sign."""

    name = "toy_pulse"
    summary = "A toy: one sign a bit."
    needs = "computer"

    frames: int = parameter(1, "Frames a bit.", low=1, high=100)

    def modulate(self, bits, sample_rate_hz=44_100):
        samples = np.repeat(np.where(bits > 0, 0.5, -0.5).astype(np.float32), self.frames)
        return Signal(np.stack([samples, samples]), sample_rate_hz)

    def demodulate(self, signal):
        whole = signal.frames - signal.frames % self.frames
        return SoftBits(20 * signal.samples[0, :whole].reshape(-1, self.frames).sum(axis=1))

    def duration_s(self, bits):
        return bits * self.frames / 44_100


@dataclass(frozen=True)
class Parity(Layer):
    """One parity bit over everything."""

    name = "toy_parity"
    summary = "A toy: one parity bit."

    def encode(self, bits):
        return np.append(bits, bits.sum() % 2).astype(np.uint8)

    def decode(self, passes):
        (heard,) = passes
        verdict = len(heard) > 0 and int(heard.bits.sum()) % 2 == 0
        return Heard((SoftBits(heard.values[:-1], heard.times_s[:-1]),), verdict)

    def coded_bits(self, data_bits):
        return data_bits + 1


@dataclass(frozen=True)
class Flips(ChannelModel):
    """Each frame changes its sign with one chance, each tape is silent with another."""

    name = "toy_flips"
    summary = "A toy: signs that flip, tapes that are blank."
    place = "tape"

    rate: float = parameter(0.0, "Chance a frame.", low=0, high=1)
    blank: float = parameter(0.0, "Chance a tape.", low=0, high=1)

    def degrade(self, signal, rng):
        if rng.random() < self.blank:
            return Signal(np.zeros_like(signal.samples), signal.sample_rate_hz)
        flipped = rng.random(signal.frames) < self.rate
        return Signal(np.where(flipped, -signal.samples, signal.samples), signal.sample_rate_hz)

    @classmethod
    def nothing(cls):
        return cls()


@dataclass(frozen=True)
class Slow(ChannelModel):
    """Takes its time, and says so in the file that TOYS_STARTED names."""

    name = "toy_slow"
    summary = "A toy: takes its time."
    place = "capture"

    wait_s: float = parameter(0.0, "How long.", unit="s", low=0, high=60)

    def degrade(self, signal, rng):
        if "TOYS_STARTED" in os.environ:
            Path(os.environ["TOYS_STARTED"]).touch()
        time.sleep(self.wait_s)
        return signal

    @classmethod
    def nothing(cls):
        return cls()


@dataclass(frozen=True)
class Bug(ChannelModel):
    """Breaks its law."""

    name = "toy_bug"
    summary = "A toy: raises \N{WARNING SIGN}."
    place = "capture"

    def degrade(self, signal, rng):
        raise ZeroDivisionError("two\nlines")

    @classmethod
    def nothing(cls):
        return cls()


@dataclass(frozen=True)
class Coin(Receiver):
    """Hears nothing on one play in two."""

    name = "toy_coin"
    summary = "A toy: listens or not, by a coin."

    def receive(self, codec, signals, rng):
        heads = rng.random() < 0.5
        return codec.decode(*(signal if heads else Signal(signal.samples * 0, 44_100) for signal in signals))


@dataclass(frozen=True)
class Deaf(Receiver):
    """Refuses everything that needs a computer."""

    name = "toy_deaf"
    summary = "A toy: refuses."

    def refusal(self, codec):
        return "it needs a computer" if codec.needs == "computer" else None

    def receive(self, codec, signals, rng):
        raise AssertionError("a refused codec is never played")


@dataclass(frozen=True)
class Slowpoke(Receiver):
    """Takes in two bits while a toy pulse of 100 frames lasts."""

    name = "toy_slowpoke"
    summary = "A toy: takes its time to listen."

    def limit_bits_per_s(self, codec):
        return 2 * 44_100 / 100

    def receive(self, codec, signals, rng):
        return codec.decode(*signals)


CHECKED = Preset("toy-checked", "toy_parity/toy_pulse", "A toy: pulse with a parity bit.")
