"""Trials: the same seed gives the same counts, whoever plays the tapes and in whatever order."""

import re
from concurrent.futures import ThreadPoolExecutor

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tapewright.benchmarks import trials
from tapewright.benchmarks.shelf import Shelf
from tapewright.benchmarks.study import Study
from tapewright.benchmarks.tally import Tally
from tapewright.benchmarks.trials import News, play, run, tapes
from tapewright.contracts import registry
from tapewright.contracts.errors import TapewrightError, UsageError

pytestmark = pytest.mark.usefixtures("toys")

WORN = "toy_flips:rate=0.01,blank=0.3"


def study(**changed) -> Study:
    asked = {
        "program": bytes(range(32)),
        "program_name": "ramp",
        "codecs": ("toy_pulse", "toy-checked", "toy_pulse:frames=3"),
        "receivers": ("sound", "toy_coin"),
        "channels": ("toy_flips", WORN),
        "trials": 12,
        "seed": 7,
    }
    return Study(**{**asked, **changed})


@given(seed=st.integers(0, 2**63 - 1), draw=st.randoms(use_true_random=False))
@settings(max_examples=5, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_workers_and_order_never_change_a_result(seed, draw) -> None:
    asked = study(seed=seed)
    alone = run(asked, workers=1)
    assert run(asked, workers=2) == alone
    assert run(asked, workers=16) == alone

    shuffled = list(tapes(asked))
    draw.shuffle(shuffled)
    shelf = Shelf(asked.program, asked.sample_rate_hz, most_bytes=1)
    sums = {task: Tally() for task in asked.tasks()}
    with ThreadPoolExecutor(3) as pool:
        for tape, tallies in zip(shuffled, pool.map(lambda tape: play(tape, shelf, seed), shuffled), strict=True):
            for task, tally in zip(tape.tasks, tallies, strict=True):
                sums[task] += tally
    assert [(result.task, result.tally) for result in alone] == list(sums.items())


def test_every_task_gets_its_fixed_number_of_trials() -> None:
    for result in run(study(trials=5)):
        assert result.tally.trials == 5
        assert result.tally.right + result.tally.detected + result.tally.silent == 5


def test_another_seed_wears_other_tapes() -> None:
    assert run(study(seed=7)) != run(study(seed=8))


def test_more_trials_start_like_fewer() -> None:
    first, longer = study(trials=4), study(trials=9)
    early = [tape for tape in tapes(longer) if tape.trial < 4]
    shelf = Shelf(longer.program, longer.sample_rate_hz, most_bytes=1 << 20)
    sums = {task: Tally() for task in longer.tasks()}
    for tape in early:
        for task, tally in zip(tape.tasks, play(tape, shelf, longer.seed), strict=True):
            sums[task] += tally
    assert [result.tally for result in run(first)] == list(sums.values())


def test_all_candidates_meet_the_same_tape() -> None:
    asked = study(channels=(WORN,), receivers=("sound",), trials=40)
    shelf = Shelf(asked.program, asked.sample_rate_hz, most_bytes=1 << 20)
    losses: dict[str, list[bool]] = {}
    errors: dict[str, list[int]] = {}
    for tape in sorted(tapes(asked), key=lambda tape: tape.trial):
        (tally,) = play(tape, shelf, asked.seed)
        name = tape.tasks[0].codec_name
        # A blank tape reads as zeros: every byte of the ramp but its first is wrong.
        losses.setdefault(name, []).append(tally.byte_errors >= 31)
        errors.setdefault(name, []).append(tally.byte_errors)
    blank = losses["toy_pulse"]
    assert 0 < sum(blank) < 40
    assert losses["toy-checked"] == blank
    assert losses["toy_pulse:frames=3"] == blank
    # One frame a bit in both: the same flips hit the same bytes, whatever check stands above.
    assert errors["toy-checked"] == errors["toy_pulse"]


def test_the_receiver_draws_its_own_luck_and_the_same_for_all_candidates() -> None:
    results = run(study(channels=("toy_flips",), trials=40))
    coin = {result.tally.tapes_with_byte_errors for result in results if result.task.receiver_name == "toy_coin"}
    sound = {result.tally.tapes_with_byte_errors for result in results if result.task.receiver_name == "sound"}
    assert sound == {0}
    assert len(coin) == 1
    assert 0 < coin.pop() < 40


def test_a_refused_codec_is_never_played() -> None:
    results = run(study(receivers=("toy_deaf", "sound"), trials=3))
    assert {result.tally.trials for result in results if result.task.refusal} == {0}
    assert {result.tally.trials for result in results if not result.task.refusal} == {3}
    refused = run(study(receivers=("toy_deaf",), trials=3))
    assert {result.tally for result in refused} == {Tally()}


def test_news_tells_what_runs_and_what_was_found() -> None:
    heard: list[News] = []
    results = run(study(trials=6), workers=2, watch=heard.append)
    played = [news for news in heard if news.found]
    assert heard[0] == News(0, 36, (), None)
    assert [news.done for news in heard] == sorted(news.done for news in heard)
    assert heard[-1].done == heard[-1].of == len(played) == 36
    assert all(news.remaining_s is not None and news.remaining_s >= 0 for news in played)
    assert heard[-1].remaining_s == 0
    latest = {found.task: found.tally for news in played for found in news.found}
    assert latest == {result.task: result.tally for result in results}


def test_every_kind_is_looked_at_before_any_is_finished() -> None:
    kinds = [tape.kind for tape in tapes(study(trials=12))]
    assert len(set(kinds)) == 6
    assert set(kinds[:12]) == set(kinds)
    assert len(kinds) == len(list(tapes(study(trials=12)))) == 6 * 12
    assert {(tape.kind, tape.trial) for tape in tapes(study())} == {(k, t) for k in set(kinds) for t in range(12)}


def test_an_interruption_passes_through_and_nothing_new_starts() -> None:
    played = 0

    def interrupt(news: News) -> None:
        nonlocal played
        played = news.done
        if news.done == 5:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run(study(trials=200), workers=2, watch=interrupt)
    assert played == 5


@pytest.mark.parametrize("workers", [1, 3])
def test_a_plug_in_that_raises_is_named_with_its_tape(workers) -> None:
    with pytest.raises(TapewrightError) as failure:
        run(study(codecs=("toy-checked",), channels=("toy_bug",)), workers)
    told = str(failure.value)
    assert re.fullmatch(
        r"codec 'toy-checked', channel 'toy_bug', trial \d+, seed 7: ZeroDivisionError: two lines", told
    )
    assert failure.value.exit_code == 1


class Wordless(Exception):
    def __str__(self) -> str:
        raise RuntimeError("no word")


@pytest.mark.parametrize(
    ("raised", "told"),
    [
        (SystemExit(0), "SystemExit: 0"),
        (GeneratorExit("left"), "GeneratorExit: left"),
        (UsageError("Argument 'samples' must be finite."), "Argument 'samples' must be finite."),
        (Wordless(), "Wordless: no word of why"),
    ],
)
def test_however_a_plug_in_leaves_it_is_a_failure_that_is_named(raised, told, monkeypatch) -> None:
    def leaves(self, *heard):
        raise raised

    asked = study(codecs=("toy-checked",), channels=("toy_flips",))
    monkeypatch.setattr(type(asked.tasks()[0].channel.stages[0]), "degrade", leaves)
    with pytest.raises(TapewrightError) as failure:
        run(asked, 2)
    assert re.fullmatch(
        rf"codec 'toy-checked', channel 'toy_flips', trial \d+, seed 7: {re.escape(told)}", str(failure.value)
    )
    assert failure.value.exit_code == 1


@pytest.mark.parametrize("workers", [0, -1, 1025])
def test_workers_out_of_range(workers) -> None:
    with pytest.raises(UsageError, match=f"'workers' must be 1 to 1024, not {workers}"):
        run(study(), workers)


def test_long_tapes_play_with_less_room_one_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    busy, most = set(), 0
    original = trials.play

    def counting(tape, shelf, seed):
        nonlocal most
        busy.add(id(tape))
        most = max(most, len(busy))
        try:
            return original(tape, shelf, seed)
        finally:
            busy.remove(id(tape))

    monkeypatch.setattr(trials, "play", counting)
    monkeypatch.setattr(trials, "MOST_AUDIO_BYTES", 1)
    crowded = run(study(trials=6), workers=4)
    assert most == 1
    monkeypatch.undo()
    assert crowded == run(study(trials=6), workers=4)


def test_a_recording_is_made_once_for_each_codec(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[int] = []
    pulse = type(registry.codec("toy_pulse").line_code)
    original = pulse.modulate

    def counting(self, bits, sample_rate_hz=44_100):
        made.append(self.frames)
        return original(self, bits, sample_rate_hz)

    monkeypatch.setattr(pulse, "modulate", counting)
    run(study(trials=20), workers=4)
    assert sorted(made) == [1, 1, 3]
