"""Limits: what is refused before any work, in one line that says what to do."""

from pathlib import Path

import pytest
from tapewright.benchmarks.deck import deck
from tapewright.benchmarks.final import Final, final
from tapewright.benchmarks.limits import SIDES, Limits, limits
from tapewright.benchmarks.limits_file import limits_in
from tapewright.benchmarks.statistics import at_least
from tapewright.contracts.errors import UsageError


def test_every_limit_may_be_left_out() -> None:
    assert limits({}) == Limits()
    assert limits({"side": None, "load_time_at_most_s": None}) == Limits()


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"patience": 3}, "There are: channel, decoder, relay_set"),
        ({"decoder": "robot"}, "relays, microcontroller, computer"),
        ({"side": "C61"}, "C46, C60, C90, C120"),
        ({"success_at_least": 1}, "no number of tapes shows"),
        ({"success_at_least": 1.5}, "0.5 to 1"),
        ({"success_at_least": True}, "must be a number"),
        ({"load_time_at_most_s": float("nan")}, "must be a number"),
        ({"load_time_at_most_s": 0}, "must be above 0"),
        ({"relays_at_most": 40}, "set 'decoder' to relays"),
        ({"relays_at_most": 40.5, "decoder": "relays"}, "a whole number"),
        ({"same_deck": "yes"}, "true or false"),
    ],
)
def test_a_wrong_limit_is_refused_with_what_would_be_right(told, words) -> None:
    with pytest.raises(UsageError, match=words) as refused:
        limits(told)
    assert "\n" not in str(refused.value)


def test_limits_come_from_a_file(tmp_path: Path) -> None:
    path = tmp_path / "wanted.toml"
    path.write_text('decoder = "relays"\nrelays_at_most = 120\nside = "C46"\n')
    assert limits(limits_in(path)) == Limits(decoder="relays", relays_at_most=120, side="C46")
    path.write_text("decoder = \n")
    with pytest.raises(UsageError, match="is not TOML"):
        limits_in(path)
    with pytest.raises(UsageError, match="there is no such file; check the name"):
        limits_in(tmp_path / "none.toml")


def test_sides_are_half_of_what_a_cassettes_name_says() -> None:
    """IEC 60094-7 names cassettes by the minutes of both sides together (from memory); common practice."""
    assert {name: 2 * minutes for name, minutes in SIDES.items()} == {name: int(name[1:]) for name in SIDES}


def test_one_deck_is_asked_of_every_stage_that_tells_decks_apart() -> None:
    stages = {stage.name: stage for stage in deck(Limits(channel="worn", same_deck=True)).stages}
    assert stages["drift"].same_deck
    assert stages["azimuth"].same_deck
    with pytest.raises(UsageError, match="leave 'same_deck' out"):
        deck(Limits(channel="hiss", same_deck=True))


def test_a_profile_that_lacks_what_is_needed_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "profile.toml"
    path.write_text('spec = "drift:speed_percent=1/band"\n')
    with pytest.raises(UsageError, match="does not say 'hiss'"):
        deck(Limits(channel=f"@{path}"))
    path.write_text('spec = "drift:speed_percent=1/hiss"\n')
    assert [stage.name for stage in deck(Limits(channel=f"@{path}")).stages] == ["drift", "hiss"]


def test_a_final_shows_the_limit_with_its_confidence() -> None:
    """0 of 299, 1 of 473, 2 of 628 for 0.99: exact binomial (Clopper & Pearson 1934)."""
    assert [final(Limits(), budget) for budget in (299, 472, 473, 628)] == [
        Final(299, 0, 0.95),
        Final(299, 0, 0.95),
        Final(473, 1, 0.95),
        Final(628, 2, 0.95),
    ]
    for attempt in (1, 2, 3):
        asked = final(Limits(), 473, attempt)
        assert at_least(asked.tapes - asked.failures, asked.tapes, asked.confidence) >= 0.99
        assert at_least(asked.tapes - asked.failures - 1, asked.tapes, asked.confidence) < 0.99
    with pytest.raises(UsageError, match="--tapes 2995 or more"):
        final(Limits(success_at_least=0.999))
