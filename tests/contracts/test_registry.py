"""Looking up by name: what is said of each wrong name, parameter and stack."""

import dataclasses
import sys

import pytest
import tapewright
from tapewright.contracts.errors import PlugInError, UsageError
from tapewright.contracts.registry import installed


def refusal(build, spec):
    with pytest.raises(UsageError) as caught:
        build(spec)
    assert str(caught.value).isprintable()
    return str(caught.value)


def test_an_unknown_name_lists_what_exists_and_the_nearest():
    said = refusal(tapewright.codec, "contents/bifase")
    assert said.startswith("codec: there is no 'bifase'. Did you mean 'biphase'? There are: ")
    listed = said.rstrip(".").split("There are: ")[1].split(", ")
    assert listed == sorted(installed("codec").claims)
    assert {"biphase", "clocked", "fsk", "sturdy"} <= set(listed)


def test_a_name_like_nothing_gets_no_suggestion():
    said = refusal(tapewright.channel, "qqqqqqqq")
    assert said.startswith("channel: there is no 'qqqqqqqq'. There are: attic, azimuth, band,")


def test_a_receiver_is_looked_up_among_receivers():
    assert refusal(tapewright.receiver, "sond").startswith("receiver: there is no 'sond'. Did you mean 'sound'?")


def test_an_unknown_parameter_lists_what_exists_and_the_nearest():
    said = refusal(tapewright.codec, "biphase:bit_rat_hz=1200")
    assert said.startswith("biphase: there is no parameter 'bit_rat_hz'. Did you mean 'bit_rate_hz'? There are: ")


def test_a_plug_in_without_parameters_says_so():
    assert refusal(tapewright.receiver, "sound:x=1") == "sound: there is no parameter 'x'. There are: none."


def test_a_hostile_key_in_json_stays_on_one_line():
    refusal(tapewright.codec, [{"name": "biphase", "parameters": {"a\nb\x1b[31m": 1}}])


@pytest.mark.parametrize("value", [None, [1], {}, float("nan"), float("inf"), 10**400, -(10**400), True, "fast", 1e308])
def test_a_wrong_value_in_json_is_a_usage_error(value):
    said = refusal(tapewright.codec, [{"name": "biphase", "parameters": {"bit_rate_hz": value}}])
    assert said.startswith("biphase: parameter 'bit_rate_hz' must be ")


def test_a_preset_takes_no_parameters_and_shows_its_spec():
    said = refusal(tapewright.codec, "plain-biphase:bit_rate_hz=2400")
    assert said == (
        "codec: 'plain-biphase' is a preset and takes no parameters; "
        "it stands for 'contents/biphase', which can be written out and changed."
    )


def test_a_setting_of_a_preset_goes_to_every_member_that_has_it():
    stages = tapewright.channel("level:place=record/(worn:passes=7)/clip").stages
    given = [stage.passes for stage in stages[1:] if "passes" in stage.arguments()]
    assert len(given) >= 3
    assert set(given) == {7}
    assert tapewright.channel("worn:passes=0") == tapewright.channel("worn")


def test_a_setting_that_a_preset_does_not_offer_is_refused():
    said = refusal(tapewright.channel, "worn:gain_db=3")
    assert said.startswith("channel: 'worn' is a preset and takes only same_deck, passes; it stands for 'level:")
    assert refusal(tapewright.channel, "worn:passes=-1") == ("level: parameter 'passes' must be 0 to 100000, not -1.")


def test_a_preset_is_usable_inside_a_stack():
    assert tapewright.codec("contents/(plain-clocked)") == tapewright.codec("contents/clocked")


@pytest.mark.parametrize(
    ("spec", "said"),
    [
        ([], "codec: an empty stack is no codec; it needs a line code."),
        ("contents", "codec: a stack ends in a line code, and 'contents' is a layer."),
        ("biphase/contents", "codec: a stack ends in a line code, and 'contents' is a layer."),
        ("biphase/clocked", "codec: 'biphase' is a line code and must come last; 'clocked' follows it."),
    ],
)
def test_a_codec_ends_in_its_only_line_code(spec, said):
    assert refusal(tapewright.codec, spec) == said


def test_a_channel_keeps_the_order_of_the_physics():
    said = refusal(tapewright.channel, "clip/hiss")
    assert said == (
        "channel: 'hiss' (tape) cannot follow 'clip' (capture): the order is record, tape, replay, capture."
    )
    assert len(tapewright.channel("hiss/hiss").stages) == 2


def test_a_receiver_is_one_name():
    assert refusal(tapewright.receiver, "sound/sound") == "receiver: one name is needed, not a stack of 2."
    assert refusal(tapewright.receiver, []) == "receiver: one name is needed, not a stack of 0."


def test_the_null_channel_has_three_spellings():
    assert tapewright.channel("wire") == tapewright.channel([]) == tapewright.channel("wire/wire")
    assert tapewright.channel("wire").spec == "wire"
    assert tapewright.channel("worn/wire") == tapewright.channel("worn")


@pytest.fixture
def spec_file(tmp_path):
    def write(content):
        path = tmp_path / "my.toml"
        path.write_bytes(content)
        return f"@{path}"

    return write


def test_a_spec_is_read_from_a_file(spec_file):
    assert tapewright.codec(spec_file(b'spec = "contents/biphase"\n')) == tapewright.codec("plain-biphase")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", 'must hold a line: spec = "...".'),
        (b"spec = 3", 'must hold a line: spec = "...".'),
        (b"spec = ", "is not TOML"),
        (b"\xff\xfe", "is not TOML"),
        (b"x = " + b"[" * 60_000, "is not TOML"),
        (b'spec = "@/dev/null"', "a name must start here"),
        (b"#" * 70_000, "must be at most"),
    ],
)
def test_a_spec_file_that_is_none_is_a_usage_error(spec_file, content, said):
    assert said in refusal(tapewright.codec, spec_file(content))


@pytest.mark.parametrize("path", ["/no/such/file", "/", "", "\0", "\ud800", "x" * 5000])
def test_a_spec_file_that_cannot_be_read_is_a_usage_error(path):
    assert refusal(tapewright.codec, f"@{path}").startswith("spec file '")


@pytest.mark.parametrize("source", [7, None, b"biphase", {"name": "biphase"}])
def test_neither_text_nor_a_list_is_a_usage_error(source):
    refusal(tapewright.codec, source)


def test_names_say_what_they_are():
    """A hyphen marks a preset, an underscore a plug-in; neither has the other."""
    for kind in ("codec", "channel", "receiver"):
        registry = installed(kind)
        for name in registry.names():
            loaded = registry.load(name)
            assert loaded.name == name
            assert ("_" if dataclasses.is_dataclass(loaded) and not isinstance(loaded, type) else "-") not in name


def test_looking_up_one_name_loads_nothing_else():
    """In a fresh interpreter: building one codec imports no other line code."""
    import subprocess

    told = (
        "import sys, tapewright; tapewright.codec('contents/crc/biphase');"
        "print(sorted(m for m in sys.modules if m.startswith('tapewright.codecs.line_codes.')))"
    )
    loaded = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True).stdout
    assert "biphase" in loaded
    assert "clocked" not in loaded
    assert "fsk" not in loaded


def test_plug_in_errors_exit_with_1_and_usage_errors_with_2():
    assert PlugInError("x").exit_code == 1
    assert UsageError("x").exit_code == 2
