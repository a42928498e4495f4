"""Orders: tapes to play, told to another machine in plain data, and what it must have to play them.

An order names everything by text: specs, packages, versions. The machine that gets it looks whether it has the same
plug-ins in the same versions and says what it lacks before it plays anything, because counts may be added only where
the code that made them is the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from time import perf_counter

from ..contracts import registry
from ..contracts.errors import PlugInError
from ..contracts.plug_in import PlugIn
from .carried_files import files_named, local
from .identity import NO_CONCERN, canonical_json, code
from .records import machine, versions
from .shelf import Shelf
from .study import Study, Task
from .tally import Tally
from .trials import Tape, play

_SHELF_BYTES = 256 << 20
_SHELVES = 2


@dataclass(frozen=True)
class Needs:
    """What a machine must have.

    Attributes:
        plug_ins: kind, name and package of each.
        packages: version by package.
        code: hash of our own source code that makes counts.
    """

    plug_ins: tuple[tuple[str, str, str], ...]
    packages: tuple[tuple[str, str], ...]
    code: str

    def lacks(self) -> str | None:
        """What this machine lacks, in one line; None if nothing."""
        have = dict(self.packages)
        for kind, name, package in self.plug_ins:
            if name not in registry.installed(kind).claims:
                return f"lacks the plug-in '{name}' ({kind}), which package {package} {have[package]} brings"
        for package, wanted in self.packages:
            try:
                found = version(package)
            except PackageNotFoundError:
                return f"lacks the package {package} {wanted}"
            if found != wanted:
                return f"has {package} {found}, and {wanted} is needed"
        return None if code() == self.code else "has another version of tapewright's own code; install the same"


@dataclass(frozen=True)
class Order:
    """Tapes of one kind.

    Attributes:
        names: of codec, channel and each receiver, for messages.
        codec, channel, receivers: canonical specs.
        trials: which.
        files: what the files hold that specs name, by the name.
        needs: what the machine must have.
    """

    names: tuple[str, str, tuple[str, ...]]
    codec: str
    channel: str
    receivers: tuple[str, ...]
    trials: tuple[int, ...]
    program: bytes
    seed: int
    sample_rate_hz: int
    files: tuple[tuple[str, bytes], ...]
    needs: Needs


@dataclass(frozen=True)
class Delivery:
    """What became of an order.

    Attributes:
        tallies: by trial, then by receiver.
        busy_s: by trial.
        machine: what it ran on, as canonical JSON.
    """

    tallies: tuple[tuple[Tally, ...], ...]
    busy_s: tuple[float, ...]
    machine: str


def order(study: Study, tapes: tuple[Tape, ...]) -> Order:
    """Tapes that share their tasks, as an order."""
    tasks = tapes[0].tasks
    first = tasks[0]
    members = (*first.codec.plug_ins, *first.channel.stages, *(task.receiver for task in tasks))
    return Order(
        names=(first.codec_name, first.channel_name, tuple(task.receiver_name for task in tasks)),
        codec=first.codec.spec,
        channel=first.channel.spec,
        receivers=tuple(task.receiver.spec for task in tasks),
        trials=tuple(tape.trial for tape in tapes),
        program=study.program,
        seed=study.seed,
        sample_rate_hz=study.sample_rate_hz,
        files=tuple((name, path.read_bytes()) for name, path in files_named(members).items()),
        needs=needs(tasks),
    )


@lru_cache(maxsize=4096)
def needs(tasks: tuple[Task, ...]) -> Needs:
    """What a machine must have to play these."""
    named: dict[tuple[str, str], None] = {}
    packages: dict[str, str] = {}
    for task in tasks:
        members: list[tuple[str, PlugIn]] = [("codec", member) for member in task.codec.plug_ins]
        members += [("channel", stage) for stage in task.channel.stages]
        members.append(("receiver", task.receiver))
        named |= dict.fromkeys((kind, member.name) for kind, member in members)
        packages |= {package: known for package, known in versions(task).items() if package not in NO_CONCERN}
    ours = {"tapewright": versions(tasks[0])["tapewright"]}
    return Needs(
        tuple((kind, name, registry.installed(kind).package(name)) for kind, name in named),
        tuple((packages | ours).items()),
        code(),
    )


def perform(asked: Order, who: str) -> Delivery:
    """Play the tapes of an order.

    Args:
        who: what to call this machine in a message.

    Raises:
        PlugInError: the machine lacks something. TapewrightError: a plug-in raised.
    """
    lacks = asked.needs.lacks()
    if lacks is not None:
        raise PlugInError(f"worker '{who}' {lacks}.")
    return played(asked)


def played(asked: Order) -> Delivery:
    """Play the tapes of an order where nothing is lacking: on the machine that it comes from.

    Raises:
        TapewrightError: a plug-in raised.
    """
    codec_name, channel_name, receiver_names = asked.names
    files = dict(asked.files)
    codec = registry.codec(local(asked.codec, files))
    channel = registry.channel(local(asked.channel, files))
    tasks = tuple(
        Task(codec_name, name, channel_name, codec, registry.receiver(local(spec, files)), channel, None)
        for name, spec in zip(receiver_names, asked.receivers, strict=True)
    )
    shelf = _shelf(asked.program, asked.sample_rate_hz)
    tallies, busy_s = [], []
    for trial in asked.trials:
        begun = perf_counter()
        tallies.append(play(Tape((asked.codec, asked.channel), tasks, trial), shelf, asked.seed))
        busy_s.append(perf_counter() - begun)
    return Delivery(tuple(tallies), tuple(busy_s), _this_machine())


@lru_cache(maxsize=1)
def _this_machine() -> str:
    return canonical_json(machine())


@lru_cache(maxsize=_SHELVES)
def _shelf(program: bytes, sample_rate_hz: int) -> Shelf:
    return Shelf(program, sample_rate_hz, _SHELF_BYTES)
