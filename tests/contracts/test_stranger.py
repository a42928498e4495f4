"""Somebody else's distribution, found through its entry points: it passes the kit, or is refused with a clear word."""

import sys
from importlib.metadata import PathDistribution
from pathlib import Path

import pytest
import tapewright
from tapewright.contracts.conformance import EXPECTED, Exempt, checks_for, kinds_of
from tapewright.contracts.errors import PlugInError, UsageError
from tapewright.contracts.registry import installed

STRANGER = Path(__file__).parent / "stranger"
REGISTERED = [
    ("codec", "turning_sine", ("line_code", "codec")),
    ("codec", "thrice", ("layer",)),
    ("codec", "turning-thrice", ("codec",)),
    ("channel", "buzz", ("channel_model",)),
    ("receiver", "second_ear", ("receiver",)),
]
LAWS = [
    (kind, spec, law)
    for kind, spec in (
        ("line_code", "turning_sine"),
        ("line_code", "turning_sine:tone_hz=400"),
        ("layer", "thrice"),
        ("codec", "turning_sine"),
        ("codec", "turning-thrice"),
        ("codec", "contents/thrice/turning_sine:tone_hz=3000"),
        ("channel_model", "buzz"),
        ("channel", "buzz:peak_percent=9/buzz"),
        ("receiver", "second_ear"),
    )
    for law in EXPECTED[kind]
]


@pytest.fixture
def look_again():
    """Forgets what was found on the path, before and after."""
    before = set(sys.modules)
    installed.cache_clear()
    yield
    installed.cache_clear()
    for name in set(sys.modules) - before:
        if name.split(".")[0] in {"stranger_tapes", "odd_module"}:
            del sys.modules[name]


@pytest.fixture
def stranger(monkeypatch, look_again):
    monkeypatch.syspath_prepend(str(STRANGER))


@pytest.fixture
def distribution(monkeypatch, look_again, tmp_path):
    """Installs a distribution made on the spot: its name, its entry points, the source of its one module."""

    def install(name, entry_points, source=""):
        home = tmp_path / name
        info = home / f"{name.replace('-', '_')}-1.0.dist-info"
        info.mkdir(parents=True)
        (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n", encoding="utf-8")
        (info / "entry_points.txt").write_text(entry_points, encoding="utf-8")
        (home / "odd_module.py").write_text(source, encoding="utf-8")
        monkeypatch.syspath_prepend(str(home))

    return install


@pytest.mark.usefixtures("stranger")
@pytest.mark.parametrize(("kind", "spec", "law"), LAWS)
def test_a_stranger_conforms(kind, spec, law):
    (check,) = (check for check in checks_for(kind, spec) if check.name == law)
    check()


@pytest.mark.usefixtures("stranger")
@pytest.mark.parametrize(("home", "name", "kinds"), REGISTERED)
def test_a_stranger_registers_like_us(home, name, kinds):
    assert name in installed(home).names()
    assert installed(home).package(name) == "stranger-tapes"
    assert kinds_of(home, name) == kinds


@pytest.mark.usefixtures("stranger")
def test_a_stranger_stacks_with_ours():
    codec = tapewright.codec("contents/rs:parity_bytes=8/turning-thrice")
    assert codec.decode(codec.encode(b"noon")).payload == b"noon"


@pytest.mark.usefixtures("stranger")
def test_looking_up_loads_nothing_else():
    installed("codec").load("thrice")
    assert "stranger_tapes.turning_sine" not in sys.modules


def test_metadata_of_a_package_is_read_once_and_anew_when_looked_for_again(distribution, monkeypatch):
    """Every row of a study asks for the package of each of its plug-ins."""
    entry = "[tapewright.codecs]\nodd = odd_module:Odd\n"
    names, packages = ("odd", "rs", "odd"), ["odd-package", "tapewright", "odd-package"]
    distribution("odd-package", entry)
    assert [installed("codec").package(name) for name in names] == packages
    with monkeypatch.context() as shut:
        shut.setattr(PathDistribution, "read_text", lambda of, name: pytest.fail(f"read {name} again"))
        assert [installed("codec").package(name) for name in names] == packages
    distribution("odder-package", entry)
    installed.cache_clear()
    assert installed("codec").package("odd") == "odder-package"


def test_two_packages_that_claim_a_name_are_both_named(distribution):
    distribution("second-claimant", "[tapewright.codecs]\nbiphase = odd_module:Biphase\n")
    with pytest.raises(PlugInError) as caught:
        tapewright.codec("contents/biphase")
    both = "packages 'second-claimant' and 'tapewright' both claim the name 'biphase'"
    assert str(caught.value) == f"codec: {both}; remove one of them."
    assert tapewright.codec("contents/fsk").spec.startswith("contents")


@pytest.mark.parametrize(
    ("source", "reason"),
    [
        ("import no_such_package_at_all\n", "No module named 'no_such_package_at_all' (is the package"),
        ("1 / 0\n", "ZeroDivisionError: division by zero"),
        ("raise RuntimeError('two\\nlines')\n", "RuntimeError: two lines"),
        ("def (:\n", "SyntaxError: "),
        ("raise SystemExit(0)\n", "SystemExit: 0"),
        ("", "AttributeError: module 'odd_module' has no attribute 'Odd'"),
    ],
)
def test_a_plug_in_that_fails_to_import_is_named_with_its_package(distribution, source, reason):
    distribution("odd-package", "[tapewright.channel_models]\nodd = odd_module:Odd\n", source)
    with pytest.raises(PlugInError) as caught:
        tapewright.channel("odd")
    said = str(caught.value)
    assert said.startswith(f"channel: 'odd' of package 'odd-package' cannot be loaded: {reason}")
    assert "\n" not in said
    assert tapewright.channel("wire").stages == ()


@pytest.mark.parametrize("source", ["Odd = 7\n", "class Odd:\n    name = 'odd'\n"])
def test_an_entry_that_is_no_plug_in_is_refused(distribution, source):
    distribution("odd-package", "[tapewright.receivers]\nodd = odd_module:Odd\n", source)
    with pytest.raises(PlugInError, match="'odd' of package 'odd-package' is no plug-in or preset of that name"):
        tapewright.receiver("odd")


def test_a_plug_in_registered_under_another_name_is_refused(distribution):
    source = "from tapewright.contracts.preset import Preset\nOdd = Preset('other-name', 'biphase', 'x')\n"
    distribution("odd-package", "[tapewright.codecs]\nodd = odd_module:Odd\n", source)
    with pytest.raises(PlugInError, match="no plug-in or preset of that name"):
        tapewright.codec("odd")


def test_presets_in_a_circle_are_refused(distribution):
    source = (
        "from tapewright.contracts.preset import Preset\n"
        "A = Preset('here-we', 'go-again', 'x')\nB = Preset('go-again', 'here-we', 'x')\n"
    )
    distribution("odd-package", "[tapewright.codecs]\nhere-we = odd_module:A\ngo-again = odd_module:B\n", source)
    with pytest.raises(UsageError, match="in a circle"):
        tapewright.codec("here-we")


def test_a_plug_in_of_the_wrong_kind_is_refused(distribution):
    entries = "[tapewright.codecs]\nhiss = tapewright.channel_models.hiss:Hiss\n"
    distribution("odd-package", entries + "[tapewright.receivers]\ncrc = tapewright.codecs.layers.crc:Crc\n")
    with pytest.raises(PlugInError, match="codec: 'hiss' is neither a layer nor a line code"):
        tapewright.codec("hiss")
    with pytest.raises(PlugInError, match="receiver: 'crc' is no receiver"):
        tapewright.receiver("crc")
    distribution("odder-package", "[tapewright.channel_models]\ncrc = tapewright.codecs.layers.crc:Crc\n")
    installed.cache_clear()
    with pytest.raises(PlugInError, match="channel: 'crc' is no channel model"):
        tapewright.channel("crc")


def test_no_exemption_lifts_an_essential_law(distribution):
    source = (
        "from dataclasses import dataclass\nfrom tapewright.contracts.receiver import Receiver\n"
        "@dataclass(frozen=True)\nclass Odd(Receiver):\n    name = 'odd'\n    summary = 'Odd.'\n"
        "    exemptions = {'receives_silence_and_noise': 'it likes music', 'pickles': 'it is a stranger'}\n"
        "    def receive(self, codec, signals, rng):\n        return codec.decode(signals[0])\n"
    )
    distribution("odd-package", "[tapewright.receivers]\nodd = odd_module:Odd\n", source)
    checks = {check.name: check for check in checks_for("receiver", "odd")}
    with pytest.raises(Exempt, match="odd: it is a stranger"):
        checks["pickles"]()
    with pytest.raises(AssertionError, match="no play raised IndexError"):
        checks["receives_silence_and_noise"]()
    with pytest.raises(AssertionError, match="no plug-in is exempt from 'receives_silence_and_noise'"):
        checks["says_what_it_is"]()
