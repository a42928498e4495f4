"""Causes: what wears a tape, in groups that can be taken away one at a time.

Streams are keyed by the name of a stage and its place among those of that name, so a channel without all stages of
some names draws the same for every other stage: the same tape, one effect fewer.
"""

from __future__ import annotations

from collections.abc import Iterable

from ..contracts.channel_model import Channel, ChannelModel

OF_STAGES = {
    "dropouts": ("dropouts", "contact"),
    "speed": ("drift",),
    "noise": ("hiss", "modulation_noise", "hum", "residue", "print_through"),
    "azimuth and skew": ("azimuth", "skew", "crosstalk"),
    "level and treble": (
        "level",
        "level_control",
        "saturation",
        "equalisation",
        "head_losses",
        "replay_amp",
        "band",
        "clip",
        "sound_input",
    ),
}
"""Cause to the stages that it stands for; a stage of any other name is a cause of its own."""


def causes(channel: Channel) -> dict[str, tuple[str, ...]]:
    """Every cause that acts in ``channel``, with the names of its stages, in the order of ``OF_STAGES``.

    >>> from ..contracts.registry import channel
    >>> causes(channel("hiss:level_db=-40/clip"))
    {'noise': ('hiss',), 'level and treble': ('clip',)}
    """
    acting = list(dict.fromkeys(stage.name for stage in channel.stages if _acts(stage)))
    found = {cause: tuple(name for name in acting if name in names) for cause, names in OF_STAGES.items()}
    known = {name for names in OF_STAGES.values() for name in names}
    found |= {name: (name,) for name in acting if name not in known}
    return {cause: names for cause, names in found.items() if names}


def without(channel: Channel, names: Iterable[str]) -> Channel:
    """``channel`` less every stage of these names."""
    left_out = set(names)
    return Channel(tuple(stage for stage in channel.stages if stage.name not in left_out))


def _acts(stage: ChannelModel) -> bool:
    return stage.arguments() != type(stage).nothing().arguments()
