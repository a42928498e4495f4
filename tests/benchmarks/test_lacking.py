"""What a store lacks: every trial that is missing, once, and nothing else."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tapewright.benchmarks.lacking import Share, lacking, parse_share
from tapewright.benchmarks.plan import Part, Row
from tapewright.benchmarks.store import Batch
from tapewright.benchmarks.study import Study
from tapewright.benchmarks.tally import Tally
from tapewright.contracts.errors import UsageError

pytestmark = pytest.mark.usefixtures("toys")


@given(
    trials=st.integers(1, 60), held=st.lists(st.sets(st.integers(0, 70)), min_size=4, max_size=4), of=st.integers(1, 5)
)
@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_all_shares_together_play_each_missing_trial_once(trials, held, of) -> None:
    study = Study(b"noon", "noon", ("toy_pulse", "toy-checked"), ("sound", "toy_coin"), ("toy_flips",), trials)
    part = Part(study, tuple(Row(task, f"task {place}", trials, {}) for place, task in enumerate(study.tasks())))
    keys = {row.task: row.key for row in part.rows}
    batches = {
        row.key: [Batch(row.key, trial, Tally(1, 1), "") for trial in sorted(has)]
        for row, has in zip(part.rows, held, strict=True)
    }
    played = []
    for number in range(1, of + 1):
        share = Share(number, of)
        found = lacking(part, batches, lambda row, share=share: share.trials(row.trials))
        tapes = list(found.in_order())
        assert len(tapes) == sum(found.counts().values())
        assert all(len({task.codec_name for task in tape.tasks}) == 1 for tape in tapes)
        played += [(keys[task], tape.trial) for tape in tapes for task in tape.tasks]
    missing = [
        (row.key, trial)
        for row, has in zip(part.rows, held, strict=True)
        for trial in range(trials)
        if trial not in has
    ]
    assert sorted(played) == sorted(missing)


def test_two_of_each_kind_come_first() -> None:
    study = Study(b"noon", "noon", ("toy_pulse", "toy-checked"), ("sound",), ("toy_flips", "wire"), 10)
    part = Part(study, tuple(Row(task, str(place), 10, {}) for place, task in enumerate(study.tasks())))
    kinds = [tape.kind for tape in lacking(part, {}, lambda row: range(10)).in_order()]
    assert len(kinds) == 40
    assert len(set(kinds[:8])) == 4


def test_what_is_refused_is_never_played() -> None:
    study = Study(b"noon", "noon", ("toy_pulse",), ("toy_deaf",), ("toy_flips",), 10)
    part = Part(study, tuple(Row(task, "deaf", 10, {}) for task in study.tasks()))
    assert list(lacking(part, {}, lambda row: range(10)).in_order()) == []


@pytest.mark.parametrize("text", ["", "0/4", "5/4", "1/0", "1/10001", "a/b", "1", "-1/4", "1/2/3"])
def test_a_share_that_is_none(text) -> None:
    with pytest.raises(UsageError, match="must be such as 2/4"):
        parse_share(text)
