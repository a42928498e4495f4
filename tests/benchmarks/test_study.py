"""What a study accepts, and the tasks it makes."""

import re

import pytest
from tapewright.benchmarks.study import MOST_SEED, Study
from tapewright.contracts.errors import UsageError

pytestmark = pytest.mark.usefixtures("toys")

PLAIN = {"program": b"noon", "program_name": "noon", "codecs": ("toy_pulse",), "channels": ("toy_flips",)}


def test_tasks_are_every_meeting_channel_by_channel() -> None:
    study = Study(b"noon", "noon", ("toy_pulse", "toy-checked"), ("sound", "toy_deaf"), ("toy_flips", "toy_slow"))
    rows = [(task.channel_name, task.receiver_name, task.codec_name) for task in study.tasks()]
    assert rows == [
        (channel, receiver, codec)
        for channel in ("toy_flips", "toy_slow")
        for receiver in ("sound", "toy_deaf")
        for codec in ("toy_pulse", "toy-checked")
    ]
    refused = {task.receiver_name: task.refusal for task in study.tasks()}
    assert refused == {"sound": None, "toy_deaf": "it needs a computer"}


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"program": b""}, "Argument 'program' must hold 1 to 1048576 bytes, not 0."),
        ({"program": bytes(1048577)}, "Argument 'program' must hold 1 to 1048576 bytes, not 1048577."),
        ({"trials": 0}, "Argument 'trials' must be 1 to 1000000, not 0."),
        ({"trials": 1_000_001}, "Argument 'trials' must be 1 to 1000000, not 1000001."),
        ({"seed": -1}, f"Argument 'seed' must be 0 to {MOST_SEED}, not -1."),
        ({"codecs": ()}, "Argument 'codecs' must name at least one codec."),
        ({"channels": ()}, "Argument 'channels' must name at least one channel."),
        ({"receivers": ()}, "Argument 'receivers' must name at least one receiver."),
        (
            {"codecs": ("toy-checked", "toy_parity/toy_pulse:frames=1")},
            "codec: 'toy-checked' and 'toy_parity/toy_pulse:frames=1' are the same; name each codec once.",
        ),
        ({"channels": ("toy_flips", "toy_flips:rate=0")}, "channel: 'toy_flips' and 'toy_flips:rate=0' are the same"),
        ({"codecs": ("toy_puls",)}, "codec: there is no 'toy_puls'. Did you mean 'toy_pulse'?"),
        ({"codecs": ("toy_pulse:frames=0",)}, "toy_pulse: parameter 'frames' must be 1 to 100, not 0."),
        ({"codecs": ("(toy_pulse",)}, "unbalanced parentheses"),
    ],
)
def test_a_wrong_study_is_refused_in_one_line(changed, told) -> None:
    with pytest.raises(UsageError, match=re.escape(told)) as refusal:
        Study(**{**PLAIN, **changed})
    assert "\n" not in str(refusal.value)
