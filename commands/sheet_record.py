"""What a build sheet shows, from a task and the tapes that it played."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ..benchmarks.study import Study, Task
    from ..benchmarks.tally import Tally


def check_relays(task: Task) -> None:
    """Refuse what no relay machine decodes, before any tape is played.

    Raises:
        UsageError: a receiver that is no relay machine, or that cannot decode the codec.
    """
    from ..contracts.errors import UsageError, in_one_line
    from ..receivers.relays.plug_in import Relays

    if not isinstance(task.receiver, Relays):
        shown = in_one_line(task.receiver_name, 60)
        raise UsageError(f"sheet: receiver '{shown}' is not a relay machine; 'relays' is.")
    if task.refusal is not None:
        raise UsageError(task.refusal)


def sheet_record(study: Study, task: Task, tally: Tally) -> dict[str, Any]:
    """The record for ``reports.build_sheet``.

    Raises:
        UsageError: a receiver that is no relay machine, or that cannot decode the codec.
    """
    from .. import __version__
    from ..benchmarks.records import names_of, program_of
    from ..benchmarks.statistics import load_success
    from ..contracts.keying import KeyedLineCode
    from ..contracts.relay_cost import relay_cost
    from ..receivers.relays.build_record import build_record
    from ..receivers.relays.plug_in import Relays

    check_relays(task)
    assert isinstance(task.receiver, Relays)
    assert isinstance(task.codec.line_code, KeyedLineCode)  # the receiver would have refused
    payload_bytes = len(study.program)
    memory_bytes = task.receiver.memory_bytes(task.codec, payload_bytes)
    build = build_record(task.codec.line_code, *task.receiver.wiring(task.codec), memory_bytes)
    cost = relay_cost(task.codec)
    assert cost is not None  # the receiver would have refused
    tape_s = task.codec.duration_s(payload_bytes)
    return {
        **names_of(task),
        **program_of(study),
        "tape_s": tape_s,
        "seed": study.seed,
        "version": f"tapewright {__version__}",
        "build": build,
        "checks": {"catches": list(cost.catches), "misses": list(cost.misses)},
        "load": {
            **load_success(tally).as_json(),
            "trials": tally.trials,
            "right": tally.right,
            "detected": tally.detected,
            "silent": tally.silent,
            "useful_bytes_per_s": payload_bytes / tape_s,
        },
    }
