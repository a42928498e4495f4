"""The kit notices: each law is broken by a plug-in made for it, and the check of that law, run on it, fails."""

import dataclasses
import importlib.util
import itertools
import random
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from tapewright.contracts.channel_model import Calibration
from tapewright.contracts.codec import Codec
from tapewright.contracts.conformance import channel_model as channel_laws
from tapewright.contracts.conformance import codec as codec_laws
from tapewright.contracts.conformance import description, probes
from tapewright.contracts.conformance import layer as layer_laws
from tapewright.contracts.conformance import line_code as line_code_laws
from tapewright.contracts.conformance import receiver as receiver_laws
from tapewright.contracts.decoded import Decoded, Event
from tapewright.contracts.layer import Heard, Layer
from tapewright.contracts.parameters import parameter
from tapewright.contracts.receiver import Receiver
from tapewright.contracts.signal import Signal
from tapewright.contracts.soft_bits import SoftBits


def of_the_stranger(module, name):
    path = Path(__file__).parent / "stranger" / "stranger_tapes" / f"{module}.py"
    spec = importlib.util.spec_from_file_location(f"noticed_{module}", path)
    loaded = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = loaded
    spec.loader.exec_module(loaded)
    return getattr(loaded, name)


TurningSine = of_the_stranger("turning_sine", "TurningSine")
Thrice = of_the_stranger("thrice", "Thrice")
Buzz = of_the_stranger("buzz", "Buzz")
TURNS = itertools.count()


def variant(base, **changed):
    """A plug-in like ``base`` but for what is changed: methods take (self, original, ...)."""
    body = {}
    for name, change in changed.items():
        original = getattr(base, name, None)
        wraps = callable(change) and callable(original) and not isinstance(change, property)

        def method(self, *given, _change=change, _original=original):
            return _change(self, lambda *a: _original(self, *a), *given)

        body[name] = method if wraps else change
    return dataclass(frozen=True)(type("Variant", (base,), body))()


def line_code(**changed):
    return variant(TurningSine, **changed)


def layer(**changed):
    return variant(Thrice, **changed)


def model(**changed):
    return variant(Buzz, **changed)


def louder(signal, gain):
    return Signal(signal.samples * gain, signal.sample_rate_hz)


def longer(signal):
    return Signal(np.hstack([signal.samples, np.zeros((2, 3))]), signal.sample_rate_hz)


def softer(heard, **changed):
    return SoftBits(changed.get("values", heard.values), changed.get("times_s", heard.times_s))


def raising(self, original, *given):
    raise ValueError("oh")


def only_for(small):
    """Raises for whatever has fewer than ``small`` frames, bits or plays."""

    def method(self, original, given, *more):
        size = getattr(given, "frames", None)
        if (len(given) if size is None else size) < small:
            raise IndexError("oh")
        return original(given, *more)

    return method


LINE_CODES = [
    ("bits_round_trip", line_code(demodulate=lambda s, o, x: softer(o(x), values=-o(x).values)), "bits are wrong"),
    ("bits_round_trip", line_code(demodulate=lambda s, o, x: softer(o(x), values=o(x).values / 1e4)), "to be lost"),
    ("bits_round_trip", line_code(demodulate=lambda s, o, x: SoftBits(o(x).values[:-1])), "out."),
    (
        "modulating_is_deterministic",
        line_code(modulate=lambda s, o, b, *r: louder(o(b, *r), 0.5 + next(TURNS) % 2 / 4)),
        "two different tapes",
    ),
    (
        "modulating_is_deterministic",
        line_code(modulate=lambda s, o, b, *r: (o(b, *r), b.fill(0))[0]),
        "",
    ),
    ("demodulate_is_total", line_code(demodulate=only_for(1)), "zero frames raised IndexError"),
    ("demodulate_is_total", line_code(demodulate=lambda s, o, x: SoftBits(np.ones(x.frames + 999))), "gave"),
    ("demodulate_is_total", line_code(demodulate=lambda s, o, x: o(x).bits), "not SoftBits"),
    ("length_is_as_declared", line_code(modulate=lambda s, o, b, *r: longer(o(b, *r))), "not the declared"),
    (
        "times_follow_the_tape",
        line_code(demodulate=lambda s, o, x: softer(o(x), times_s=0.1)),
        "go back, or stand still",
    ),
    (
        "times_follow_the_tape",
        line_code(demodulate=lambda s, o, x: softer(o(x), times_s=o(x).times_s - o(x).times_s.min(initial=1e9))),
        "after a pause",
    ),
    ("times_follow_the_tape", line_code(demodulate=lambda s, o, x: softer(o(x), times_s=o(x).times_s * 9)), "leave"),
    ("claimed_tolerances_hold", line_code(tolerates=frozenset({"polarity"})), "other polarity"),
]


def agreement(passes):
    """True where all three of each bit agree; never False."""
    return True if (np.diff(passes[0].values[: len(passes[0]) // 3 * 3].reshape(-1, 3)) == 0).all() else None


LAYERS = [
    ("bits_round_trip", layer(decode=lambda s, o, p: Heard(p)), "came out wrong"),
    ("bits_round_trip", layer(decode=lambda s, o, p: Heard(o(p).passes, False)), "the verdict False"),
    (
        "bits_round_trip",
        layer(decode=lambda s, o, p: Heard(tuple(softer(x, values=x.values / 1e4) for x in o(p).passes))),
        "said to be lost",
    ),
    ("encoding_is_deterministic", layer(encode=lambda s, o, b: o(b) ^ next(TURNS) % 2), "in two ways"),
    ("encoding_is_deterministic", layer(encode=lambda s, o, b: o(b).astype(int)), "encode gave int"),
    ("encoding_is_deterministic", layer(encode=lambda s, o, b: o(b) * 3), "other than 0 and 1"),
    ("coded_bits_is_arithmetic", layer(coded_bits=lambda s, o, n: 3 * n + 8), "not the declared"),
    ("decode_is_total", layer(decode=only_for(1)), "no play raised IndexError"),
    ("decode_is_total", layer(decode=lambda s, o, p: Heard(p + p)), "made 2 passes of 1"),
    ("decode_is_total", layer(decode=lambda s, o, p: Heard(p, verdict="yes")), "the verdict 'yes'"),
    ("decode_is_total", layer(decode=lambda s, o, p: Heard(p, events=(Event("a\nb"),))), "more than one line"),
    ("verdict_never_lies", layer(decode=lambda s, o, p: Heard(o(p).passes, True)), "were vouched for"),
    (
        "verdict_never_lies",
        layer(decode=lambda s, o, p: Heard(o(p).passes, agreement(p))),
        "the verdict on",
    ),
    (
        "uncorrected_keeps_signs",
        layer(decode=lambda s, o, p: Heard(tuple(softer(x, values=np.full(len(x), 0.05)) for x in o(p).passes))),
        "kept the sign that was heard",
    ),
    (
        "times_stay_on_the_tape",
        layer(decode=lambda s, o, p: Heard(tuple(softer(x, times_s=0.0) for x in o(p).passes))),
        "a time off the tape",
    ),
    (
        "times_stay_on_the_tape",
        layer(decode=lambda s, o, p: Heard(o(p).passes, events=(Event("x", -9.0),))),
        "is off the tape",
    ),
    ("claimed_tolerances_hold", layer(restores=frozenset({"polarity"})), "inverted bits came out wrong"),
]


@dataclass(frozen=True)
class Vouching(Layer):
    """Says that everything is right, or what it is told to say."""

    name = "vouching"
    summary = "Checks nothing and vouches for all."

    def encode(self, bits):
        return bits

    def coded_bits(self, data_bits):
        return data_bits

    def decode(self, passes):
        return Heard(passes, True)


def stack(*layers, **changed):
    return Codec(layers, line_code(**changed))


CODECS = [
    ("payload_round_trips", stack(demodulate=lambda s, o, x: SoftBits([*o(x).values, *[1.0] * 8])), "bytes in"),
    ("payload_round_trips", stack(demodulate=lambda s, o, x: SoftBits(o(x).values[:8])), "bytes in"),
    (
        "any_sample_rate_round_trips",
        stack(modulate=lambda s, o, b, rate: Signal(o(b, 44_100).samples, rate)),
        "Hz: 24 bytes in",
    ),
    (
        "encoding_is_deterministic",
        stack(modulate=lambda s, o, b, *r: louder(o(b, *r), 0.5 + next(TURNS) % 2 / 4)),
        "two different tapes",
    ),
    (
        "audio_is_stereo_finite_within_full_scale",
        stack(modulate=lambda s, o, b, *r: louder(o(b, *r), 1.4)),
        "beyond full scale",
    ),
    (
        "audio_is_stereo_finite_within_full_scale",
        stack(modulate=lambda s, o, b, *r: louder(o(b, *r), 0.01)),
        "too low to record",
    ),
    ("duration_is_as_declared", stack(modulate=lambda s, o, b, *r: longer(o(b, *r))), "not the declared"),
    ("decode_is_total", stack(demodulate=raising), "raised ValueError"),
    ("decode_is_total", stack(Vouching()), "was taken for an intact tape"),
    ("decode_is_total", stack(tolerates=frozenset({"polarity"})), "which the format tolerates"),
    ("intact_never_lies", stack(Vouching()), "was declared intact"),
    (
        "intact_never_lies",
        stack(variant(Vouching, decode=lambda s, o, p: Heard(p, None if p[0].bits[:40].all() else True))),
        "declared intact",
    ),
]


def with_events(*events):
    return stack(demodulate=lambda s, o, x: SoftBits(o(x).values, o(x).times_s, events))


CODECS += [
    ("decode_is_total", with_events(Event("two\nlines")), "gave the event"),
    ("decode_is_total", with_events(Event("late", 1e6)), "gave an event at"),
    ("decode_is_total", with_events(Event("never", float("nan"))), "gave an event at"),
]


def reseeding(self, original, signal, rng):
    random.seed(1)
    return original(signal, rng)


def in_place(self, original, signal, rng):
    signal.samples.flags.writeable = True
    signal.samples[:] *= 0.5
    signal.samples.flags.writeable = False
    return signal


def by_peak(self, original, signal, rng):
    rng.random()
    return louder(signal, 0.5 / max(float(np.abs(signal.samples[:, -9_000:]).max(initial=0.1)), 1e-3))


def alike(self, original, signal, rng):
    common = probes.noise(signal.duration_s, 0.1, 9, signal.sample_rate_hz).samples
    turned = np.sign(rng.normal()) * 0.001 + rng.uniform(0.2, 0.9, (1, 1))
    return Signal(signal.samples + np.float32(turned) * common[:, : signal.frames], signal.sample_rate_hz)


def weak_hash(self, original, signal, rng):
    rest = np.random.default_rng(int(rng.integers(4))).normal(0, 0.1, signal.samples.shape)
    return Signal(signal.samples + rest, signal.sample_rate_hz)


def told_wrong(cls):
    (true,) = Buzz.calibrations()
    return (dataclasses.replace(true, model=cls(), asked=true.asked, figure="peak_percent"),)


def wrong_figure():
    (true,) = Buzz.calibrations()
    made = variant(Buzz, degrade=lambda s, o, x, rng: o(x, rng))
    halved = dataclasses.replace(made, peak_percent=3.5)
    entry = Calibration("peak_percent", halved, true.probe, true.measure, 7.0, 1e-3, "derived")
    type(made).calibrations = classmethod(lambda cls: (entry,))
    return made


def without_calibration():
    made = variant(Buzz, degrade=lambda s, o, x, rng: o(x, rng))
    type(made).calibrations = classmethod(lambda cls: ())
    return made


def never_nothing():
    made = variant(Buzz, degrade=lambda s, o, x, rng: o(x, rng))
    type(made).nothing = classmethod(lambda cls: cls(peak_percent=0.01))
    return made


MODELS = [
    (
        "same_generator_same_audio",
        model(degrade=lambda s, o, x, rng: louder(o(x, rng), 0.5 + next(TURNS) % 2 / 4)),
        "two different tapes",
    ),
    ("input_is_untouched", model(degrade=in_place), "changed the signal"),
    ("global_random_state_is_untouched", model(degrade=reseeding), "global random state"),
    ("accepts_empty_signal", model(degrade=only_for(1)), "on 0 frames raised IndexError"),
    ("accepts_any_sample_rate", model(degrade=only_for(5_000)), "at 8000 Hz raised IndexError"),
    (
        "accepts_any_sample_rate",
        model(degrade=lambda s, o, x, rng: Signal(o(x, rng).samples, 44_100)),
        "changed the sample rate",
    ),
    ("longer_tape_starts_the_same", model(degrade=by_peak), "differs from a longer one"),
    (
        "longer_tape_starts_the_same",
        model(degrade=lambda s, o, x, rng: Signal(x.samples + rng.normal(0, 1e-3, x.samples.shape), x.sample_rate_hz)),
        "differs from a longer one",
    ),
    ("no_two_tapes_share_a_stream", model(degrade=weak_hash), "tapes twice"),
    (
        "no_two_tapes_share_a_stream",
        model(degrade=lambda s, o, x, rng: (rng.random(), o(x, np.random.default_rng(1)))[1]),
        "every tape comes out the same",
    ),
    ("zero_strength_is_identity", never_nothing(), "changed the signal"),
    ("strength_is_calibrated", wrong_figure(), "asked 7, read 3.5"),
    ("strength_is_calibrated", without_calibration(), "no calibration"),
]


@dataclass(frozen=True)
class Ear(Receiver):
    """Hears what the codec hears."""

    name = "ear"
    summary = "Hears."

    def refusal(self, codec):
        return None if codec.line_code.name == "biphase" else "it knows one line code"

    def receive(self, codec, signals, rng):
        return codec.decode(*signals)


def ear(**changed):
    return variant(Ear, **changed)


def reseeding_ear(self, original, *given):
    np.random.seed(1)  # noqa: NPY002 (the offence itself)
    return original(*given)


RECEIVERS = [
    (
        "same_generator_same_reading",
        ear(receive=lambda s, o, c, x, rng: Decoded(bytes([next(TURNS) % 2]), None)),
        "in two ways",
    ),
    (
        "receives_silence_and_noise",
        ear(receive=lambda s, o, c, x, rng: o(c, (x[0],), rng)),
        "no play raised IndexError",
    ),
    (
        "receives_silence_and_noise",
        ear(receive=lambda s, o, c, x, rng: dataclasses.replace(o(c, x, rng), intact=True)),
        "intact",
    ),
    (
        "input_is_untouched",
        ear(receive=lambda s, o, c, x, rng: (in_place(s, o, x[0], rng), o(c, x, rng))[1]),
        "changed",
    ),
    ("global_random_state_is_untouched", ear(receive=reseeding_ear), "global random state"),
    (
        "wire_and_clean_tape_give_the_payload",
        ear(receive=lambda s, o, c, x, rng: Decoded(b"noon", None)),
        "on a clean tape of",
    ),
    ("wire_and_clean_tape_give_the_payload", ear(refusal=lambda s, o, c: "no"), "refuses every ready codec"),
    ("refusal_is_one_line", ear(refusal=lambda s, o, c: "two\nlines"), "the refusal of"),
    ("refusal_is_one_line", ear(refusal=lambda s, o, c: f"no. {next(TURNS)}"), "changes"),
]

BROKEN = [
    (laws, name, subject, words)
    for laws, rows in (
        (line_code_laws, LINE_CODES),
        (layer_laws, LAYERS),
        (codec_laws, CODECS),
        (channel_laws, MODELS),
        (receiver_laws, RECEIVERS),
    )
    for name, subject, words in rows
]


@pytest.mark.parametrize(
    ("laws", "name", "subject", "words"),
    BROKEN,
    ids=[f"{laws.__name__.split('.')[-1]}-{name}-{number}" for number, (laws, name, _, _) in enumerate(BROKEN)],
)
def test_a_broken_law_is_noticed(laws, name, subject, words):
    with pytest.raises(AssertionError) as caught:
        getattr(laws, name)(subject)
    assert words in str(caught.value)
    assert str(caught.value).isprintable()


def test_what_all_the_broken_ones_are_made_from_is_whole():
    line_code_laws.bits_round_trip(line_code())
    layer_laws.bits_round_trip(layer())
    codec_laws.payload_round_trips(stack())
    channel_laws.longer_tape_starts_the_same(model())
    receiver_laws.wire_and_clean_tape_give_the_payload(ear())


def described(**declared):
    """A receiver with one parameter, called ``name``, declared as told."""
    name = declared.pop("name", "tone_hz")
    kind = declared.pop("annotated", float)
    default = declared.pop("default", 440.0)
    told = {"help": "A tone.", "unit": "Hz", "low": 1, "high": 999} | declared
    body = {"__annotations__": {name: kind}, name: parameter(default, **told)}
    return dataclass(frozen=True)(type("Described", (Ear,), body))()


DECLARED = [
    ({"help": ""}, "one line of help"),
    ({"help": "two\nlines"}, "one line of help"),
    ({"unit": "s"}, "must have unit"),
    ({"unit": ""}, "must have unit"),
    ({"name": "tone"}, "its name must end in _hz"),
    ({"low": None}, "must have a range"),
    ({"high": None}, "must have a range"),
    ({"low": 440, "high": 440}, "is empty"),
    ({"annotated": int}, "is annotated"),
    ({"name": "summary", "unit": "", "annotated": float}, "hides an attribute"),
]


@pytest.mark.parametrize(("declared", "words"), DECLARED)
def test_a_careless_declaration_is_noticed(declared, words):
    description.parameters_are_declared(described())
    with pytest.raises(AssertionError) as caught:
        description.parameters_are_declared(described(**declared))
    assert words in str(caught.value)


def test_an_undeclared_field_is_noticed():
    @dataclass(frozen=True)
    class Loose(Ear):
        loose: int = 3

    with pytest.raises(AssertionError, match="field 'loose' is not declared"):
        description.parameters_are_declared(Loose())


def test_a_constructor_that_ignores_its_declaration_is_noticed():
    lax = variant(type(described()), __post_init__=lambda s, o: None)
    with pytest.raises(AssertionError, match="against its declaration"):
        description.parameters_are_declared(lax)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"name": "Two Words"}, "name 'Two Words' must match"),
        ({"summary": ""}, "must be one line of text"),
        ({"exemptions": {"no_such_law": "because"}}, "no check of this kind"),
        ({"exemptions": {"pickles": " "}}, "must give its reason"),
        ({"exemptions": {"input_is_untouched": "it is easier"}}, "no plug-in is exempt from 'input_is_untouched'"),
    ],
)
def test_a_careless_description_is_noticed(changed, words):
    with pytest.raises(AssertionError) as caught:
        description.says_what_it_is(ear(**changed), frozenset({"pickles", "input_is_untouched"}))
    assert words in str(caught.value)


def test_a_repr_that_is_no_constructor_is_noticed():
    for written in ("<Ear>", "Other()", "Variant(1)"):
        with pytest.raises(AssertionError, match="repr"):
            description._repr_is_the_constructor(ear(__repr__=lambda s, o, written=written: written))


def test_what_cannot_be_pickled_is_noticed():
    with pytest.raises(AssertionError, match="cannot be pickled"):
        description.pickles(ear())
