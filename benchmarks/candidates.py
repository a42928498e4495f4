"""Candidates: the formats among which a choice is made, as line codes times layers, from whatever is installed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

from ..contracts import registry
from ..contracts.codec import Codec
from ..contracts.errors import TapewrightError, UsageError, in_one_line
from ..contracts.joints import check_joints
from ..contracts.keying import KeyedLineCode
from ..contracts.line_code import NEEDS, LineCode
from ..contracts.receiver import Receiver
from ..contracts.relay_cost import BYTE_BITS, RelayLayer, RelayLineCode
from ..contracts.spec import Item, format_items
from .schemes import PROBE, Layers, mends, ready, schemes
from .variation import first_look, moves, pace, tidied, with_value

SLOWER = (1.0, 1.06, 1.12, 1.25, 1.5, 2.0)
"""Steps that a relay decoder is tried with, in shortest ones that close."""


PROBE_BYTES = 256
"""Payload by whose coded length strengths of correction are compared."""

ALIKE = 1.02
"""Load times whose ratio is less count as alike, and then the simpler format is better."""

ABOUT_AS_LONG = 0.9
"""Of two formats without a corrector the one whose recording is shorter than so much of the other's may do better."""


@dataclass(frozen=True)
class Candidate:
    """One format.

    Attributes:
        codec: the stack.
        tape_s: length of its recording.
        relays: to be bought for its decoder; None where the decoder has none.
    """

    codec: Codec
    tape_s: float
    relays: int | None

    @property
    def family(self) -> str:
        """Name of its line code."""
        return self.codec.line_code.name

    @cached_property
    def short(self) -> str:
        """The spec without what stands at its default.

        >>> Candidate(registry.codec("sturdy"), 1.0, None).short
        'contents/rs/interleave:depth=64/frame/biphase'
        """
        items = []
        for member in self.codec.plug_ins:
            declared = type(member)().arguments()
            changed = {name: value for name, value in member.arguments().items() if value != declared[name]}
            items.append(Item(member.name, tuple(changed.items())))
        return format_items(items)

    @property
    def shape(self) -> tuple[str, ...]:
        """Names of its members."""
        return tuple(member.name for member in self.codec.plug_ins)

    @property
    def rank(self) -> tuple[int, bool, int, int, int, float, str]:
        """Less is better: load time in steps of ``ALIKE``, then a stated check, then whatever is simpler to build."""
        return (
            round(math.log(self.tape_s) / math.log(ALIKE)) if self.tape_s > 0 else -1_000_000,
            self.codec.lies_at_most is None,
            NEEDS.index(self.codec.needs),
            self.relays or 0,
            len(self.shape),
            self.tape_s,
            self.codec.spec,
        )

    def is_no_sturdier_than(self, other: Candidate) -> bool:
        """Whether it is the same format but for less redundancy, or less time for a bit, or neither more.

        Formats without a corrector also compare where their checks differ: any wrong bit is a lost load, so that the
        one whose bits are as short in a recording that is about as long cannot do better. What ``other`` loses on given
        tapes this one is then taken to lose too: a rule for selection, no proof.
        """
        if self._kind != other._kind or self._bit_s > other._bit_s * (1 + 1e-9):
            return False
        if self.shape == other.shape:
            return self.redundancy <= other.redundancy
        return self.tape_s >= ABOUT_AS_LONG * other.tape_s and not (self.mends or other.mends)

    @cached_property
    def mends(self) -> bool:
        """Whether its layers repair a wrong bit."""
        return mends(self.codec.layers)

    @cached_property
    def redundancy(self) -> float:
        """Line bits for each bit of a payload of ``PROBE_BYTES``."""
        return self.codec.coded_bits(PROBE_BYTES) / (BYTE_BITS * PROBE_BYTES)

    @cached_property
    def _kind(self) -> tuple[object, ...]:
        """Its line code, with the words and switches of it."""
        chosen = (one for one in self.codec.line_code.arguments().values() if isinstance(one, bool | str))
        return (self.family, *chosen)

    @cached_property
    def _bit_s(self) -> float:
        return pace(self.codec.line_code)


@dataclass(frozen=True)
class Families:
    """Everything that is installed.

    Attributes:
        codes: line codes by name, each as declared.
        broken: names that cannot be used, and why.
    """

    codes: dict[str, LineCode]
    broken: dict[str, str]


def families() -> Families:
    """The line codes of the registry, a stranger's included."""
    codes: dict[str, LineCode] = {}
    broken: dict[str, str] = {}
    codecs = registry.installed("codec")
    for name in codecs.names():
        try:
            found = codecs.load(name)
            if isinstance(found, type) and issubclass(found, LineCode):
                codes[name] = found()
        except TapewrightError as error:
            broken[name] = str(error)
        except Exception as error:  # whatever a stranger's constructor does
            broken[name] = f"{type(error).__name__}: {in_one_line(error)}"
    return Families(codes, broken)


def coarse(code: LineCode, receiver: Receiver, payload_bytes: int) -> tuple[Candidate, ...]:
    """The first look at one line code: its rates under every scheme, and its presets, the best rank first."""
    codes = tuple(dict.fromkeys(first_look(code)))
    found = [candidate for layers in schemes() for candidate in _of(layers, code, codes, receiver, payload_bytes)]
    for stack in ready(code):
        made = _candidate(stack, receiver, payload_bytes)
        if made is not None and keeps_pace(made, receiver):
            found.append(made)
    return ranked(found)


def beside(candidate: Candidate, receiver: Receiver, payload_bytes: int) -> tuple[Candidate, ...]:
    """The candidates one move away: a parameter of the line code or of a layer, within its declared range."""
    codec = candidate.codec
    stacks = [Codec(codec.layers, code) for code in moves(codec.line_code)]
    for place, layer in enumerate(codec.layers):
        stacks += [
            Codec((*codec.layers[:place], moved, *codec.layers[place + 1 :]), codec.line_code) for moved in moves(layer)
        ]
    recorded = codec.line_bits(PROBE).tobytes()
    return ranked(
        made
        for stack in stacks
        # What leaves the recording as it is makes no other format.
        if stack.line_code != codec.line_code or stack.line_bits(PROBE).tobytes() != recorded
        if (made := _candidate(stack, receiver, payload_bytes)) is not None
    )


def keeps_pace(candidate: Candidate, receiver: Receiver) -> bool:
    """Whether ``receiver`` is sure to follow the candidate's pace, by arithmetic."""
    return receiver.refusal(candidate.codec) is not None or receiver.follows(candidate.codec)


def ranked(found: Iterable[Candidate]) -> tuple[Candidate, ...]:
    """Each once, the best rank first."""
    return tuple(sorted({one.codec.spec: one for one in found}.values(), key=lambda one: one.rank))


def _of(
    layers: Layers, code: LineCode, codes: tuple[LineCode, ...], receiver: Receiver, payload_bytes: int
) -> Iterator[Candidate]:
    if isinstance(code, KeyedLineCode) and _sets_the_pace(receiver, layers, code):
        codes = tuple(_at_its_pace(layers, code, receiver))
    for each in codes:
        made = _candidate(Codec(layers, each), receiver, payload_bytes)
        if made is not None:
            yield made


def _candidate(codec: Codec, receiver: Receiver, payload_bytes: int) -> Candidate | None:
    try:
        check_joints(codec.layers, codec.line_code)
        relays = None if receiver.refusal(codec) is not None else receiver.relay_count(codec)
        return Candidate(codec, codec.duration_s(payload_bytes), relays)
    except UsageError:
        return None


def _sets_the_pace(receiver: Receiver, layers: Layers, code: KeyedLineCode) -> bool:
    codec = Codec(layers, _in_groups(layers, code))
    return receiver.refusal(codec) is None and receiver.quickest(codec) is not codec


def _at_its_pace(layers: Layers, code: KeyedLineCode, receiver: Receiver) -> Iterator[LineCode]:
    """``code`` at the shortest step that the receiver is sure to follow, and at slower ones."""
    quickest = receiver.quickest(Codec(layers, _in_groups(layers, code)))
    if quickest is None:
        return
    assert isinstance(quickest.line_code, KeyedLineCode)
    step_s = quickest.line_code.keying().step_s
    for slower in SLOWER:
        try:
            yield tidied(quickest.line_code.at_step(round(slower * step_s, 4)))
        except UsageError:
            continue


def _in_groups(layers: Layers, code: KeyedLineCode) -> KeyedLineCode:
    """``code`` with groups of the size that the layers send, where it can have them."""
    bits = BYTE_BITS
    for layer in layers:
        if isinstance(layer, RelayLayer):
            bits = layer.bits_in_group(bits)
    if not isinstance(code, RelayLineCode) or code.group_bits == bits:
        return code
    return with_value(code, "group_bits", bits) or code
