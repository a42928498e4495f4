"""Relay cost: what a machine of relays alone needs for the members of a stack, and what that buys.

A member that relays can decode states its cost by itself; the costs of a stack add up. Counted is the decoder: input
relays, the ring that counts the steps, latches, checks. Not counted is what every loader needs alike: the address
counter, the lines that drive the buses and write, and memory. Poles are changeover contacts in use; a relay is counted
once, as if it had as many as it needs.

A group is what a relay machine takes in before its extra steps: a byte, and what the layers add to each. A layer says
how it widens a group, and the line code must have groups of that size, or a machine would have to pick bits apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Protocol, runtime_checkable

from .codec import Codec
from .keying import KeyedLineCode, Keying
from .layer import Layer
from .line_code import LineCode

BYTE_BITS = 8
STEP_POLES, ARM_POLES, LATCH_POLES, RESET_POLES, MARK_ALARM_POLES = 2, 3, 2, 2, 2
"""Step: holds itself, feeds its arming relay. Arm: holds itself, drops the step before, feeds the next step with its
pulses. Latch: holds itself, shows its bit. Reset: opens the holding circuit, sets step 1 (common practice). A mark
feeds an alarm through one contact more of the reset relay and one of the last arming relay."""


@dataclass(frozen=True, slots=True)
class RelayCost:
    """What one member needs, or a whole stack.

    Attributes:
        relays: how many coils.
        poles: contacts in use.
        filters: tone filters before input relays.
        steps_a_group: steps of the ring, data and extra.
        catches: what it notices or mends, one line a layer.
        misses: what passes it, one line a layer.
    """

    relays: int
    poles: int
    filters: int = 0
    steps_a_group: int = 0
    catches: tuple[str, ...] = ()
    misses: tuple[str, ...] = ()

    def in_words(self) -> str:
        """For a person.

        >>> RelayCost(35, 81, 0, 12).in_words()
        '35 relays, 81 contacts, 12 steps a byte'
        """
        relays = f"{self.relays or 'no'} relay{'' if self.relays == 1 else 's'}"
        counted = [f"{relays}, {self.poles} contacts"]
        if self.filters:
            counted.append(f"{self.filters} tone filters")
        if self.steps_a_group:
            counted.append(f"{self.steps_a_group} steps a byte")
        return ", ".join(counted)

    def as_json(self) -> dict[str, Any]:
        """Plain data, ready for JSON."""
        return {**asdict(self), "catches": list(self.catches), "misses": list(self.misses)}

    def __add__(self, other: RelayCost) -> RelayCost:
        return RelayCost(
            self.relays + other.relays,
            self.poles + other.poles,
            self.filters + other.filters,
            self.steps_a_group + other.steps_a_group,
            self.catches + other.catches,
            self.misses + other.misses,
        )


@runtime_checkable
class RelayLayer(Protocol):
    """A layer whose work contacts can do."""

    def bits_in_group(self, bits: int) -> int:
        """How many bits a group of ``bits`` has below this layer."""

    def relay_cost(self) -> RelayCost:
        """What it adds to a machine."""


@runtime_checkable
class LatchLayer(RelayLayer, Protocol):
    """A layer that is a network of contacts of a group's latches.

    Attributes:
        latch_poles: contacts of each latch in it, beside the one that shows the bit.
    """

    latch_poles: int


@runtime_checkable
class SerialLayer(RelayLayer, Protocol):
    """A layer that follows the bits one by one as they are heard, whatever is made of them later.

    Attributes:
        serial: always true.
    """

    serial: bool


@runtime_checkable
class AlarmingLayer(RelayLayer, Protocol):
    """A layer that checks each group by a chain of its latches' contacts, which feeds an alarm relay.

    It shows the bits of its group as they are.

    Attributes:
        stop: the relay opens the clock's feed, and the machine stands at the bad byte.
    """

    stop: bool


@runtime_checkable
class RelayLineCode(Protocol):
    """A line code that relays can follow."""

    @property
    def group_bits(self) -> int:
        """Bits of a group."""

    def relay_cost(self) -> RelayCost:
        """The machine that takes in its groups."""


def follower_cost(keying: Keying, group_bits: int) -> RelayCost:
    """The relays that follow a keyed code: inputs, ring, latches, reset.

    A clock track needs the clock relay's make and break contact, and the data relay's one. Rails need both of each (in
    parallel they are the clock, in series its break) and one more that is the data. A further tone needs a filter and
    a relay a track.
    """
    steps = keying.steps_a_byte
    further = 2 * len(keying.more_tones_hz)
    input_poles = (3 if "clock" in keying.roles else 5) + further
    reset = 1 if keying.mark_s is not None else 0
    return RelayCost(
        relays=2 + further + 2 * steps + group_bits + reset,
        poles=input_poles + (STEP_POLES + ARM_POLES) * steps + LATCH_POLES * group_bits + RESET_POLES * reset,
        filters=further,
        steps_a_group=steps,
    )


def obstacle(codec: Codec) -> str | None:
    """Why relays alone cannot decode ``codec``, in one line; None if they can."""
    bits = BYTE_BITS
    for layer in codec.layers:
        if layer.needs != "relays":
            return f"'{layer.name}' needs a {layer.needs}; relays alone cannot decode it"
        if not isinstance(layer, RelayLayer):
            return f"'{layer.name}' does not say what relays must do for it"
        bits = layer.bits_in_group(bits)
    serial = _serial_obstacle(codec)
    if serial is not None:
        return serial
    code = codec.line_code
    if code.needs != "relays":
        return f"'{code.name}' needs a {code.needs}; relays alone cannot decode it"
    if not isinstance(code, RelayLineCode):
        return f"'{code.name}' does not say what relays must do for it"
    if code.group_bits != bits:
        return (
            f"'{code.name}' has group_bits={code.group_bits}, and the layers above it send {bits} bits with each byte"
        )
    return None


def _serial_obstacle(codec: Codec) -> str | None:
    """Why a layer that follows single bits cannot stand where it does."""
    for place, layer in enumerate(codec.layers):
        if not isinstance(layer, SerialLayer):
            continue
        for below in codec.layers[place + 1 :]:
            widens = isinstance(below, RelayLayer) and below.bits_in_group(BYTE_BITS) != BYTE_BITS
            if widens and not isinstance(below, AlarmingLayer):
                return f"'{layer.name}' follows bits as they are heard, and '{below.name}' below it changes them"
        code = codec.line_code
        if isinstance(code, KeyedLineCode) and code.keying().more_tones_hz:
            return f"'{layer.name}' follows one bit a step, and '{code.name}' says more"
    return None


def repeated_bits(layers: Sequence[Layer]) -> tuple[tuple[RelayLayer, int], ...]:
    """The layers that read what contacts of another layer show, with how many bits each: a relay must repeat each bit.

    A network of contacts needs changeovers of its inputs, and another network's output has none.
    """
    bits, found, above = BYTE_BITS, [], None
    for layer in layers:
        if isinstance(layer, RelayLayer) and layer.bits_in_group(bits) != bits:
            if above is not None:
                found.append((above, bits))
            above, bits = layer, layer.bits_in_group(bits)
    return tuple(found)


def marks_raise_alarm(layers: Sequence[Layer], code: LineCode) -> bool:
    """Whether there is an alarm relay, and reset marks that can feed it where they find the ring at a wrong step."""
    marked = isinstance(code, KeyedLineCode) and code.keying().mark_s is not None
    return marked and any(isinstance(layer, AlarmingLayer) for layer in layers)


def relay_cost(codec: Codec) -> RelayCost | None:
    """What a relay decoder of ``codec`` needs in all; None if relays alone cannot decode it.

    >>> from .registry import codec
    >>> relay_cost(codec("clocked")).relays, relay_cost(codec("biphase"))
    (35, None)
    """
    if obstacle(codec) is not None:
        return None
    total = RelayCost(0, 0)
    for member in codec.plug_ins:
        assert isinstance(member, RelayLayer | RelayLineCode)
        total += member.relay_cost()
    for _, bits in repeated_bits(codec.layers):
        total += RelayCost(bits, bits)
    if marks_raise_alarm(codec.layers, codec.line_code):
        total += RelayCost(
            0,
            MARK_ALARM_POLES,
            catches=("clocks lost or added, at the next reset mark",),
            misses=("as many clocks lost as one byte or several have",),
        )
    return total
