"""``profile.toml``: what is written is read back, and what cannot be is refused in one line."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from simulated_deck import Deck
from tapewright.contracts import registry
from tapewright.contracts.errors import UsageError
from tapewright.contracts.signal import Signal
from tapewright.measurement.figures import Curve, Figure, Histogram, Missing
from tapewright.measurement.measuring import Measurement
from tapewright.measurement.mechanics import FlutterLine
from tapewright.measurement.profile import Profile, read_profile

PROFILE = Profile(
    spec="level:gain_db=-3",
    provenance={
        "source": 'a "quoted" tape \\ name',
        "capture_s": 12.5,
        "test_recording": True,
        "sample_rate_hz": 44_100,
    },
    figures=(Figure("speed_error_percent", -1.25, -1.5, -1.0, "mean"), Figure("dropouts_on_both_share", 0.5, 0.1, 1.0)),
    missing=(Missing("skew_us", "one track only"),),
    curves=(Curve("response_left_db", "frequency_hz", (100.0, 315.0), (-0.5, 0.0), (-1.0, 0.0), (0.0, 0.0), "x"),),
    histograms=(Histogram("dropout_length_ms", (0.0, 2.0, 5.0), (3, 1)),),
    lines=(FlutterLine(6.9, 0.1, 0.09, 0.11, 0.45, "capstan"),),
    notes=("a note",),
)


def written(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def test_it_is_read_back_as_it_was(tmp_path: Path) -> None:
    assert read_profile(written(tmp_path / "p.toml", PROFILE.to_toml())) == PROFILE


def test_the_text_is_toml_with_the_channel_first(tmp_path: Path) -> None:
    text = PROFILE.to_toml()
    assert text.startswith('spec = "level:gain_db=-3"\n')
    told = tomllib.loads(text)
    assert told["missing"] == {"skew_us": "one track only"}
    assert told["figures"]["speed_error_percent"]["low"] == -1.5
    assert registry.channel(f"@{written(tmp_path / 'p.toml', text)}").stages[0].name == "level"


def test_a_measured_profile_survives_the_file_and_is_a_channel(measured: Measurement, tmp_path: Path) -> None:
    path = written(tmp_path / "profile.toml", measured.profile.to_toml())
    read = read_profile(path)
    assert read.spec == measured.profile.spec
    assert {one.name for one in read.figures} == {one.name for one in measured.profile.figures}
    for one, other in zip(read.figures, measured.profile.figures, strict=True):
        assert one.value == pytest.approx(other.value, rel=1e-5, abs=1e-9)
    channel = registry.channel(f"@{path}")
    tone = Signal(0.5 * np.sin(2 * np.pi * 1000 * np.arange(44_100) / 44_100), 44_100)
    heard = channel.degrade(tone, np.random.default_rng(1))
    assert np.isfinite(heard.samples).all()


def test_the_channel_of_a_profile_is_near_the_deck_s_own(measured: Measurement, deck: Deck) -> None:
    """The figures go into the stages that stand for them."""
    stages: dict[str, dict[str, object]] = {}
    for stage in registry.channel(measured.profile.spec).stages:
        stages.setdefault(stage.name, dict(stage.arguments()))
    assert stages["drift"]["speed_percent"] == pytest.approx(deck.speed_percent, abs=0.05)
    assert stages["azimuth"]["azimuth_arcmin"] == pytest.approx(deck.azimuth_arcmin, abs=0.5)
    assert stages["crosstalk"]["separation_db"] == pytest.approx(deck.separation_db, abs=2.0)
    assert stages["contact"]["fluctuation_um"] == pytest.approx(deck.contact_um, rel=0.1)
    assert stages["saturation"]["high_limit_db"] == pytest.approx(deck.high_limit_db, abs=2.0)
    assert stages["band"]["low_hz"] == pytest.approx(deck.low_hz, rel=0.1)


BAD = [
    ("value = -1.25", "value = nan", "must be finite"),
    ("value = -1.25", "value = 7.0", "must lie in its interval"),
    ("value = -1.25\n", "", "must have value, low, high; value is missing"),
    ("value = -1.25", 'value = "much"', "must be finite numbers"),
    ("value = -1.25", "value = true", "must be finite numbers"),
    ("low = -1.5", f"low = -1{'0' * 400}", "must fit 64 bits"),
    ("low = -1.5", "low = -100.0", "above -100"),
    ("[figures.speed_error_percent]", "[figures]\nhum_left_db = 3\n[figures.speed_error_percent]", "must be a table"),
    ("[[flutter_lines]]", "[flutter_lines]", "must be a list of tables"),
    ("frequency_hz = 6.9", "frequency_hz = inf", "must be finite numbers"),
    ("[missing]", "[[missing]]", "'missing' must be a table"),
    ("low = 0.1", "low = -0.1", "at least 0"),
    ('high = 1.0\nmethod = ""', 'high = 1.5\nmethod = ""', "at most 1"),
    ("version = 1", "version = 99", "version 99 is not 1"),
    ("level:gain_db=-3", "levle:gain_db=-3", "its spec makes no channel"),
    ("level:gain_db=-3", "level:gain_db=inf", "its spec makes no channel"),
    ("places = [100.0, 315.0]", "places = [100.0]", "as many values as places"),
    ("edges = [0.0, 2.0, 5.0]", "edges = [0.0, 5.0, 2.0]", "rising edges"),
    ("counts = [3, 1]", "counts = [3, -1]", "rising edges and counts"),
    ("[profile]", "[profle]", "is no profile"),
    ("spec = ", "spec ", "is not TOML"),
    ("peak_percent = 0.1\n", "", "peak_percent is missing"),
]


@pytest.mark.parametrize(("old", "new", "complaint"), BAD)
def test_what_is_wrong_is_said_in_one_line(old: str, new: str, complaint: str, tmp_path: Path) -> None:
    text = PROFILE.to_toml()
    assert old in text
    path = written(tmp_path / "p.toml", text.replace(old, new, 1))
    with pytest.raises(UsageError, match=re.escape(complaint)) as refused:
        read_profile(path)
    assert "\n" not in str(refused.value)


OF_THE_FILE = ("its spec", "is no profile", "is not TOML", "must fit 64 bits")
FIGURES_ALONE = [case for case in BAD if not case[2].startswith(OF_THE_FILE)]


@pytest.mark.parametrize(("old", "new", "complaint"), FIGURES_ALONE)
def test_a_channel_by_a_bad_profile_is_refused_as_well(old: str, new: str, complaint: str, tmp_path: Path) -> None:
    path = written(tmp_path / "p.toml", PROFILE.to_toml().replace(old, new, 1))
    with pytest.raises(UsageError, match=re.escape(complaint)) as refused:
        registry.channel(f"@{path}")
    assert str(refused.value).startswith("profile '")
    assert "\n" not in str(refused.value)


def test_stages_without_figures_are_refused_and_a_spec_of_one_s_own_is_not(tmp_path: Path) -> None:
    bare = replace(PROFILE, figures=(), curves=(), histograms=(), lines=())
    for read in (read_profile, lambda path: registry.channel(f"@{path}")):
        with pytest.raises(UsageError, match="its figures are missing"):
            read(written(tmp_path / "p.toml", bare.to_toml()))
    own = written(tmp_path / "own.toml", 'spec = "hiss"\n[figures.anything]\nvalue = "mine"\n')
    assert registry.channel(f"@{own}").stages[0].name == "hiss"


def test_files_that_are_none(tmp_path: Path) -> None:
    for path in (tmp_path / "none.toml", tmp_path):
        with pytest.raises(UsageError, match="profile"):
            read_profile(path)
    (tmp_path / "binary.toml").write_bytes(bytes(range(256)))
    with pytest.raises(UsageError, match="not TOML"):
        read_profile(tmp_path / "binary.toml")
    (tmp_path / "large.toml").write_bytes(b"#" * 70_000)
    with pytest.raises(UsageError, match="at most 65536 bytes"):
        read_profile(tmp_path / "large.toml")


def test_a_profile_of_nothing_is_the_null_channel(tmp_path: Path) -> None:
    empty = replace(PROFILE, spec="wire", figures=(), curves=(), histograms=(), lines=())
    assert registry.channel(read_profile(written(tmp_path / "p.toml", empty.to_toml())).spec).stages == ()
