"""Golden tapes: each ready codec has one, made once, and it says exactly what the codec is today."""

import importlib.util
import json
from pathlib import Path

import pytest
import soundfile
import tapewright
from tapewright.contracts.codec import FORMAT_VERSION
from tapewright.contracts.conformance import Exempt, checks_for

GOLDEN = Path(__file__).parents[1] / "golden"


@pytest.fixture(scope="module")
def writer():
    spec = importlib.util.spec_from_file_location("write_golden", GOLDEN / "write_golden.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_every_ready_codec_has_a_golden_tape_of_this_version(writer):
    """Fails after a new codec or version until ``python tests/golden/write_golden.py`` has been run."""
    there = {path.stem for path in GOLDEN.glob("*.json")}
    assert {f"{name}-v{FORMAT_VERSION}" for name in writer.ready_codecs()} <= there


def test_a_changed_default_bumps_the_version():
    """The spec on each tape of this version is today's: a default that moves needs a new version and a new tape.

    A parameter that came later stands at the default that means what the tape was made with.
    """
    for path in GOLDEN.glob(f"*-v{FORMAT_VERSION}.json"):
        told = json.loads(path.read_text(encoding="utf-8"))
        assert tapewright.codec(told["name"]).spec == tapewright.codec(told["spec"]).spec
        assert (told["name"], told["format_version"]) == (path.stem.rsplit("-v", 1)[0], FORMAT_VERSION)


def test_each_tape_is_small_and_has_its_label():
    for path in GOLDEN.glob("*.flac"):
        assert path.with_suffix(".json").exists()
        assert path.stat().st_size < 600_000


def golden_check(path):
    (check,) = (one for one in checks_for("codec", "plain-biphase", golden=[path]) if one.name.startswith("golden"))
    return check


def test_a_tape_is_written_once_and_decodes(writer, tmp_path):
    path = writer.write("plain-biphase", tmp_path)
    before = path.with_suffix(".flac").read_bytes()
    golden_check(path)()
    with pytest.raises(FileExistsError, match="a golden tape is written once"):
        writer.write("plain-biphase", tmp_path)
    assert path.with_suffix(".flac").read_bytes() == before


def test_a_tape_that_no_longer_decodes_is_noticed(writer, tmp_path):
    path = writer.write("plain-biphase", tmp_path)
    samples, rate_hz = soundfile.read(path.with_suffix(".flac"))
    samples[int(0.7 * len(samples)) :] = 0
    soundfile.write(path.with_suffix(".flac"), samples, rate_hz)
    with pytest.raises(AssertionError, match="golden tape 'plain-biphase-v"):
        golden_check(path)()


def test_no_tape_is_an_exemption_with_a_reason():
    (check,) = (one for one in checks_for("codec", "plain-biphase") if one.name == "golden_tape_still_decodes")
    with pytest.raises(Exempt, match="plain-biphase: no golden tape was given"):
        check()
