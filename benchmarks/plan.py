"""A plan: the rows of a stored study, each with its task and how many trials it shall have.

It stands in the store as JSON, with canonical specs, so that the answer needs neither the study file nor the files that
its specs named.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from ..contracts.errors import TapewrightError
from .carried_files import digest, files_named, local
from .identity import canonical_json, identity
from .records import versions
from .study import Study, Task
from .study_file import MAKERS, StudyFile


@dataclass(frozen=True)
class Row:
    """One row.

    Attributes:
        task: what is played, under the names that the user gave.
        key: hash of the task's identity.
        trials: how many shall be shown, fixed before the first of them ran.
        versions: of the packages that make the counts.
        why: how the number of trials was found; empty where the study gives it.
    """

    task: Task
    key: str
    trials: int
    versions: dict[str, str]
    why: str = ""


@dataclass(frozen=True)
class Part:
    """The rows of one program and seed."""

    study: Study
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class _ReadStudy(Study):
    """A study of which only some meetings were ever asked for: the others may be impossible."""

    asked: tuple[Task, ...] = field(default=(), compare=False)

    def tasks(self) -> tuple[Task, ...]:
        return self.asked


@dataclass(frozen=True)
class Plan:
    """The rows of a stored study, by program and seed."""

    parts: tuple[Part, ...]

    def rows(self) -> Iterator[tuple[Study, Row]]:
        """Every row with its study."""
        for part in self.parts:
            for row in part.rows:
                yield part.study, row

    def to_json(self) -> bytes:
        """As it stands in the store."""
        return canonical_json([_part_to_json(part) for part in self.parts]).encode()

    def with_rows_of(self, other: Plan) -> Plan:
        """This plan and the rows of another that it lacks; of a row in both, the more trials."""
        wanted = {row.key: row.trials for _, row in other.rows()}
        parts = [
            Part(part.study, tuple(replace(row, trials=max(row.trials, wanted.get(row.key, 0))) for row in part.rows))
            for part in self.parts
        ]
        known = {row.key for _, row in self.rows()}
        for part in other.parts:
            new = tuple(row for row in part.rows if row.key not in known)
            place = next((at for at, ours in enumerate(parts) if _same_study(ours.study, part.study)), None)
            if place is None:
                parts.append(Part(part.study, new))
            else:
                parts[place] = Part(parts[place].study, _joined(parts[place].rows, new))
        return Plan(tuple(part for part in parts if part.rows))


def plan_of(asked: StudyFile) -> Plan:
    """The plan that a study file asks for."""
    return Plan(
        tuple(Part(study, tuple(_row(study, task, asked.names) for task in study.tasks())) for study in asked.studies)
    )


def contents(plan: Plan) -> Iterator[bytes]:
    """What a plan refers to, to be kept under its hash: programs, identities, files that specs name."""
    for part in plan.parts:
        yield part.study.program
        yield from (path.read_bytes() for path in _files(part).values())
    for study, row in plan.rows():
        yield identity(study, row.task).encode()


def read_plan(content: bytes, content_of: Callable[[str], bytes]) -> Plan:
    """The plan that stands in a store.

    Args:
        content_of: gives what the plan refers to by its hash.

    Raises:
        TapewrightError: it is no plan, or a plug-in of it is not installed.
    """
    try:
        told = json.loads(content)
        return Plan(tuple(_part_from_json(part, content_of) for part in told))
    except (ValueError, KeyError, TypeError) as error:
        raise TapewrightError(f"the plan in the study store cannot be read: {type(error).__name__}.") from None


def _row(study: Study, task: Task, names: dict[tuple[str, str], str]) -> Row:
    named = replace(
        task,
        codec_name=names["codec", task.codec.spec],
        receiver_name=names["receiver", task.receiver.spec],
        channel_name=names["channel", task.channel.spec],
    )
    return Row(named, digest(identity(study, task).encode()), study.trials, versions(task))


def _same_study(one: Study, other: Study) -> bool:
    return (one.program, one.seed, one.sample_rate_hz) == (other.program, other.seed, other.sample_rate_hz)


def _joined(ours: tuple[Row, ...], new: tuple[Row, ...]) -> tuple[Row, ...]:
    """Rows of one channel and receiver together; a name that stands for two things gives way to what it stands for."""
    taken = {(kind, name): spec for row in ours for kind, name, spec in _names(row.task)}
    rows = list(ours)
    for row in new:
        codec, receiver, channel = (
            name if taken.setdefault((kind, name), spec) == spec else spec for kind, name, spec in _names(row.task)
        )
        named = replace(row.task, codec_name=codec, receiver_name=receiver, channel_name=channel)
        rows.append(replace(row, task=named))
    channels = list(dict.fromkeys(row.task.channel_name for row in rows))
    receivers = list(dict.fromkeys(row.task.receiver_name for row in rows))
    rows.sort(key=lambda row: (channels.index(row.task.channel_name), receivers.index(row.task.receiver_name)))
    return tuple(rows)


def _names(task: Task) -> tuple[tuple[str, str, str], ...]:
    return (
        ("codec", task.codec_name, task.codec.spec),
        ("receiver", task.receiver_name, task.receiver.spec),
        ("channel", task.channel_name, task.channel.spec),
    )


def _part_to_json(part: Part) -> dict[str, Any]:
    return {
        "program": part.study.program_name,
        "program_sha256": digest(part.study.program),
        "trials": part.study.trials,
        "seed": part.study.seed,
        "files": {name: digest(path.read_bytes()) for name, path in _files(part).items()},
        "sample_rate_hz": part.study.sample_rate_hz,
        "rows": [
            {
                **{kind: {"name": name, "spec": spec} for kind, name, spec in _names(row.task)},
                "refusal": row.task.refusal,
                "task": row.key,
                "trials": row.trials,
                "versions": row.versions,
                "why": row.why,
            }
            for row in part.rows
        ],
    }


def _files(part: Part) -> dict[str, Path]:
    """The files that specs of a part name."""
    tasks = [row.task for row in part.rows]
    return files_named(
        member for task in tasks for member in (*task.codec.plug_ins, task.receiver, *task.channel.stages)
    )


def _part_from_json(told: dict[str, Any], content_of: Callable[[str], bytes]) -> Part:
    built: dict[tuple[str, str], Any] = {}
    files = {name: content_of(sha256) for name, sha256 in told["files"].items()}

    def made(kind: str, row: dict[str, Any]) -> Any:
        spec = row[kind]["spec"]
        if (kind, spec) not in built:
            built[kind, spec] = MAKERS[kind](local(spec, files))
        return built[kind, spec]

    rows = tuple(
        Row(
            Task(
                row["codec"]["name"],
                row["receiver"]["name"],
                row["channel"]["name"],
                made("codec", row),
                made("receiver", row),
                made("channel", row),
                row["refusal"],
            ),
            row["task"],
            row["trials"],
            row["versions"],
            row["why"],
        )
        for row in told["rows"]
    )
    codecs, receivers, channels = (tuple(one.spec for (of, _), one in built.items() if of == kind) for kind in MAKERS)
    study = _ReadStudy(
        program=content_of(told["program_sha256"]),
        program_name=told["program"],
        codecs=codecs,
        receivers=receivers,
        channels=channels,
        trials=told["trials"],
        seed=told["seed"],
        sample_rate_hz=told["sample_rate_hz"],
        asked=tuple(row.task for row in rows),
    )
    return Part(study, rows)
