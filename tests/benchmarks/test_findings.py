"""The sentences say what the figures prove, no more."""

import re

import pytest
from tapewright.benchmarks.findings import findings
from tapewright.benchmarks.records import records
from tapewright.benchmarks.study import Study
from tapewright.benchmarks.tally import Tally
from tapewright.benchmarks.trials import Result

pytestmark = pytest.mark.usefixtures("toys")


def told(*tallies: Tally, receiver: str = "sound") -> str:
    channels = tuple(f"toy_flips:rate={place / 100}" for place in range(len(tallies)))
    study = Study(b"noon", "noon", ("toy_pulse",), (receiver,), channels, tallies[0].trials or 1)
    results = [Result(task, tally) for task, tally in zip(study.tasks(), tallies, strict=True)]
    return "\n".join(findings(records(study, results)))


# 0.05^(1/40) = 0.92784, 1 - 0.05^(1/40) = 0.07216; 299 and 473 tapes: see the statistics.
def test_forty_of_forty() -> None:
    text = told(Tally(trials=40, right=40))
    assert "40 of 40 right shows a load success of at least 92.7 %, not 100 % (one-sided, 95 % confidence)" in text
    assert "showing 99 % takes 299 tapes without a failure or 473 with one" in text
    assert "0 of 40 leaves up to 7.3 %" in text


def test_enough_tapes_need_no_more() -> None:
    text = told(Tally(trials=299, right=299))
    assert "299 of 299 right shows a load success of at least 99.0 %, not 100 %" in text
    assert "takes" not in text


def test_the_best_row_is_named_when_it_is_not_perfect() -> None:
    lost = Tally(trials=20, right=18, detected=2, byte_errors=2, byte_errors_squared=2, tapes_with_byte_errors=2)
    text = told(Tally(trials=20, detected=20), lost)
    # scipy.stats.binomtest(18, 20, alternative="greater").proportion_ci(0.95, "exact"): 0.7174
    assert (
        "18 of 20 right (the best row, toy_pulse over toy_flips:rate=0.01) shows a load success of at least 71.7 %"
        in text
    )


def test_silent_losses_are_counted_by_codec() -> None:
    silent = Tally(trials=20, silent=3, detected=17)
    text = told(silent, silent)
    assert "No tape of any row loaded right" in text
    assert "Silent losses, where a wrong program looks right: toy_pulse 6 of 40." in text


def test_a_channel_without_a_bound_is_named_in_one_line() -> None:
    text = told(Tally(trials=20, right=20))
    assert "No capacity is known for the channel toy_flips:rate=0.0: it is free of noise, so that there is no" in text


def test_a_receiver_with_a_limit_of_its_own_is_named_with_it() -> None:
    text = told(Tally(trials=20, right=20), receiver="toy_slowpoke")
    assert "However fast it is played, toy_slowpoke can take in at most 882 bit/s of toy_pulse: its share" in text
    assert "However fast" not in told(Tally(trials=20, right=20))


def test_capacities_of_unlike_recordings_are_a_span() -> None:
    study = Study(b"noon", "noon", ("toy_pulse", "plain-clocked"), channels=("hiss", "hiss:level_db=-40"), trials=1)
    text = "\n".join(findings(records(study, [Result(task, Tally(1, 1)) for task in study.tasks()])))
    listed = re.search(
        r"at the power of each recording, .*: hiss ([\d,]+) to ([\d,]+), hiss:level_db=-40 [\d,]+ to", text
    )
    low, high = (int(figure.replace(",", "")) for figure in listed.groups())
    assert 500_000 < low < high < 600_000


def test_nothing_played_proves_nothing() -> None:
    assert told(Tally(), receiver="toy_deaf") == "No tape was played: no receiver can decode any of the codecs."
