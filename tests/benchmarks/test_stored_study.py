"""Stored studies: whatever happens on the way, the answer is that of a run that nobody disturbed."""

import json
import os
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest
from tapewright.benchmarks.lacking import Share
from tapewright.benchmarks.merge import merge
from tapewright.benchmarks.new_store import create
from tapewright.benchmarks.records import records
from tapewright.benchmarks.scout import FIRST
from tapewright.benchmarks.store import Store
from tapewright.benchmarks.stored_study import answer, run, standings
from tapewright.benchmarks.study import Study
from tapewright.benchmarks.study_file import read_study_file
from tapewright.benchmarks.trials import Threads
from tapewright.benchmarks.trials import run as run_undisturbed
from tapewright.contracts.errors import TapewrightError, UsageError

TOYS = Path(__file__).parent / "toys"

pytestmark = pytest.mark.usefixtures("toys")

STUDY = """
[study]
bytes = 24
codecs = ["toy_pulse", "toy-checked"]
receivers = ["sound", "toy_coin", "toy_deaf"]
channels = ["toy_flips:rate=0.004,blank=0.1", "wire"]
trials = {trials}
seed = {seed}
"""


def write(path: Path, text: str = STUDY, **changed) -> Path:
    path.write_text(text.format(**{"trials": 40, "seed": 5, **changed}))
    return path


def stored(path: Path, into: Path | None = None, **how) -> Path:
    """The store of a study file after a run."""
    into = into or path.with_suffix(".study")
    if not into.exists():
        create(into)
    with Store(into, writing=True) as store:
        run(store, read_study_file(path), Threads(2), **how)
    return into


def rows(store: Path) -> list[dict]:
    return [row.as_json() for row in answer(store)]


def held(store: Path) -> dict[tuple[str, int], tuple]:
    """Every batch of a store that no scout is in."""
    with Store(store) as open_store:
        return {(one.task, one.first): one.row() for one in open_store.batches() if one.first < FIRST}


def test_the_rows_are_those_of_a_comparison(tmp_path) -> None:
    path = write(tmp_path / "bells.toml", STUDY.replace("bytes = 24", 'program = "chime"'))
    study = Study(
        read_study_file(path).studies[0].program,
        "chime",
        ("toy_pulse", "toy-checked"),
        ("sound", "toy_coin", "toy_deaf"),
        ("toy_flips:rate=0.004,blank=0.1", "wire"),
        trials=40,
        seed=5,
    )
    assert rows(stored(path)) == [row.as_json() for row in records(study, run_undisturbed(study))]


def test_killed_at_any_moment_it_goes_on_with_nothing_lost_doubled_or_changed(tmp_path) -> None:
    """20 kills with SIGKILL at random moments against one run that nobody disturbed: the same table to the bit.

    A tape waits 16 ms: two threads need 4 s for 500 of them, and 20 lives of 0 to 0.25 s sum to 2.5 s with a standard
    deviation of 0.32 s, so that the chance of having nothing left to kill is below 2e-6 however quick the machine.
    """
    text = STUDY.replace("blank=0.1", "blank=0.1/toy_slow:wait_s=0.016")
    quiet = write(tmp_path / "quiet.toml", text, trials=250)
    disturbed = write(tmp_path / "disturbed.toml", text, trials=250)
    ran = subprocess.run(
        [sys.executable, str(Path(__file__).with_name("killed_runs.py")), str(disturbed), "20"],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(TOYS)},
        timeout=120,
    )
    assert ran.returncode == 0, ran.stderr
    told = json.loads(ran.stdout)
    assert told["killed"] == 20
    assert told["held"] == sorted(told["held"]), "a kill took something that was there"
    assert len(set(told["held"])) >= 5, "too few kills fell between two writes to prove anything"
    assert json.dumps(told["rows"]) == json.dumps(rows(stored(quiet)))
    assert {row["trials"] for row in told["rows"] if row["receiver"] != "toy_deaf"} == {250}


def test_an_error_in_the_middle_keeps_what_was_played(tmp_path) -> None:
    path = write(tmp_path / "bells.toml")

    def interrupt(news) -> None:
        if news.done == 30:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stored(path, watch=interrupt)
    with Store(tmp_path / "bells.study") as store:
        found = standings(store)
    assert sum(standing.tally.trials for standing in found if standing.row.task.receiver_name == "sound") >= 30
    unfinished = [row for row in answer(tmp_path / "bells.study") if "so far" in row.stop]
    assert {row.stop for row in unfinished} >= {f"{row.tally.trials} of 40 trials ran so far" for row in unfinished}
    assert unfinished
    assert rows(stored(path)) == rows(stored(path, tmp_path / "other.study"))


def test_a_second_run_plays_nothing(tmp_path) -> None:
    path = write(tmp_path / "bells.toml")
    before = held(stored(path))
    heard = []
    stored(path, watch=heard.append)
    assert [(news.done, news.of) for news in heard] == [(0, 0)]
    assert held(tmp_path / "bells.study") == before


def test_more_trials_add_to_those_that_are_there(tmp_path) -> None:
    few, many = write(tmp_path / "few.toml", trials=10), write(tmp_path / "many.toml", trials=40)
    store = stored(few)
    before = held(store)
    stored(many, store)
    assert before.items() <= held(store).items()
    assert rows(store) == rows(stored(many))


def test_another_seed_adds_nothing_to_a_row(tmp_path) -> None:
    one, two = write(tmp_path / "one.toml"), write(tmp_path / "two.toml", seed=6)
    store = stored(one)
    stored(two, store)
    assert rows(store) == rows(stored(two))


@pytest.mark.parametrize("of", [2, 7])
def test_shares_merge_into_the_whole(of, tmp_path) -> None:
    path = write(tmp_path / "bells.toml")
    parts = [stored(path, tmp_path / f"{number}.study", share=Share(number, of)) for number in range(1, of + 1)]
    assert {row["stop"] for row in rows(parts[0]) if row["receiver"] == "sound"} == {
        f"{40 // of} of 40 trials ran so far"
    }
    added = merge(parts[::-1], tmp_path / "whole.study")
    assert added == 40 * 2 * 2 * 2  # codecs, receivers that do not refuse, channels
    assert rows(tmp_path / "whole.study") == rows(stored(path))


def test_seeds_programs_and_formats_merge_side_by_side(tmp_path) -> None:
    first = write(tmp_path / "first.toml")
    seed = write(tmp_path / "seed.toml", seed=6)
    stores = [stored(path) for path in (first, seed)]
    merge(stores, tmp_path / "whole.study")
    assert rows(tmp_path / "whole.study") == rows(stores[0]) + rows(stores[1])

    everything = write(tmp_path / "all.toml", STUDY.replace('"toy-checked"', '"toy-checked", "toy_pulse:frames=2"'))
    fresh = write(tmp_path / "fresh.toml", STUDY.replace('"toy_pulse", "toy-checked"', '"toy_pulse:frames=2"'))
    merge([stores[0], stored(fresh)], tmp_path / "both.study")
    assert sorted(map(json.dumps, rows(tmp_path / "both.study"))) == sorted(map(json.dumps, rows(stored(everything))))


def test_a_merge_that_overlaps_is_refused_and_adds_nothing(tmp_path) -> None:
    path = write(tmp_path / "bells.toml")
    whole = stored(path)
    part = stored(path, tmp_path / "part.study", share=Share(2, 3))
    before, held_before = whole.read_bytes(), held(whole)
    other = stored(path, tmp_path / "other.study", share=Share(3, 3))
    with pytest.raises(
        TapewrightError, match=r"part\.study' and '.*bells\.study' both hold the trials 13 to 25 of task \w+; leave"
    ):
        merge([part], whole)
    with pytest.raises(TapewrightError, match=r"part\.study' and '.*bells\.study' both hold the trials 13 to 25 "):
        merge([other, part, whole], tmp_path / "new.study")
    assert not (tmp_path / "new.study").exists()
    merge([other], tmp_path / "some.study")
    with pytest.raises(TapewrightError, match="both hold"):
        merge([part, whole], tmp_path / "some.study")
    assert held(tmp_path / "some.study") == held(other)
    assert held(whole) == held_before
    assert len(whole.read_bytes()) == len(before)
    with pytest.raises(UsageError, match="is the output itself"):
        merge([whole], whole)
    with pytest.raises(UsageError, match="is named twice"):
        merge([whole, whole], tmp_path / "new.study")
    assert not (tmp_path / "new.study").exists()


def test_a_store_that_lacks_what_was_written_last_is_told(tmp_path) -> None:
    """A run that was killed leaves a log beside its store; copied without it, the store holds nothing at first."""
    create(tmp_path / "part.study")
    with pytest.raises(TapewrightError, match=r"holds no study yet\. .* copy 'part\.study-wal' with it"):
        merge([tmp_path / "part.study"], tmp_path / "whole.study")
    assert not (tmp_path / "whole.study").exists()
    with pytest.raises(TapewrightError, match="holds no study yet"):
        answer(tmp_path / "part.study")


def test_scouts_choose_and_are_never_shown(tmp_path) -> None:
    """About half of the tapes of one row load, far from 99 %; a row without a failure cannot be told from it."""
    text = """
        [study]
        bytes = 16
        codecs = ["toy_pulse"]
        channels = ["toy_flips:blank=0.5", "toy_flips:blank=0.01"]
        trials = 40
        """
    path = tmp_path / "bells.toml"
    path.write_text(text)
    clear, close = rows(stored(path, until=0.99))
    assert (clear["trials"], close["trials"]) == (40, 320)
    assert clear["stop"] == "all trials ran; their number fixed on other tapes, to tell the row from 99 %"
    with Store(tmp_path / "bells.study") as store:
        scouts = [one for one in store.batches() if one.first >= FIRST]
    assert scouts
    # What is shown is what a plain study with that many trials gives.
    plain = tmp_path / "plain.toml"
    plain.write_text(text.replace("trials = 40", "trials = 320").replace('"toy_flips:blank=0.5", ', ""))
    (alone,) = rows(stored(plain))
    assert {**close, "stop": ""} == {**alone, "stop": ""}


def test_scouting_goes_on_where_it_was(tmp_path) -> None:
    path = write(tmp_path / "bells.toml", trials=24)

    def interrupt(news) -> None:
        if news.done == 9:
            raise KeyboardInterrupt

    for _ in range(3):
        with pytest.raises(KeyboardInterrupt):
            stored(path, until=0.9, watch=interrupt)
    assert rows(stored(path, until=0.9)) == rows(stored(path, tmp_path / "quiet.study", until=0.9))


@pytest.mark.parametrize("until", [0.0, 1.0, -1.0, 99.0, float("nan")])
def test_a_success_that_is_none(until, tmp_path) -> None:
    with pytest.raises(UsageError, match="'until' must lie between 0 and 1"):
        stored(write(tmp_path / "bells.toml"), until=until)


def test_a_share_does_not_scout(tmp_path) -> None:
    with pytest.raises(UsageError, match="exclude each other"):
        stored(write(tmp_path / "bells.toml"), until=0.9, share=Share(1, 2))


def test_an_old_answer_keeps_the_versions_and_the_machine_it_was_made_with(tmp_path, monkeypatch) -> None:
    from tapewright.benchmarks import records as module

    store = stored(write(tmp_path / "bells.toml"))
    before = rows(store)
    monkeypatch.setattr(module, "_version", lambda package: "9.9")
    monkeypatch.setattr(module, "machine", lambda: {"system": "elsewhere"})
    assert [row for row in rows(store) if row["trials"]] == [row for row in before if row["trials"]]
    assert before[0]["versions"]["tapewright-toys"] == "1.0"


def test_a_relay_set_that_is_gone_or_changed_is_still_in_the_store(tmp_path) -> None:
    ready = files("tapewright.receivers.relays").joinpath("sets/signal_12v.toml").read_bytes()
    (tmp_path / "ours.toml").write_bytes(ready)
    path = tmp_path / "bells.toml"
    path.write_text(
        "[study]\nbytes = 1\ncodecs = ['clocked']\nchannels = ['wire']\ntrials = 2\n"
        "receivers = ['relays:set=\"ours.toml\"']\n"
    )
    store = stored(path)
    (before,) = rows(store)
    assert before["receiver"] == 'relays:set="ours.toml"'
    (tmp_path / "ours.toml").write_bytes(ready + b"\n# later\n")
    (changed,) = rows(store)
    (tmp_path / "ours.toml").unlink()
    (gone,) = rows(store)
    merge([store], tmp_path / "elsewhere.study")
    (merged,) = rows(tmp_path / "elsewhere.study")
    for row in (changed, gone, merged):
        assert {**row, "receiver_spec": ""} == {**before, "receiver_spec": ""}
        assert "-ours.toml" in row["receiver_spec"]
