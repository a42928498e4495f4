"""Records: the rows of an answer as plain data, complete enough to be repeated years later."""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from itertools import groupby
from typing import Any

from ..contracts import registry
from ..contracts.codec import Codec
from ..contracts.plug_in import PlugIn
from ..contracts.relay_cost import relay_cost
from .capacity import Capacity, capacity
from .frontier import on_frontier
from .statistics import Estimate, load_success, residual_byte_error_rate
from .strength import Strength
from .study import Study, Task
from .tally import Tally
from .trials import Result, cores

ALL_TRIALS = "all trials ran"


@dataclass(frozen=True)
class Record:
    """One row of the answer.

    Attributes:
        task, tally: what ran and its raw counts.
        tape_s: length of the recording, leader and all overhead included.
        useful_bytes_per_s: payload over ``tape_s``, not multiplied by success.
        load_success, residual_byte_error_rate: None where no trial ran.
        stop: why the trials ended.
        on_frontier: among the rows of one receiver and one channel.
        capacity: the upper bound of the channel for recordings as strong as this one.
        receiver_limit_bits_per_s: what the receiver can take in; None if it sets no limit of its own.
        versions, machine: with what and on what the trials ran; empty for this process.
    """

    study: Study
    task: Task
    tally: Tally
    tape_s: float
    useful_bytes_per_s: float
    load_success: Estimate | None
    residual_byte_error_rate: Estimate | None
    stop: str
    on_frontier: bool
    capacity: Capacity
    receiver_limit_bits_per_s: float | None
    versions: Mapping[str, str] = field(default_factory=dict)
    machine: Mapping[str, str | int] = field(default_factory=dict)

    @property
    def limit_bits_per_s(self) -> float | None:
        """The lesser of both tracks' capacity and the receiver's limit; None where neither is known."""
        known = (self.capacity.both_tracks_bits_per_s, self.receiver_limit_bits_per_s)
        return min((limit for limit in known if limit is not None), default=None)

    @property
    def share_of_capacity(self) -> float | None:
        """Useful bits a second re the limit; None where that is not known."""
        return None if self.limit_bits_per_s is None else 8 * self.useful_bytes_per_s / self.limit_bits_per_s

    def as_json(self) -> dict[str, Any]:
        """Plain data, ready for JSON; units are in the names."""
        task, tally, study = self.task, self.tally, self.study
        return {
            **names_of(task),
            "needs": task.codec.needs,
            "guaranteed_burst_ms": task.codec.guaranteed_burst_ms(len(study.program)),
            "relay_cost": cost.as_json() if (cost := relay_cost(task.codec)) else None,
            **program_of(study),
            "tape_s": self.tape_s,
            "useful_bytes_per_s": self.useful_bytes_per_s,
            "trials": tally.trials,
            "right": tally.right,
            "detected": tally.detected,
            "silent": tally.silent,
            "byte_errors": tally.byte_errors,
            "byte_errors_squared": tally.byte_errors_squared,
            "tapes_with_byte_errors": tally.tapes_with_byte_errors,
            "tapes_wholly_wrong": tally.tapes_wholly_wrong,
            "load_success": self.load_success and self.load_success.as_json(),
            "residual_byte_error_rate": self.residual_byte_error_rate and self.residual_byte_error_rate.as_json(),
            "on_frontier": self.on_frontier,
            "capacity_bits_per_s": self.capacity.both_tracks_bits_per_s,
            "capacity_of_one_track_bits_per_s": self.capacity.one_track_bits_per_s,
            "capacity_unknown": self.capacity.without,
            "receiver_limit_bits_per_s": self.receiver_limit_bits_per_s,
            "receiver_relays": None if task.refusal is not None else task.receiver.relay_count(task.codec),
            "limit_bits_per_s": self.limit_bits_per_s,
            "share_of_capacity": self.share_of_capacity,
            "stop": self.stop,
            "seed": study.seed,
            "sample_rate_hz": study.sample_rate_hz,
            "versions": dict(self.versions or versions(task)),
            "machine": dict(self.machine or machine()),
        }


def names_of(task: Task) -> dict[str, str]:
    """What met what, as the user wrote it and in full, ready for JSON."""
    return {
        "codec": task.codec_name,
        "receiver": task.receiver_name,
        "channel": task.channel_name,
        "codec_spec": task.codec.spec,
        "receiver_spec": task.receiver.spec,
        "channel_spec": task.channel.spec,
    }


def program_of(study: Study) -> dict[str, str | int]:
    """What was recorded, ready for JSON."""
    return {
        "program": study.program_name,
        "program_sha256": hashlib.sha256(study.program).hexdigest(),
        "payload_bytes": len(study.program),
    }


def records(study: Study, results: Iterable[Result]) -> tuple[Record, ...]:
    """The rows of an answer, in the order of ``results`` (which keeps rows of one receiver and channel together)."""
    results = tuple(results)
    strengths = {
        codec: Strength.of(codec.encode(study.program, study.sample_rate_hz))
        for codec in {result.task.codec for result in results}
    }
    rows: list[Record] = []
    for _, group in groupby(results, key=lambda result: (result.task.channel_name, result.task.receiver_name)):
        ours = [_record(study, result, strengths) for result in group]
        heard = [
            (row.useful_bytes_per_s, row.residual_byte_error_rate.rate)
            for row in ours
            if row.residual_byte_error_rate is not None
        ]
        marks = iter(on_frontier(heard))
        rows += [replace(row, on_frontier=next(marks)) if row.residual_byte_error_rate else row for row in ours]
    return tuple(rows)


def _record(study: Study, result: Result, strengths: Mapping[Codec, Strength]) -> Record:
    task, tally, payload_bytes = result.task, result.tally, len(study.program)
    tape_s = task.codec.duration_s(payload_bytes)
    played = tally.trials > 0
    return Record(
        study=study,
        task=task,
        tally=tally,
        tape_s=tape_s,
        useful_bytes_per_s=payload_bytes / tape_s,
        load_success=load_success(tally) if played else None,
        residual_byte_error_rate=residual_byte_error_rate(tally, payload_bytes) if played else None,
        stop=ALL_TRIALS if task.refusal is None else f"refused: {task.refusal}",
        on_frontier=False,
        capacity=capacity(task.channel, strengths[task.codec], study.sample_rate_hz),
        receiver_limit_bits_per_s=task.receiver.limit_bits_per_s(task.codec),
    )


def versions(task: Task) -> dict[str, str]:
    """Version of Python and of every installed package whose code made the result: ours, the plug-ins', numpy's."""
    named: list[tuple[str, PlugIn]] = [("codec", member) for member in task.codec.plug_ins]
    named += [("channel", stage) for stage in task.channel.stages]
    named.append(("receiver", task.receiver))
    packages = {"tapewright", "numpy", "scipy", "numba"}
    packages |= {registry.installed(kind).package(plug_in.name) for kind, plug_in in named}
    return {"python": platform.python_version(), **{package: _version(package) for package in sorted(packages)}}


@cache
def machine() -> dict[str, str | int]:
    """What the trials ran on."""
    return {"system": platform.system(), "processor": platform.machine(), "cores": cores()}


@cache
def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "unknown"
