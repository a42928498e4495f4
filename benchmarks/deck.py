"""The deck of a choice: the channel that the limits name, with one deck or two, and complete enough to choose over."""

from __future__ import annotations

from dataclasses import replace

from ..contracts import registry
from ..contracts.channel_model import Channel, ChannelModel
from ..contracts.errors import UsageError, in_one_line
from ..contracts.parameters import parameters_of
from .limits import Limits

SAME_DECK = "same_deck"

NEEDED = {
    "hiss": "how much it hisses",
    "drift": "how far its speed is off and how much it flutters",
}
"""Without these a profile makes a deck that is kinder than any, and the fastest format would always seem good."""


def deck(limits: Limits) -> Channel:
    """The channel to choose over.

    Raises:
        UsageError: a bad spec, a profile that lacks what is needed, or ``same_deck`` where nothing tells decks apart.
    """
    channel = registry.channel(limits.channel)
    if limits.channel.strip().startswith("@"):
        _check_profile(limits.channel.strip(), channel)
    return _with_one_deck(limits.channel, channel) if limits.same_deck else channel


def deck_name(limits: Limits) -> str:
    """What the deck is called where it is shown: as the person has it, where that says all.

    Raises:
        UsageError: as ``deck``.
    """
    asked, channel = limits.channel.strip(), deck(limits)
    return channel.spec if limits.same_deck or asked.startswith("@") else asked


def _check_profile(name: str, channel: Channel) -> None:
    present = {stage.name for stage in channel.stages}
    lacking = [f"'{stage}' ({what})" for stage, what in NEEDED.items() if stage not in present]
    if lacking:
        raise UsageError(
            f"profile '{in_one_line(name[1:], 120)}' does not say {' and '.join(lacking)}; measure a longer test "
            f"recording, or give a grade such as --channel worn."
        )


def _with_one_deck(name: str, channel: Channel) -> Channel:
    stages: list[ChannelModel] = []
    for stage in channel.stages:
        offers = SAME_DECK in {declared.name for declared in parameters_of(stage)}
        stages.append(replace(stage, same_deck=True) if offers else stage)  # type: ignore[call-arg]
    if tuple(stages) == channel.stages:
        raise UsageError(
            f"channel '{in_one_line(name, 60)}' has no stage that tells two decks apart (such as drift or azimuth), "
            f"or says so already; leave 'same_deck' out."
        )
    return Channel(tuple(stages))
