"""A channel model is one physical effect on the way from the record head to the sound input.

Law: ``degrade`` draws all its randomness from ``rng`` (the same generator state gives the same audio, a longer tape
starts the same), leaves its input alone, and accepts zero frames. ``Channel`` stacks models in the order of the
physics and gives each its own stream, keyed by its name, so that neither its position nor its neighbours matter.
"""

from __future__ import annotations

from abc import abstractmethod
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from .errors import UsageError
from .plug_in import PlugIn
from .signal import Signal
from .spec import format_stack
from .streams import substream

PLACES = ("record", "tape", "replay", "capture")
"""The order in which the signal meets them."""


@dataclass(frozen=True)
class Calibration:
    """How to read a model's strength off its output, for the kit.

    Attributes:
        figure: which parameter is read, as named in the spec.
        probe: the signal to send through.
        measure: the figure read from the output.
        asked: what it should be.
        tolerance: how far the reading may be off, with its derivation in ``reason``.
        reason: why that tolerance.
        model: the setting to use.
    """

    figure: str
    model: ChannelModel
    probe: Signal
    measure: Callable[[Signal], float]
    asked: float
    tolerance: float
    reason: str


@dataclass(frozen=True)
class ChannelModel(PlugIn):
    """Base of every channel model.

    A model sets ``place``, as a class attribute or as a parameter, to one of ``PLACES``.
    """

    place: ClassVar[str]
    makes_anew: ClassVar[bool] = False
    """Whether what ``degrade`` returns, unless it is its input, is in memory that the model keeps no hold of."""

    @abstractmethod
    def degrade(self, signal: Signal, rng: np.random.Generator) -> Signal:
        """The signal after this effect; the sample rate stays, the length may not."""

    @classmethod
    @abstractmethod
    def nothing(cls) -> Self:
        """The setting of zero strength: ``degrade`` returns the same samples."""

    @classmethod
    def calibrations(cls) -> tuple[Calibration, ...]:
        """How the strength is read back, one entry a figure."""
        return ()

    def at_best(self) -> ChannelModel:
        """The same as a capacity is probed: what stretches time, cuts out or bends the wave gives its ``nothing``."""
        return self


@dataclass(frozen=True)
class Treatment(ChannelModel):
    """A model that keeps the length and changes the samples where they stand.

    A model that is one need not copy: a channel hands it a buffer of its own, so that a whole side of a tape meets a
    dozen effects in the memory of two signals.
    """

    @abstractmethod
    def treat(self, samples: NDArray[np.float32], sample_rate_hz: int, rng: np.random.Generator) -> None:
        """Change ``samples``, shape (2, frames) with at least one frame, in place."""

    @property
    def idle(self) -> bool:
        """Whether ``treat`` would change nothing."""
        return self == type(self).nothing()

    def degrade(self, signal: Signal, rng: np.random.Generator) -> Signal:
        if self.idle or signal.frames == 0:
            return signal
        samples = signal.samples.copy()
        self.treat(samples, signal.sample_rate_hz, rng)
        return Signal.owning(samples, signal.sample_rate_hz)


@dataclass(frozen=True)
class Channel:
    """Models in the order of the physics. An empty stack is the null channel.

    Raises:
        UsageError: a stage that belongs before the one it follows, naming the two.
    """

    stages: tuple[ChannelModel, ...]

    def __post_init__(self) -> None:
        for earlier, later in zip(self.stages, self.stages[1:], strict=False):
            if PLACES.index(later.place) < PLACES.index(earlier.place):
                raise UsageError(
                    f"channel: '{later.name}' ({later.place}) cannot follow '{earlier.name}' ({earlier.place}): "
                    f"the order is {', '.join(PLACES)}."
                )

    @property
    def spec(self) -> str:
        """The canonical spec, with every default written out."""
        return format_stack(self.stages)

    def __str__(self) -> str:
        return self.spec

    def degrade(
        self, signal: Signal, rng: np.random.Generator, watch: Callable[[int, int], None] | None = None
    ) -> Signal:
        """The signal after all stages, each with its own stream drawn from ``rng``.

        ``watch`` is told before each stage how many of how many are done.
        """
        root = tuple(rng.integers(0, 2**32, size=4, dtype=np.uint64).tolist())
        seen: Counter[str] = Counter()
        streams = []
        for stage in self.stages:
            streams.append(substream(root, stage.name, seen[stage.name]))
            seen[stage.name] += 1
        own: NDArray[np.float32] | None = None
        for number, (stage, stream) in enumerate(zip(self.stages, streams, strict=True)):
            if watch is not None:
                watch(number, len(self.stages))
            if isinstance(stage, Treatment):
                if stage.idle or signal.frames == 0:
                    continue
                if own is None:
                    own = signal.samples.copy()
                own.flags.writeable = True
                stage.treat(own, signal.sample_rate_hz, stream)
                continue
            if own is not None:
                signal = Signal.owning(own, signal.sample_rate_hz)
            heard = stage.degrade(signal, stream)
            if heard is not signal:
                signal, own = heard, heard.samples if stage.makes_anew else None
        return signal if own is None else Signal.owning(own, signal.sample_rate_hz)
