"""A knob: one figure of a channel, turned from half to twice as bad, and what that does to a candidate's success.

The same tapes as in the study, with one figure changed: what is drawn keeps its random numbers. A figure in dB moves
by the dB of the factor; a separation the other way, as more of it is better.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

from ..contracts.channel_model import Channel, ChannelModel
from ..contracts.parameters import Parameter, parameters_of
from .replay import Replay
from .statistics import load_success
from .tally import Tally

FACTORS = (0.5, 1.0, 2.0)

NAMES: dict[str, dict[str, str]] = {
    "dropouts": {"per_minute": "dropouts a minute"},
    "drift": {"speed_percent_limit": "speed error", "weighted_percent": "wow and flutter"},
    "hiss": {"level_db": "hiss"},
    "azimuth": {"azimuth_arcmin_sd": "azimuth"},
    "head_losses": {"spacing_um": "head-to-tape spacing"},
    "modulation_noise": {"level_db": "modulation noise"},
    "crosstalk": {"separation_db": "crosstalk"},
}
"""Stage and parameter to what it is called; a stage that stands nowhere here turns by its first figure."""

LEFT_ALONE = (
    "level",
    "level_control",
    "saturation",
    "contact",
    "print_through",
    "residue",
    "replay_amp",
    "hum",
    "clip",
    "sound_input",
)
"""Stages that belong to the alignment of the deck or hardly matter beside the others."""

_THE_MORE_THE_BETTER = ("separation_db",)


@dataclass(frozen=True, slots=True)
class Knob:
    """One figure that can be turned.

    Attributes:
        name: for a person.
        stage: place of its stage in the channel.
        parameter: which figure of the stage.
        value, unit: as it stands.
    """

    name: str
    stage: int
    parameter: str
    value: float
    unit: str

    def turned(self, channel: Channel, factor: float) -> tuple[Channel, float]:
        """``channel`` with this figure ``factor`` times as bad, held within its declared range, and the figure."""
        stage = channel.stages[self.stage]
        (declared,) = (one for one in parameters_of(stage) if one.name == self.parameter)
        if self.parameter.endswith("_db"):
            better = -1.0 if self.parameter in _THE_MORE_THE_BETTER else 1.0
            value = self.value + better * 20 * math.log10(factor)
        else:
            value = self.value * factor
        value = value if declared.low is None else max(declared.low, value)
        value = value if declared.high is None else min(declared.high, value)
        value = float(f"{value:.6g}")
        stages = list(channel.stages)
        stages[self.stage] = replace(stage, **{self.parameter: value})
        return Channel(tuple(stages)), value


def knobs(channel: Channel) -> tuple[Knob, ...]:
    """The knobs that are turned up in ``channel``.

    >>> from ..contracts import registry
    >>> found = knobs(registry.channel("dropouts:per_minute=6/hiss:level_db=-40/clip"))
    >>> [(knob.name, knob.value) for knob in found]
    [('dropouts a minute', 6.0), ('hiss', -40.0)]
    """
    return tuple(
        Knob(name, place, declared.name, float(getattr(stage, declared.name)), declared.unit)
        for place, stage in enumerate(channel.stages)
        for name, declared in _offered(stage)
        if getattr(stage, declared.name) != getattr(type(stage).nothing(), declared.name)
    )


def counted(
    replay: Replay, channel: Channel, trials: Iterable[int], played: Callable[[], None] = lambda: None
) -> Tally:
    """The tally of these tapes of ``replay`` over ``channel``; ``played`` is called after each."""
    total = Tally()
    for trial in trials:
        total += replay.play(trial, channel=channel).tally
        played()
    return total


def curve(
    replay: Replay, knob: Knob, trials: int, unturned: Tally, played: Callable[[], None] = lambda: None
) -> dict[str, Any]:
    """``trials`` tapes at each setting of ``knob``, as plain data.

    Args:
        unturned: the tally of the same tapes over the channel as it stands.
    """
    points = []
    for factor in FACTORS:
        channel, value = knob.turned(replay.channel, factor)
        tally = unturned if factor == 1.0 else counted(replay, channel, range(trials), played)
        success = load_success(tally)
        points.append(
            {
                "factor": factor,
                "value": value,
                "trials": tally.trials,
                "right": tally.right,
                "rate": success.rate,
                "low": success.low,
                "high": success.high,
            }
        )
    return {"knob": knob.name, "parameter": knob.parameter, "unit": knob.unit, "points": points}


def _offered(stage: ChannelModel) -> list[tuple[str, Parameter]]:
    if stage.name in LEFT_ALONE:
        return []
    declared = {one.name: one for one in parameters_of(stage)}
    if stage.name in NAMES:
        return [(name, declared[key]) for key, name in NAMES[stage.name].items()]
    figures = [one for one in declared.values() if type(one.default) is float]
    return [(f"{stage.name}: {figures[0].name}", figures[0])] if figures else []
