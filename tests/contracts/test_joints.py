"""What joins and what does not: refused in one line that names the two, and whatever is accepted reads its own tape."""

import numpy as np
import pytest
import tapewright
from tapewright.contracts.errors import UsageError
from tapewright.contracts.layer import Layer
from tapewright.contracts.line_code import LENGTHS, LineCode
from tapewright.contracts.registry import installed
from tapewright.contracts.soft_bits import SoftBits


def of_kind(kind):
    registry = installed("codec")
    loaded = [registry.load(name) for name in registry.names() if registry.package(name) == "tapewright"]
    return [one for one in loaded if isinstance(one, type) and issubclass(one, kind)]


LAYERS, LINE_CODES = of_kind(Layer), of_kind(LineCode)


@pytest.mark.parametrize(
    ("spec", "said"),
    [
        (
            "scatter/biphase",
            "codec: 'scatter' needs exactly the bits that it sent, and 'biphase' below it may hand on a few more; "
            "put 'frame' between them.",
        ),
        (
            "contents/convolutional/interleave/frame/biphase",
            "codec: 'convolutional' needs exactly the bits that it sent, and 'interleave' below it hands on whole "
            "bytes; put 'frame' between them.",
        ),
        # 2 (8 n + 6) coded bits are no whole bytes, and a byte-wise code fills them up.
        (
            "convolutional/crc/fsk",
            "codec: 'convolutional' needs exactly the bits that it sent, and 'fsk' below it hands on whole bytes; "
            "put 'frame' between them.",
        ),
    ],
)
def test_members_that_do_not_join_are_named(spec, said):
    with pytest.raises(UsageError) as raised:
        tapewright.codec(spec)
    assert str(raised.value) == said


@pytest.mark.parametrize(
    "spec",
    [
        "scatter/frame/biphase",
        "scatter/rs/biphase",
        "scatter/fsk",
        "contents/convolutional/scatter/multicarrier",
        "convolutional/scatter/frame/clocked",
        "convolutional/crc/frame/fsk",
    ],
)
def test_members_that_join_are_taken(spec):
    assert tapewright.codec(spec).line_code.name in spec


def test_every_member_says_how_many_bits_it_hands_on():
    assert {member.hands_on for member in LINE_CODES} <= set(LENGTHS)
    assert {member.hands_on for member in LAYERS} <= {*LENGTHS, None}
    assert len(LAYERS) >= 9
    assert len(LINE_CODES) >= 4


@pytest.mark.parametrize("layer", [layer for layer in LAYERS if not layer.needs_exact], ids=lambda layer: layer.name)
def test_up_to_seven_bits_too_many_do_no_harm(layer):
    for bits in (8, 40, 136, 1000):
        data = np.random.default_rng(bits).integers(0, 2, bits, dtype=np.uint8)
        for surplus in range(8):
            extra = np.random.default_rng(surplus).choice([-3.0, 3.0], surplus)
            heard = layer().decode((SoftBits(np.append(np.where(layer().encode(data), 3.0, -3.0), extra)),))
            assert np.array_equal(heard.passes[0].bits[:bits], data)


@pytest.mark.parametrize("line_code", LINE_CODES, ids=lambda line_code: line_code.name)
def test_what_is_accepted_reads_its_own_tape(line_code):
    payload = b"noon\xff\x00"
    read = []
    for layer in LAYERS:
        try:
            codec = tapewright.codec(f"{layer.name}/{line_code.name}")
        except UsageError:
            continue
        assert codec.decode(codec.encode(payload)).payload[: len(payload)] == payload, codec.spec
        read.append(layer.name)
    assert {layer.name for layer in LAYERS if not layer.needs_exact} <= set(read)
