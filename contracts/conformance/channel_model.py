"""Checks of a channel model, and of a channel made of several.

Each law is tried at the setting given, at every setting that the model's ``calibrations`` use, and with every drawn
parameter (``_sd``, ``_limit``, ``_chance``) at work, so that a model whose defaults do nothing is still tried.
"""

from __future__ import annotations

import dataclasses
import pickle
import random
from collections.abc import Callable
from itertools import pairwise
from typing import Protocol

import numpy as np

from ..channel_model import Channel, ChannelModel
from ..parameters import parameters_of
from ..signal import Signal
from ..streams import stream
from . import probes
from .check import Exempt, require

GRID_FRAMES = 4_096
END_S = 0.05
"""How much of the end of a tape may differ when the tape goes on: what reaches over the end of a filter or a warp."""


class Degrader(Protocol):
    """What a channel model and a whole channel have in common."""

    def degrade(self, signal: Signal, rng: np.random.Generator) -> Signal:
        """The signal after the effect."""


def settings(subject: ChannelModel | Channel) -> tuple[Degrader, ...]:
    """The subject itself, each different setting that its calibrations use, and one that draws all it can."""
    tried: list[Degrader] = [subject]
    if isinstance(subject, ChannelModel):
        for setting in (*(calibration.model for calibration in subject.calibrations()), _drawing(subject)):
            if setting not in tried:
                tried.append(setting)
    return tuple(tried)


def _drawing(model: ChannelModel) -> ChannelModel:
    """``model`` with every drawn parameter that stands at nothing moved a quarter of the way up its range."""
    for declared in parameters_of(model):
        if declared.name.endswith(("_sd", "_limit", "_chance")) and getattr(model, declared.name) == declared.low:
            assert declared.low is not None
            assert declared.high is not None
            model = dataclasses.replace(model, **{declared.name: declared.low + (declared.high - declared.low) / 4})
    return model


def _send(subject: Degrader, signal: Signal, rng: np.random.Generator) -> Signal:
    sent = subject.degrade(signal, rng)
    require(isinstance(sent, Signal), f"{subject} gave {type(sent).__name__}, not Signal.")
    require(sent.sample_rate_hz == signal.sample_rate_hz, f"{subject} changed the sample rate.")
    return sent


def _tape(trial: int, seed: int = 51) -> np.random.Generator:
    return stream(seed, trial, "conformance")


def same_generator_same_audio(subject: ChannelModel | Channel) -> None:
    """The same generator state gives the same samples."""
    sound = probes.chord(2.0)
    for setting in settings(subject):
        once, again = (_send(setting, sound, _tape(0)) for _ in range(2))
        require(once == again, f"{setting} gave two different tapes from one generator state.")


def input_is_untouched(subject: ChannelModel | Channel) -> None:
    """The signal given stays as it was, and the one returned does not share its memory unless it is the same."""
    sound = probes.chord(1.0)
    before = probes.fingerprint(sound)
    for setting in settings(subject):
        sent = _send(setting, sound, _tape(1))
        require(probes.fingerprint(sound) == before, f"{setting} changed the signal it was given.")
        require(not sent.samples.flags.writeable, f"{setting} gave samples that can be written.")


def global_random_state_is_untouched(subject: ChannelModel | Channel) -> None:
    """All randomness comes from the generator that is passed in."""
    undisturbed(lambda: [_send(setting, probes.chord(1.0), _tape(2)) for setting in settings(subject)])


def undisturbed(work: Callable[[], object]) -> None:
    """AssertionError if ``work`` moves or reseeds the generators that Python and numpy share between all callers."""
    before = pickle.dumps((random.getstate(), np.random.get_state()))  # noqa: NPY002 (the state under watch)
    work()
    after = pickle.dumps((random.getstate(), np.random.get_state()))  # noqa: NPY002
    require(before == after, "the global random state was used.")


def accepts_empty_signal(subject: ChannelModel | Channel) -> None:
    """Zero frames, and a few, go through."""
    for setting in settings(subject):
        for frames in (0, 1, 2, 17):
            few = Signal(np.full((2, frames), 0.5), 44_100)
            try:
                sent = _send(setting, few, _tape(3))
            except AssertionError:
                raise
            except Exception as error:
                raise AssertionError(f"{setting} on {frames} frames raised {type(error).__name__}: {error}") from error
            require(sent.frames <= frames + 44_100, f"{setting} made {sent.frames} frames of {frames}.")


def accepts_any_sample_rate(subject: ChannelModel | Channel) -> None:
    """From 8 kHz to 192 kHz the effect works and keeps the rate."""
    for setting in settings(subject):
        for rate_hz in (8_000, 22_050, 48_000, 96_000, 192_000):
            try:
                sent = _send(setting, probes.chord(0.3, rate_hz), _tape(4))
            except AssertionError:
                raise
            except Exception as error:
                raise AssertionError(f"{setting} at {rate_hz} Hz raised {type(error).__name__}: {error}") from error
            require(sent.duration_s >= 0.2, f"{setting} kept only {sent.duration_s:.3f} s of 0.3 s at {rate_hz} Hz.")


def longer_tape_starts_the_same(subject: ChannelModel | Channel) -> None:
    """A tape that goes on longer is the same tape, bit for bit, up to the last whole grid block before the end."""
    for short_s in (0.7, 2.3):
        long_sound = probes.chord(short_s + 1.9)
        frames = round(short_s * probes.RATE_HZ)
        short_sound = Signal(long_sound.samples[:, :frames], probes.RATE_HZ)
        for setting in settings(subject):
            short = _send(setting, short_sound, _tape(5))
            long = _send(setting, long_sound, _tape(5))
            shared = min(short.frames, long.frames) - round(END_S * probes.RATE_HZ)
            shared -= shared % GRID_FRAMES
            require(shared >= 3 * GRID_FRAMES, f"{setting} kept too little of a tape of {short_s} s.")
            differs = (short.samples[:, :shared] != long.samples[:, :shared]).any(axis=0)
            first = int(np.argmax(differs))
            require(not differs.any(), f"{setting}: a tape of {short_s} s differs from a longer one at frame {first}.")


def no_two_tapes_share_a_stream(subject: ChannelModel | Channel) -> None:
    """Neighbouring trials and seeds give different tapes whose differences from their mean do not resemble each other.

    Null: the tapes are independent. Seeds 51 and 52, 40 tapes of one second, or 16 longer ones of an effect that is
    rare. The mean correlation of neighbouring pairs has expectation near 0. In the worst case, an effect of a single
    degree of freedom such as a gain, each is +-1 and the mean of 39 has a standard deviation of 0.16: 0.5 is 3 of
    them away (chance 0.1 %, once for each plug-in: the seeds are fixed).
    """
    drew = False
    for setting in reversed(settings(subject)):  # the one that draws all it can comes last
        if not _draws(setting):
            continue
        drew = True
        tapes = _changed_tapes(setting)
        if len(tapes) < 4:
            continue
        prints = {tape.tobytes() for tape in tapes}
        require(len(prints) == len(tapes), f"{setting} gave {len(tapes) - len(prints)} tapes twice.")
        rest = np.stack(tapes) - np.mean(tapes, axis=0)
        size = np.sqrt((rest**2).sum(axis=1))
        likeness = [float(a @ b) / (s * t) for (a, s), (b, t) in pairwise(zip(rest, size, strict=True)) if s * t > 0]
        mean = float(np.mean(likeness))
        require(mean < 0.5, f"{setting}: neighbouring tapes resemble each other, correlation {mean:.2f}.")
        return
    if not drew:
        raise Exempt("this effect draws nothing: every tape is the same")
    raise AssertionError(f"{subject} draws random numbers, but every tape comes out the same.")


def _changed_tapes(setting: Degrader) -> list[np.typing.NDArray[np.float32]]:
    """Neighbouring tapes, long enough that a rare effect strikes, without those that it left alone."""
    for seconds, trials in ((1.0, 20), (5.0, 8), (25.0, 8)):
        sound = probes.chord(seconds)
        sent = [_send(setting, sound, _tape(trial, seed)) for seed in (51, 52) for trial in range(trials)]
        frames = min(sound.frames, *(one.frames for one in sent))
        changed = [one.samples[:, :frames].ravel() for one in sent if one != sound]
        distinct = {one.tobytes() for one in changed}
        if len(changed) >= 10 and len(distinct) > 1:
            return changed
    return []


def _draws(setting: Degrader) -> bool:
    if isinstance(setting, Channel):  # which draws a key for its stages, whether or not they use it
        return any(_draws(stage) for stage in setting.stages)
    rng = _tape(0)
    before = pickle.dumps(rng)
    setting.degrade(probes.chord(0.5), rng)
    return pickle.dumps(rng) != before


def zero_strength_is_identity(model: ChannelModel) -> None:
    """The setting of zero strength returns the same samples."""
    nothing = type(model).nothing()
    require(type(nothing) is type(model), f"nothing() gave a {type(nothing).__name__}.")
    for sound in (probes.chord(1.0), probes.noise(0.3, 1.0, 52, 22_050), Signal(np.zeros((2, 0)), 44_100)):
        require(_send(nothing, sound, _tape(6)) == sound, f"{nothing} changed the signal.")


def strength_is_calibrated(model: ChannelModel) -> None:
    """Each figure read from the output is the one asked for, within a tolerance that says where it comes from."""
    entries = model.calibrations()
    require(len(entries) > 0, f"{model.name} declares no calibration, so that its strength is unproved.")
    for entry in entries:
        require(entry.reason.strip() != "", f"the tolerance of '{entry.figure}' gives no reason.")
        require(type(entry.model) is type(model), f"the calibration of '{entry.figure}' belongs to another model.")
        read = entry.measure(_send(entry.model, entry.probe, _tape(7)))
        require(
            abs(read - entry.asked) <= entry.tolerance,
            f"{entry.figure}: asked {entry.asked:g}, read {read:g}, tolerance {entry.tolerance:g} ({entry.reason}).",
        )
