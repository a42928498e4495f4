"""What lies behind the rows: the same for any number of workers, bounded, with a reason where nothing is shown."""

import pytest
from tapewright.benchmarks.evidence import MOST_ROWS, beside_each_other, evidence, harshest, looked_behind
from tapewright.benchmarks.records import records
from tapewright.benchmarks.study import Study
from tapewright.benchmarks.trials import run
from tapewright.contracts.errors import UsageError

PROGRAM = b"quarter past noon"


def rows_of(**asked):
    study = Study(PROGRAM, "quarter", trials=30, **asked)
    return [row.as_json() for row in records(study, run(study))]


@pytest.fixture
def rows(toys):
    return rows_of(codecs=("toy_pulse", "toy-checked"), channels=("toy_flips", "toy_flips:rate=0.01"))


def test_workers_do_not_change_it_and_every_tape_is_announced(rows):
    news = []
    found = evidence(rows, [PROGRAM], 5, 1, news.append)
    assert found == evidence(rows, [PROGRAM], 5, 3)
    assert [one.done for one in news] == list(range(len(news)))
    assert news[-1].done == news[-1].of
    assert news[-1].remaining_s == pytest.approx(0, abs=1e-6)


def test_it_holds_for_each_row_what_the_row_says(rows):
    for row, entry in zip(rows, evidence(rows, [PROGRAM], 5), strict=True):
        failures = row["trials"] - row["right"]
        assert len(entry["anatomy"]["tapes"]) == min(failures, 6)
        assert entry["excerpt"]["failed"] == (failures > 0)
        assert ("sweeps" in entry) == (row["channel"] == "toy_flips:rate=0.01")
        assert entry["bounds"]["success_at_least"] <= row["right"] / row["trials"]
        assert set(entry["sound"]) == {"fresh", "worn"}


def test_without_the_program_or_the_plug_in_it_says_why(rows):
    assert {entry["unseen"] for entry in evidence(rows, [b"another"], 0)} == {
        "the program is not at hand, so that no tape can be played again"
    }
    rows[0]["codec_spec"] = "gone"
    rows[1] = {**rows[1], "trials": 0, "load_success": None}
    found = evidence(rows, [PROGRAM], 0)
    assert "there is no 'gone'" in found[0]["unseen"]
    assert found[1] == {"bounds": None, "unseen": "no tape was played"}
    assert "anatomy" in found[2]
    assert "sweeps" not in found[2]


def test_the_harshest_channel_is_the_one_with_the_fewest_right(rows):
    assert harshest(rows) == "toy_flips:rate=0.01"
    assert harshest([{"channel": "a", "right": 0, "trials": 0}]) is None


def test_rows_of_several_runs_have_one_frontier(toys):
    """The channel and the program are the same, so a row that another beats in both is not on it, whoever ran them."""
    quick = rows_of(codecs=("toy_pulse",), channels=("toy_flips:rate=0.01",))
    slow = rows_of(codecs=("toy_pulse:frames=2",), channels=("toy_flips:rate=0.01",))
    error = {"rate": 0.0, "low": 0.0, "high": 0.1, "method": ""}
    rows = [{**row, "residual_byte_error_rate": error} for row in quick + slow]
    assert [row["on_frontier"] for row in rows] == [True, True]
    assert [row["on_frontier"] for row in beside_each_other(rows)] == [True, False]
    both = rows_of(codecs=("toy_pulse", "toy_pulse:frames=2"), channels=("toy_flips:rate=0.01", "toy_flips"))
    assert beside_each_other(both) == both


def test_of_many_rows_the_frontier_comes_first():
    rows = [{"trials": 1, "on_frontier": place % 10 == 9} for place in range(100)]
    chosen = looked_behind(rows)
    assert len(chosen) == MOST_ROWS
    assert set(range(9, 100, 10)) <= set(chosen)
    assert chosen == tuple(sorted(chosen))


@pytest.mark.parametrize("sweep_tapes", [-1, 10_001])
def test_a_number_of_tapes_out_of_range_is_refused(rows, sweep_tapes):
    with pytest.raises(UsageError, match=f"'sweeps' must be 0 to 10000, not {sweep_tapes}"):
        evidence(rows, [PROGRAM], sweep_tapes)
