"""Programs in and out: raw, Intel HEX, S-record, against the published record rules."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tapewright.contracts.errors import UsageError
from tapewright.files.programs import FILL, MOST_BYTES, Program, parse_address, read_program, write_program


def hex_record(kind: int, offset: int, data: bytes = b"") -> str:
    """One record by the rule of the published format, independent of any library.

    Intel, Hexadecimal Object File Format Specification, revision A (1988): the sum of all bytes of a record, the
    checksum included, is 0 modulo 256.
    """
    body = bytes([len(data), offset >> 8, offset & 0xFF, kind]) + data
    return ":" + (body + bytes([-sum(body) % 256])).hex().upper()


def s_record(kind: int, address: int, data: bytes = b"", address_bytes: int = 2) -> str:
    """One record by the published rule: the checksum is the ones' complement of the low byte of the sum of count,
    address and data (Motorola, M68000 Family Programmer's Reference Manual, appendix C)."""
    body = bytes([address_bytes + len(data) + 1]) + address.to_bytes(address_bytes, "big") + data
    return f"S{kind}" + (body + bytes([255 - sum(body) % 256])).hex().upper()


END = hex_record(1, 0)


def written(folder: Path, *lines: str, name: str = "program.hex") -> Path:
    path = folder / name
    path.write_text("\n".join(lines) + "\n")
    return path


def test_the_record_rules_of_these_tests_give_the_well_known_end_records() -> None:
    # Both are printed in the formats' own descriptions.
    assert END == ":00000001FF"
    assert s_record(9, 0) == "S9030000FC"


def test_raw_bytes_are_taken_as_they_are(tmp_path: Path) -> None:
    path = tmp_path / "anything.xyz"
    path.write_bytes(bytes(range(256)))
    assert read_program(path) == Program("anything.xyz", bytes(range(256)))


def test_sixty_four_kib_fit(tmp_path: Path) -> None:
    path = tmp_path / "full.bin"
    path.write_bytes(bytes(MOST_BYTES))
    assert len(read_program(path).data) == MOST_BYTES


@pytest.mark.parametrize("name", ["program.hex", "program", "program.txt", "program.s19"])
def test_intel_hex_is_recognised_by_suffix_and_by_content(tmp_path: Path, name: str) -> None:
    program = read_program(written(tmp_path, hex_record(0, 0x20, b"bells"), END, name=name))
    assert (program.data, program.origin, program.gaps, program.notes) == (b"bells", 0x20, (), ())


@pytest.mark.parametrize("name", ["program.s19", "program", "program.hex"])
def test_s_records_are_recognised_by_suffix_and_by_content(tmp_path: Path, name: str) -> None:
    lines = s_record(0, 0, b"tower"), s_record(1, 0x40, b"bells"), s_record(5, 1), s_record(9, 0)
    program = read_program(written(tmp_path, *lines, name=name))
    assert (program.data, program.origin, program.notes) == (b"bells", 0x40, ("header: tower",))


def test_a_raw_suffix_wins_over_looks_and_says_so(tmp_path: Path) -> None:
    path = written(tmp_path, END, name="program.bin")
    program = read_program(path)
    assert program.data == path.read_bytes()
    assert "looks like records" in program.notes[0]


def test_the_manual_s_own_s_records_are_read(tmp_path: Path) -> None:
    # The worked example of appendix C of the M68000 manual (from memory; the checksums confirm it).
    lines = (
        "S00600004844521B",
        "S1130000285F245F2212226A000424290008237C2A",
        "S11300100002000800082629001853812341001813",
        "S113002041E900084E42234300182342000824A952",
        "S107003000144ED492",
        "S9030000FC",
    )
    program = read_program(written(tmp_path, *lines, name="example.s19"))
    assert (len(program.data), program.origin, program.gaps) == (0x34, 0, ())
    assert program.data[:4].hex() == "285f245f"
    assert program.notes == ("header: HDR",)


def test_lower_case_blank_lines_carriage_returns_and_a_control_z_are_read(tmp_path: Path) -> None:
    path = tmp_path / "old.hex"
    path.write_bytes(f"\r\n{hex_record(0, 0, b'noon').lower()}\r\n\r\n{END.lower()}\r\n\x1a".encode())
    assert read_program(path).data == b"noon"


def test_records_in_any_order_and_gaps_filled_and_said(tmp_path: Path) -> None:
    lines = hex_record(0, 0x18, b"CC"), hex_record(0, 0x10, b"AA"), hex_record(0, 0x12, b"BB"), END
    program = read_program(written(tmp_path, *lines))
    assert program.data == b"AABB" + bytes([FILL] * 4) + b"CC"
    assert (program.origin, program.gaps) == (0x10, ((0x14, 0x18),))
    assert program.notes == ("4 bytes that no record gives are filled with FF: 0014 to 0017",)


@pytest.mark.parametrize(("kind", "base"), [(2, 0x1234 << 4), (4, 0x1234 << 16)])
def test_extended_addresses_count(tmp_path: Path, kind: int, base: int) -> None:
    lines = hex_record(kind, 0, b"\x12\x34"), hex_record(0, 8, b"high"), END
    assert read_program(written(tmp_path, *lines)).origin == base + 8


def test_a_start_address_is_said_not_kept(tmp_path: Path) -> None:
    lines = hex_record(0, 0, b"x"), hex_record(5, 0, b"\0\0\x01\0"), END
    assert read_program(written(tmp_path, *lines)).notes == ("the start address 00000100 does not go on the tape",)


WRONG_HEX = {
    "bad checksum": ((hex_record(0, 0, b"x")[:-2] + "00", END), "line 1: the checksum must be 87, not 00"),
    "bad checksum further down": ((hex_record(0, 0, b"x"), END[:-1] + "E"), "line 2: the checksum must be FF, not FE"),
    "overlap": (
        (hex_record(0, 0, b"bells"), hex_record(0, 4, b"x"), END),
        "line 2: overlaps line 1: both give address 0004",
    ),
    # Filling the hole between two records and running into the second: an order in which a list of segments that
    # grow at their ends does not notice.
    "overlap that fills a hole": (
        (hex_record(0, 32, bytes(16)), hex_record(0, 0, bytes(16)), hex_record(0, 16, bytes(24)), END),
        "line 3: overlaps line 1: both give address 0020",
    ),
    "the same bytes twice": ((hex_record(0, 0, b"x"), hex_record(0, 0, b"x"), END), "line 2: overlaps line 1"),
    "no end": ((hex_record(0, 0, b"x"),), "the end record is missing; the file is cut short"),
    "after the end": ((hex_record(0, 0, b"x"), END, hex_record(0, 9, b"x")), "line 3: nothing may follow"),
    "no bytes": ((END,), "no record gives a byte"),
    "length": ((":02000000FFFF", END), "line 1: the record is not as long as it says"),
    "type": ((hex_record(9, 0, b"x"), END), "line 1: there is no record of type 09 with 1 bytes"),
    "short extended address": ((hex_record(4, 0, b"x"), END), "line 1: there is no record of type 04 with 1 bytes"),
    "not a record": ((hex_record(0, 0, b"x"), "ding dong", END), "line 2: 'ding dong' is no Intel HEX record"),
    "spaces": ((":00 00 00 01 FF",), "line 1: ':00 00 00 01 FF' is no Intel HEX record"),
    "past 64 KiB": ((hex_record(0, 0xFFFF, b"xy"), END), "line 1: the record runs past the end of its 64 KiB"),
    "too far apart": (
        (hex_record(0, 0, b"x"), hex_record(4, 0, b"\0\x01"), hex_record(0, 0, b"x"), END),
        "must be at most 65536 bytes, gaps included, not 65537",
    ),
    "empty lines only": (("", ""), "the end record is missing"),
    "not text": (("\xe9",), "line 1: records are plain text, and this is not"),
}


@pytest.mark.parametrize("case", WRONG_HEX)
def test_wrong_intel_hex_is_refused_with_its_line(tmp_path: Path, case: str) -> None:
    lines, message = WRONG_HEX[case]
    with pytest.raises(UsageError) as raised:
        read_program(written(tmp_path, *lines))
    assert str(raised.value).startswith("program 'program.hex'")
    assert message in str(raised.value)
    assert "\n" not in str(raised.value)


WRONG_S = {
    "bad checksum": ((s_record(1, 0, b"x")[:-2] + "00",), "line 1: the checksum must be 83, not 00"),
    "overlap": ((s_record(1, 0, b"ab"), s_record(1, 1, b"c"), s_record(9, 0)), "line 2: overlaps line 1"),
    "count": ((s_record(1, 0, b"ab"), s_record(5, 2)), "line 2: 2 data records are announced, and there are 1"),
    "no end": ((s_record(1, 0, b"ab"),), "the file is cut short"),
    "after the end": ((s_record(1, 0, b"a"), s_record(9, 0), s_record(1, 7, b"b")), "line 3: nothing may follow"),
    "type": ((s_record(4, 0, b"a"),), "line 1: expected record type"),
    "length": (("S1050000FF",), "line 1: the record is not as long as it says"),
}


@pytest.mark.parametrize("case", WRONG_S)
def test_wrong_s_records_are_refused_with_their_line(tmp_path: Path, case: str) -> None:
    lines, message = WRONG_S[case]
    with pytest.raises(UsageError, match=r"^program 'program.s19'") as raised:
        read_program(written(tmp_path, *lines, name="program.s19"))
    assert message in str(raised.value)


def test_megabytes_of_records_are_refused_without_reading_them(tmp_path: Path) -> None:
    path = tmp_path / "huge.hex"
    with path.open("wb") as file:
        file.write(b":" + b"0" * 9)
        file.truncate(1 << 40)
    with pytest.raises(UsageError, match="must be at most 4194304 bytes of records"):
        read_program(path)


@given(st.binary(min_size=1, max_size=300), st.sampled_from([0, 1, 0xFFF0, 0x12345, 0xFFFFF000]))
def test_hex_files_follow_the_published_rule_and_round_trip(
    tmp_path_factory: pytest.TempPathFactory, data: bytes, origin: int
) -> None:
    path = tmp_path_factory.getbasetemp() / "rule.hex"
    write_program(path, data, origin=origin, force=True)
    for line in path.read_text().splitlines():
        record = bytes.fromhex(line.removeprefix(":"))
        assert line.startswith(":")
        assert sum(record) % 256 == 0
        assert record[0] == len(record) - 5
    program = read_program(path)
    assert (program.data, program.origin, program.gaps) == (data, origin, ())


@given(st.binary(min_size=1, max_size=300), st.sampled_from([0, 1, 0xFFF0, 0x12345, 0xFFFFF0, 0xFFFFF000]))
def test_s_record_files_follow_the_published_rule_and_round_trip(
    tmp_path_factory: pytest.TempPathFactory, data: bytes, origin: int
) -> None:
    path = tmp_path_factory.getbasetemp() / "rule.s19"
    write_program(path, data, origin=origin, force=True)
    lines = path.read_text().splitlines()
    for line in lines:
        record = bytes.fromhex(line[2:])
        assert record[-1] == 255 - sum(record[:-1]) % 256
        assert record[0] == len(record) - 1
    # Data records S1, S2, S3 close with S9, S8, S7: the address lengths must agree (the same appendix).
    assert int(lines[-1][1]) == 10 - int(lines[0][1])
    program = read_program(path)
    assert (program.data, program.origin, program.gaps) == (data, origin, ())


def test_other_names_get_the_bytes_as_they_are(tmp_path: Path) -> None:
    write_program(tmp_path / "program", b"\x00\xff:")
    assert (tmp_path / "program").read_bytes() == b"\x00\xff:"


def test_an_origin_beyond_32_bits_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="Argument 'origin' must be 0 to 4294967293, not 4294967294"):
        write_program(tmp_path / "program.hex", b"abc", origin=0xFFFFFFFE)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(("text", "address"), [("4096", 4096), ("0x1000", 4096), ("0", 0)])
def test_addresses_are_read(text: str, address: int) -> None:
    assert parse_address(text) == address


@pytest.mark.parametrize("text", ["", "x", "-1", "0x100000000", "1.5"])
def test_no_addresses_are_refused(text: str) -> None:
    with pytest.raises(UsageError, match="An address must be"):
        parse_address(text)


@given(st.binary(max_size=200), st.sampled_from(["x.hex", "x.s19", "x"]))
def test_any_content_gives_a_program_or_one_line(
    tmp_path_factory: pytest.TempPathFactory, content: bytes, name: str
) -> None:
    path = tmp_path_factory.getbasetemp() / name
    path.write_bytes(content)
    refusal = None
    try:
        assert 0 < len(read_program(path).data) <= MOST_BYTES
    except UsageError as error:
        refusal = str(error)
    assert refusal is None or "\n" not in refusal
