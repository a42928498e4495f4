"""Stored studies that ask for fewer trials than are held: shown is what a fresh study of that size would show."""

import json
from pathlib import Path

import pytest
from tapewright.benchmarks import ledger
from tapewright.benchmarks.lacking import Share
from tapewright.benchmarks.new_store import create
from tapewright.benchmarks.scout import FIRST, scouted
from tapewright.benchmarks.store import Batch, Store
from tapewright.benchmarks.stored_study import answer, run, standings, stored_plan
from tapewright.benchmarks.study_file import read_study_file
from tapewright.benchmarks.tally import Tally
from tapewright.benchmarks.trials import Threads

pytestmark = pytest.mark.usefixtures("toys")

STUDY = """
[study]
bytes = 16
codecs = ["toy_pulse"]
receivers = ["sound", "toy_deaf"]
channels = ["toy_flips:blank=0.3", "toy_flips:blank=0.02"]
trials = {trials}
"""


class Bells:
    """One study file, whose trials change, and its store."""

    def __init__(self, folder: Path, name: str = "bells") -> None:
        self.file, self.store = folder / f"{name}.toml", folder / f"{name}.study"
        create(self.store)

    def run(self, trials: int, **how) -> list[dict]:
        """What is shown after a run of so many trials, without the rows that are refused."""
        self.file.write_text(STUDY.format(trials=trials))
        with Store(self.store, writing=True) as store:
            run(store, read_study_file(self.file), Threads(2), **how)
        return self.rows()

    def rows(self) -> list[dict]:
        return [row.as_json() for row in answer(self.store) if row.task.refusal is None]

    def standings(self) -> list[dict]:
        with Store(self.store) as store:
            return [one.as_json() for one in standings(store) if one.row.task.refusal is None]


@pytest.fixture
def bells(tmp_path: Path) -> Bells:
    return Bells(tmp_path)


@pytest.fixture
def fresh(tmp_path: Path) -> Bells:
    return Bells(tmp_path, "fresh")


@pytest.fixture(autouse=True)
def _written_at_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """Batches as long as they may be."""
    monkeypatch.setattr(ledger, "WRITTEN_EVERY_S", 1e9)


def test_trials_beyond_those_asked_for_stand_for_none_that_are_missing(bells, fresh) -> None:
    bells.run(40, share=Share(2, 2))
    assert {(row["trials"], row["stop"]) for row in bells.run(20, share=Share(1, 2))} == {
        (10, "10 of 20 trials ran so far")
    }
    assert {(one["done"], one["trials"]) for one in bells.standings()} == {(10, 20)}
    assert bells.run(20, share=Share(2, 2)) == fresh.run(20)


@pytest.mark.parametrize(("many", "few"), [(300, 20), (300, 7), (90, 37), (3000, 1200)])
def test_more_that_are_held_are_not_shown(many, few, bells, fresh) -> None:
    bells.run(many)
    assert json.dumps(bells.run(few)) == json.dumps(fresh.run(few))
    assert {(one["done"], one["held"], one["trials"]) for one in bells.standings()} == {(few, few, few)}
    assert {row["trials"] for row in bells.run(many)} == {many}


@pytest.mark.parametrize("trials", [16, 150])
def test_another_figure_to_tell_rows_from_shows_what_it_would_alone(trials, bells, fresh) -> None:
    most = [row["trials"] for row in bells.run(trials, until=0.97)]
    assert max(most) > trials
    assert json.dumps(bells.run(trials, until=0.3)) == json.dumps(fresh.run(trials, until=0.3))
    assert [row["trials"] for row in bells.rows()] != most
    assert {row["trials"] for row in bells.run(trials)} == {trials}


def test_scouts_of_a_larger_study_choose_as_fresh_ones(bells, fresh) -> None:
    bells.run(60, until=0.9)
    assert json.dumps(bells.run(20, until=0.9)) == json.dumps(fresh.run(20, until=0.9))


def test_trials_that_were_counted_together_are_shown_together_and_told(bells) -> None:
    """117 end a batch, and 112, as many as scouts may find, begin one: 115 lies within."""
    bells.run(117)
    shown = bells.run(115)
    assert {(row["trials"], row["stop"]) for row in shown} == {(117, "117 trials held, 115 asked")}
    assert {(one["done"], one["held"], one["trials"]) for one in bells.standings()} == {(115, 117, 115)}
    assert {row["stop"] for row in bells.run(117)} == {"all trials ran"}


def test_what_is_missing_before_them_is_told_as_well(bells) -> None:
    bells.run(117, share=Share(2, 2))
    shown = bells.run(115, share=Share(1, 4))
    assert {row["stop"] for row in shown} == {"85 of 115 trials ran so far; 87 trials held, 115 asked"}


def test_scouts_that_were_counted_with_later_ones_are_not_heard(bells) -> None:
    """A row that only they would decide stays open until there are others."""
    bells.run(8)
    with Store(bells.store) as store:
        plan = stored_plan(store)
    _, row = next(plan.rows())
    held = {row.key: [Batch(row.key, FIRST, Tally(30, right=30), "here")]}
    asked = []

    def play(plan, wanted) -> None:
        asked.append(wanted(row))
        first = max(FIRST + 30, held[row.key][-1].after)
        if asked[-1].stop > first:
            trials = asked[-1].stop - first
            held[row.key].append(Batch(row.key, first, Tally(trials, silent=trials), "here"))

    shown = {one.key: one.trials for _, one in scouted(plan, 0.5, play, lambda: held).rows()}
    assert [len(trials) for trials in asked][:6] == [1, 2, 4, 8, 16, 32]
    assert shown[row.key] == 32
