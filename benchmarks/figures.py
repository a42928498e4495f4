"""Figures: what a choice assumes of the deck, the tape and the machine that listens, each of which can be turned."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ..contracts import registry
from ..contracts.parameters import parameters_of
from .course import Course
from .knob import NAMES, Knob, knobs

OF_A_RECEIVER = {"relay_spread": ("spread of the relays", "times the set's")}
"""Parameters of a receiver: what they are called, and their unit in words."""


@dataclass(frozen=True)
class Figure:
    """One figure.

    Attributes:
        name: for a person.
        parameter: which parameter of its plug-in.
        value, unit: as it stands.
        knob: where it stands in the channel; None for a parameter of the receiver.
    """

    name: str
    parameter: str
    value: float
    unit: str
    knob: Knob | None

    def turned(self, course: Course, factor: float) -> tuple[str, str, float]:
        """Channel and receiver of ``course`` with this figure ``factor`` times as bad, and the figure."""
        if self.knob is not None:
            channel, value = self.knob.turned(registry.channel(course.channel), factor)
            return channel.spec, course.receiver, value
        receiver = registry.receiver(course.receiver)
        (declared,) = (one for one in parameters_of(receiver) if one.name == self.parameter)
        value = factor * self.value
        value = value if declared.high is None else min(declared.high, value)
        return course.channel, replace(receiver, **{self.parameter: value}).spec, value


def figures(course: Course) -> tuple[Figure, ...]:
    """All that are turned up in the channel, then those of the receiver."""
    channel = registry.channel(course.channel)
    found = [
        Figure(knob.name, knob.parameter, knob.value, knob.unit, knob)
        for knob in knobs(channel)
        if channel.stages[knob.stage].name in NAMES
    ]
    receiver = registry.receiver(course.receiver)
    for declared in parameters_of(receiver):
        value = receiver.arguments()[declared.name]
        if declared.name in OF_A_RECEIVER and isinstance(value, float) and value > 0:
            name, unit = OF_A_RECEIVER[declared.name]
            found.append(Figure(name, declared.name, value, unit, None))
    return tuple(found)
