"""Every figure that a whole capture gives, so that what one does not give is always said."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

TWO_TRACK_FIGURES = (
    *("skew_us", "skew_wander_us", "azimuth_error_arcmin", "level_difference_db"),
    *("separation_left_to_right_db", "separation_right_to_left_db"),
    *("dropouts_on_both_share", "contact_fluctuation_um"),
)
"""Figures that need two tracks with different sound."""

TONE_FIGURES = (
    *("flutter_weighted_percent", "flutter_unweighted_percent"),
    *("dropouts_{}_per_minute", "dropouts_on_both_share", "dropouts_missing_oxide_share"),
    *("dropout_length_median_ms", "dropout_length_sigma", "dropout_lift_median_um", "dropout_lift_sigma"),
)
"""Figures that any steady tone gives; ``{}`` stands for the name of a track."""

OUT_OF_REACH = {
    "residue_db": "remains of an earlier recording sound like the deck's own noise; compare a tape that was never used",
    "scrape_flutter_percent": "above the 200 Hz of the meter it cannot be told from noise beside the tone",
}
"""Figures of channel models that no capture of the test recording gives, and why."""

_NEEDS = (
    ("the carriers", ("speed_error_percent", *TONE_FIGURES, "skew_us", "skew_wander_us", "azimuth_error_arcmin")),
    ("the carriers", ("contact_fluctuation_um",)),
    ("the carriers and the silence", ("modulation_noise_{}_db", "print_through_{}_db")),
    ("the silence", ("signal_to_noise_{}_db", "signal_to_noise_a_{}_db", "hum_{}_db")),
    ("the response steps", ("response_{}_db", "separation_left_to_right_db", "separation_right_to_left_db")),
    ("the line-up tone", ("replay_level_{}_db", "level_difference_db")),
    ("the level ladder at 315 Hz", ("three_percent_level_{}_db",)),
    ("the level ladder at 10 kHz", ("limit_at_10_khz_re_3_percent_level_{}_db",)),
)


def expected(tracks: Sequence[str]) -> Iterator[tuple[str, str]]:
    """The name of each figure, and the part of the test recording that gives it.

    Args:
        tracks: names of the tracks that can be told apart.
    """
    for part, names in _NEEDS:
        for name in names:
            yield from ((one, part) for one in of_tracks(name, tracks))


def of_tracks(name: str, tracks: Sequence[str]) -> tuple[str, ...]:
    """``name`` for each of the tracks, if it has a place for one.

    >>> of_tracks("hum_{}_db", ("left", "right"))
    ('hum_left_db', 'hum_right_db')
    """
    return tuple(name.format(track) for track in tracks) if "{}" in name else (name,)
