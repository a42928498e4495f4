"""``tapewright explain``."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
from command_shell import Shell
from tapewright.files.programs import read_program, write_program

CHIME = read_program("chime").data


def without_bit(bit: int) -> bytes:
    bits = np.delete(np.unpackbits(np.frombuffer(CHIME, np.uint8)), bit)
    return np.packbits(bits[:-7]).tobytes()


def test_a_lost_clock_is_told_with_its_place(shell: Shell) -> None:
    Path("seen.bin").write_bytes(without_bit(300))
    outcome = shell("explain", "--program", "chime", "--seen", "seen.bin")
    assert outcome.code == 0
    assert outcome.err == ""
    told = outcome.out.splitlines()
    assert told[0] == "1 byte at the program's end not read"
    assert told[2] == "the likeliest story, under which 1016 of 1016 bits agree:"
    assert told[3].startswith("  1. 1 clock lost at 0025 bit ")


def test_json_instead_of_the_lines(shell: Shell) -> None:
    Path("seen.bin").write_bytes(without_bit(300))
    outcome = shell("explain", "--program", "chime", "--seen", "seen.bin", "--json")
    told = json.loads(outcome.out)
    assert (told["equal"], told["explained"], told["compared_bits"]) == (False, True, 1016)
    assert told["stories"][0]["nats_behind"] == 0
    assert told["stories"][0]["happenings"][0]["kind"] == "clock_lost"


def test_memory_that_holds_the_program_needs_no_story(shell: Shell) -> None:
    Path("seen.bin").write_bytes(CHIME + b"\xff" * 12)
    outcome = shell("explain", "--program", "chime", "--seen", "seen.bin")
    assert outcome.code == 0
    assert outcome.out.splitlines() == [
        "12 bytes beyond the program left out: all FF",
        "all that was read is as in the program: nothing went wrong on the way",
    ]


def test_unrelated_memory_exits_3(shell: Shell) -> None:
    Path("seen.bin").write_bytes(np.random.default_rng(7).bytes(128))
    outcome = shell("explain", "--program", "chime", "--seen", "seen.bin")
    assert outcome.code == 3
    assert outcome.complaint == "no story of a load makes this memory of that program."


def test_a_dump_with_addresses_lies_where_it_says(shell: Shell) -> None:
    write_program(Path("program.hex"), CHIME, origin=0x1000)
    write_program(Path("seen.hex"), bytes(16) + without_bit(300), origin=0x0FF0)
    outcome = shell("explain", "--program", "program.hex", "--seen", "seen.hex")
    assert outcome.code == 0
    assert "16 bytes before the program left out" in outcome.out
    assert "1 clock lost at 1025 bit " in outcome.out
    write_program(Path("elsewhere.hex"), CHIME, origin=0x9000)
    missed = shell("explain", "--program", "program.hex", "--seen", "elsewhere.hex")
    assert missed.code == 3
    assert "none of the program's addresses was read" in missed.out


def test_a_hole_in_the_dump_is_not_held_against_it(shell: Shell) -> None:
    write_program(Path("one.hex"), CHIME[:32])
    write_program(Path("two.hex"), CHIME[48:], origin=48)
    first, last = (Path(name).read_text().splitlines() for name in ("one.hex", "two.hex"))
    Path("seen.hex").write_text("\n".join([*first[:-1], *last]) + "\n")
    outcome = shell("explain", "--program", "chime", "--seen", "seen.hex")
    assert outcome.code == 0
    assert "note: dump: 16 bytes that no record gives are filled" in outcome.err
    assert "nothing went wrong on the way" in outcome.out


def test_the_codec_tells_when_a_byte_plays(shell: Shell) -> None:
    Path("seen.bin").write_bytes(without_bit(300))
    outcome = shell("explain", "--program", "chime", "--seen", "seen.bin", "--codec", "fsk:bit_order=msb")
    # 5 s of leader and 37 characters of 11 bits at 300 baud; the middle of a first bit is 1.5 bits into its character.
    assert "0025 (6.36 s)" in outcome.out


def test_bad_input_is_told_in_one_line(shell: Shell) -> None:
    Path("empty.bin").write_bytes(b"")
    Path("seen.bin").write_bytes(CHIME)
    for arguments, words in (
        (("--program", "chime", "--seen", "empty.bin"), "'empty.bin' is empty"),
        (("--program", "chime", "--seen", "none.bin"), "dump 'none.bin': there is no such file"),
        (("--program", "none.bin", "--seen", "seen.bin"), "there is no such file"),
        (("--program", "chime"), "Missing option '--seen'"),
        (("--program", "chime", "--seen", "seen.bin", "--codec", "sturdi"), "there is no 'sturdi'"),
    ):
        outcome = shell("explain", *arguments)
        assert outcome.code == 2
        assert words in outcome.complaint
        assert outcome.out == ""


def test_the_help_has_an_example_and_the_exit_code(shell: Shell) -> None:
    told = " ".join(shell("explain", "--help").out.split())
    assert "Exits with 3 if no story fits" in told
    assert "Example: tapewright explain --program chime --seen memory.bin" in told
