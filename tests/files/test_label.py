"""What a recording says of itself."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.contracts.parameters import StackText
from tapewright.contracts.registry import codec
from tapewright.contracts.spec import Item, parse_stack
from tapewright.files.label import Label, cassette_note, label_from_json

LABEL = Label.of("chime.hex", b"123456789", "contents/fsk:baud=300", 1, 0x1000)


def test_the_check_is_the_catalogue_s_crc_32() -> None:
    # CRC-32/ISO-HDLC of "123456789" in the catalogue of parametrised CRC algorithms.
    assert LABEL.crc32 == 0xCBF43926


def test_a_label_fits_its_program_only() -> None:
    assert LABEL.fits(b"123456789")
    assert not LABEL.fits(b"123456788")
    assert not LABEL.fits(b"1234567890")
    # Four bytes whose CRC-32 is that of no bytes at all, 0: the length tells them apart.
    four = bytes.fromhex("9d0ad96d")
    empty = Label.of("nothing", b"", "fsk", 1)
    assert Label.of("four", four, "fsk", 1).crc32 == empty.crc32 == 0
    assert not empty.fits(four)


@given(
    st.text(max_size=40),
    st.binary(max_size=9),
    st.text(min_size=1, max_size=30),
    st.integers(0, 99),
    st.integers(0, (1 << 32) - 1),
    st.lists(st.from_regex(r"[a-z ]{0,9}", fullmatch=True), max_size=3),
)
def test_labels_round_trip_through_json(
    name: str, data: bytes, codec: str, version: int, origin: int, history: list[str]
) -> None:
    made = Label.of(name, data, codec, version, origin)
    label = Label(made.name, codec, version, made.payload_bytes, made.crc32, origin, tuple(history))
    assert label_from_json(json.dumps(label.to_json())) == label


@pytest.mark.parametrize(
    "text",
    [
        "",
        "a song",
        "[]",
        "1",
        "{}",
        "[" * 5000,
        json.dumps({**LABEL.to_json(), "crc32": 5}),
        json.dumps({**LABEL.to_json(), "crc32": "xyz"}),
        json.dumps({**LABEL.to_json(), "codec": 7}),
        json.dumps({**LABEL.to_json(), "codec": " @/etc/hosts"}),
        json.dumps({**LABEL.to_json(), "format_version": None}),
        json.dumps({**LABEL.to_json(), "history": 3}),
        json.dumps({**LABEL.to_json(), "origin": -1}),
        json.dumps({**LABEL.to_json(), "origin": 1 << 32}),
        json.dumps({**LABEL.to_json(), "payload_bytes": 1e999}),
    ],
)
def test_what_is_no_label_is_none(text: str) -> None:
    assert label_from_json(text) is None


def test_control_characters_in_a_stranger_s_label_do_not_reach_the_screen() -> None:
    told = label_from_json(json.dumps({**LABEL.to_json(), "name": "a\x1b[2Jb\nc"}))
    assert told is not None
    assert told.name == "a?[2Jb c"


def test_the_text_holds_what_a_person_needs() -> None:
    assert LABEL.to_text(12.345, "my-stack").splitlines() == [
        "Program    chime.hex",
        "Codec      my-stack",
        "In full    contents",
        "           /fsk:baud=300",
        "Version    1",
        "Length     9 bytes from address 1000",
        "Load time  12.3 s",
        "CRC-32     CBF43926",
    ]
    assert LABEL.to_text(1, LABEL.codec).splitlines()[1] == "Codec      contents"
    assert LABEL.to_text(1, bears_ms=123.9).splitlines()[-2] == "Bears      a dropout of 123 ms, wherever it falls"


@pytest.mark.parametrize(
    "spec",
    [
        codec("sturdy").spec,
        codec("plain-clocked").spec,
        codec("standard-300").spec,
        'made_up:title="one, two / three \\" four",other=(a:b=1,c=2/d)/last:'
        + ",".join(f"letter_{n}={n}" for n in range(12)),
    ],
)
def test_the_codec_on_the_label_can_be_typed_back_as_it_stands(spec: str) -> None:
    told = Label.of("chime", b"bells", spec, 1).to_text(1.0)
    lines = [line[11:] for line in told.splitlines()[1:-4]]
    assert max(map(len, lines)) <= 70
    assert [(item.name, item.arguments) for item in map(without_space, parse_stack("\n".join(lines)))] == [
        (item.name, item.arguments) for item in map(without_space, parse_stack(spec))
    ]


def without_space(item: Item) -> Item:
    """Stacks as values are kept as text; the line breaks in them mean nothing."""
    told = ((key, "".join(value.split()) if isinstance(value, StackText) else value) for key, value in item.arguments)
    return Item(item.name, tuple(told))


@pytest.mark.parametrize(
    ("minutes", "told"), [(30, "None"), (31, "a C90 holds it"), (46, "a C120 holds it"), (61, "of any cassette")]
)
def test_a_recording_longer_than_a_side_is_told(minutes: int, told: str) -> None:
    assert str(cassette_note(60 * minutes)).endswith(told)
