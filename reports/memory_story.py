"""The course of readings through memory, told as what happened to the load."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from .happening import Happening, Placement, count
from .memory_path import Run, changes_within_a_byte, slips
from .memory_readings import Bytes, Reading, predicted

_AROUND = 3
"""Bytes on either side of a change within which its exact place is looked for."""


@dataclass(frozen=True, slots=True)
class Course:
    """A path with the exact bit of each change, and what does not agree with it.

    Attributes:
        runs: of readings, in order.
        splits: for each change between runs, first and last bit of memory at which it may lie; None where only the
            byte is known.
        expected: bytes that should be there, shape (n,).
        wrong: bits that are not so, shape (n,).
        seen: what is there, shape (n,).
    """

    runs: tuple[Run, ...]
    splits: tuple[tuple[int, int] | None, ...]
    expected: Bytes
    wrong: Bytes
    seen: Bytes

    @classmethod
    def of(cls, runs: tuple[Run, ...], program: Bytes, seen: Bytes, heard: Bytes) -> Course:
        """The course that ``runs`` make; bits that are not in ``heard`` do not count."""
        bits = np.zeros(8 * seen.size, np.uint8)
        known = np.zeros(8 * seen.size, bool)
        splits = tuple(_exact(before, after, program, seen, heard) for before, after in pairwise(runs))
        starts = [
            0,
            *(8 * run.start if split is None else split[0] for run, split in zip(runs[1:], splits, strict=True)),
        ]
        for run, start, end in zip(runs, starts, [*starts[1:], bits.size], strict=True):
            expected, told = predicted(run.reading, program, -(-end // 8))
            bits[start:end] = np.unpackbits(expected)[start:end]
            known[start:end] = np.repeat(told, 8)[start:end]
        should = np.packbits(bits)
        return cls(runs, splits, should, (should ^ seen) & heard & np.packbits(known), seen)


def tell(course: Course, place: Placement) -> Iterator[Happening]:
    """What happened, in the order of memory."""
    first, *others = course.runs
    yield from _at_start(first, course.seen.size, place)
    yield from _within(course, first, place)
    last_known = first.reading
    for before, after, split in zip(course.runs, others, course.splits, strict=False):
        yield from _change(before, after, split, last_known, course.seen.size, place)
        if after.reading.kind in ("stream", "aside"):
            last_known = after.reading
        yield from _within(course, after, place)


def _at_start(first: Run, length: int, place: Placement) -> Iterator[Happening]:
    reading = first.reading
    start = Reading("stream", 0, *reading.turn)
    if reading.inverted:
        yield Happening(
            "inverted", "every bit is inverted: polarity, or make and break contact exchanged", place.origin
        )
    if reading.reversed:
        yield Happening(
            "bits_reversed", "the bits of every byte are in reverse order: the bus is wired the other way", place.origin
        )
    if reading.kind in ("constant", "unknown"):
        yield _silent(first, length, place)
    elif reading != start:
        yield _slip(start, reading, 0, None, place)


def _silent(run: Run, length: int, place: Placement) -> Happening:
    """A stretch in which memory says nothing of the program; to the end of memory, or for a while."""
    byte, number, value = run.start, run.end - run.start, run.reading.value
    for_a_while = f"{count(number, 'byte')} from {place.address(byte)} on"
    if run.reading.kind == "unknown":
        what = f"{for_a_while} {'has' if number == 1 else 'have'} nothing to do with the program"
        return Happening("no_relation", what, place.origin + byte)
    kind = "held_high" if value else "held_low"
    if run.end < length:
        why = "the data relay did not let go" if value else "the data was not heard, as in a dropout"
        return Happening(
            kind, f"{for_a_while} {'is' if number == 1 else 'are'} {value:02X}: {why}", place.origin + byte
        )
    why = (
        "the data track stays on (hum or crosstalk holds the relay), or memory was never written"
        if value
        else "the data track is dead, or the load stopped there"
    )
    return Happening(kind, f"from {place.address(byte)} on memory holds {value:02X} alone: {why}", place.origin + byte)


def _change(
    before: Run, after: Run, split: tuple[int, int] | None, last_known: Reading, length: int, place: Placement
) -> Iterator[Happening]:
    byte, reading = after.start, after.reading
    if reading.kind in ("constant", "unknown"):
        yield _silent(after, length, place)
        return
    if before.reading.kind in ("constant", "unknown"):
        if reading.turn == last_known.turn and reading != last_known:
            yield _slip(last_known, reading, byte, None, place)
        elif reading.turn != last_known.turn:
            yield _turned(byte, place)
        return
    if before.reading.turn != reading.turn:
        yield _turned(byte, place)
        return
    bits = reading.offset - before.reading.offset
    # Bits lost are those the program goes on without; a bit counted twice is the one that is read again.
    first = before.reading.offset if bits > 0 or bits % 8 == 0 else reading.offset
    where = None if split is None else (max(split[0] + first, 0), max(split[1] + first, 0))
    yield _slip(before.reading, reading, byte, where, place)


def _turned(byte: int, place: Placement) -> Happening:
    return Happening(
        "inverted", f"from {place.address(byte)} on polarity or order of bits is another", place.origin + byte
    )


def _slip(before: Reading, after: Reading, byte: int, where: tuple[int, int] | None, place: Placement) -> Happening:
    """Bits of the program left out (memory runs ahead of it) or read twice, where ``byte`` of memory begins anew.

    Args:
        where: first and last bit of the program, counted from its start, that may be the one.
    """
    if after.steps == before.steps and (after.offset - before.offset) % 8 == 0:
        return _bytes_slipped(before, after, byte if where is None else where[0] // 8, place)
    if after.steps != before.steps:
        slipped = after.steps - before.steps
        kind = "steps_lost" if slipped > 0 else "steps_doubled"
        now = "from there on the bytes are in step again"
        if after.steps:
            now = f"from there on the bits of each byte come {_early(after.steps, 'step')} in their own byte"
    else:
        slipped = after.offset - before.offset
        kind = "clock_lost" if slipped > 0 else "clock_doubled"
        now = f"what follows {_early_bits(after.offset)}"
    at = f"before {place.address(byte)}" if where is None else f"at {_spot(where, place)}"
    what = f"{count(abs(slipped), 'clock')} {'lost' if slipped > 0 else 'counted twice'} {at}; {now}"
    if where is None:
        return Happening(kind, what, place.origin + byte)
    return Happening(kind, what, place.origin + where[0] // 8, where[0] % 8 + 1)


def _bytes_slipped(before: Reading, after: Reading, byte: int, place: Placement) -> Happening:
    number = (after.offset - before.offset) // 8
    now = f"what follows {_early_bits(after.offset)}"
    if number > 0:
        what = f"{count(number, 'byte')} of the program {'is' if number == 1 else 'are'} missing at"
        return Happening("byte_lost", f"{what} {place.address(byte)}; {now}", place.origin + byte)
    what = f"{count(-number, 'byte')} too many at {place.address(byte)}, written twice or never meant"
    return Happening("byte_doubled", f"{what}; {now}", place.origin + byte)


def _early(number: int, noun: str) -> str:
    return f"{count(abs(number), noun)} {'early' if number > 0 else 'late'}"


def _early_bits(offset: int) -> str:
    if offset == 0:
        return "is in step again"
    if offset % 8:
        return f"comes {_early(offset, 'bit')}"
    return f"stands {count(abs(offset) // 8, 'byte')} {'lower' if offset > 0 else 'higher'} than it should"


def _spot(where: tuple[int, int], place: Placement) -> str:
    first, last = where
    spot = f"{place.address(first // 8)} bit {first % 8 + 1}"
    if last == first:
        return spot
    return f"{spot} (or up to {place.origin + last // 8:04X} bit {last % 8 + 1}: equal bits do not tell)"


def _exact(before: Run, after: Run, program: Bytes, seen: Bytes, heard: Bytes) -> tuple[int, int] | None:
    """First and last bit of memory at which ``before`` may have given way to ``after``; None if whole bytes have."""
    if not changes_within_a_byte(before.reading, after.reading):
        return None
    first = max(before.start, after.start - _AROUND)
    last = min(after.end, after.start + _AROUND)

    def wrong(reading: Reading) -> NDArray[np.int64]:
        expected, known = predicted(reading, program, last)
        differing = np.where(known, (expected ^ seen[:last]) & heard[:last], 0)[first:].astype(np.uint8)
        return np.concatenate(([0], np.cumsum(np.unpackbits(differing), dtype=np.int64)))

    earlier, later = wrong(before.reading), wrong(after.reading)
    splits = earlier + (later[-1] - later)
    places = np.flatnonzero(splits == splits.min())
    by_bytes = (after.reading.offset - before.reading.offset) % 8 == 0
    if by_bytes and (places % 8 == 0).any():
        places = places[places % 8 == 0]
    return 8 * first + int(places[0]), 8 * first + int(places[-1])


def _within(course: Course, run: Run, place: Placement) -> Iterator[Happening]:
    """Bytes of a run that do not agree."""
    if run.reading.kind == "unknown":
        return
    expected, seen, wrong = course.expected, course.seen, course.wrong
    aligned = run.reading.kind == "stream" and run.reading.offset % 8 == 0
    happenings: list[Happening] = []
    plain: list[int] = []
    for byte in (run.start + np.flatnonzero(wrong[run.start : run.end])).tolist():
        should, is_there = int(expected[byte]), int(seen[byte])
        few = int(wrong[byte]).bit_count()
        all_count = few == (should ^ is_there).bit_count()
        if aligned and all_count and few > 1 and byte and should | int(expected[byte - 1]) == is_there:
            kind, how = "latches_kept", "holds the ones of the byte before it too: the latches were not cleared"
        elif aligned and all_count and few > 2 and slips()[should, is_there]:
            lost = slips()[should, is_there] > 0
            kind, how = (
                "slip_in_byte",
                f"{'lost a bit' if lost else 'took a bit twice'}; the next byte is in step again",
            )
        else:
            plain.append(byte)
            continue
        evidence = f"{should:08b} should be there, {is_there:08b} is"
        happenings.append(Happening(kind, f"{place.address(byte)} {how}", place.origin + byte, None, evidence))
    happenings += _wrong_bits(plain, expected, wrong, place)
    yield from sorted(happenings, key=lambda happening: happening.address)


def _wrong_bits(places: list[int], expected: Bytes, wrong: Bytes, place: Placement) -> Iterator[Happening]:
    """Wrong bits of bytes that are near each other are told together."""
    groups: list[list[int]] = []
    for byte in places:
        if groups and byte - groups[-1][-1] <= _AROUND:
            groups[-1].append(byte)
        else:
            groups.append([byte])
    for group in groups:
        at = np.array(group)
        number = int(np.bitwise_count(wrong[at]).sum())
        fallen = int(np.bitwise_count(wrong[at] & expected[at]).sum())
        which = (
            "all ones that were not heard, as a dropout makes"
            if fallen == number
            else "all ones that should be zeros, as noise or crosstalk makes"
            if fallen == 0
            else f"{fallen} of them ones that were not heard"
        )
        start = group[0]
        if number == 1:
            bit = 8 - int(wrong[start]).bit_length() + 1
            what = f"{place.address(start)} bit {bit} is {'0, not 1' if fallen else '1, not 0'}"
            yield Happening("wrong_bits", what, place.origin + start, bit)
        else:
            upto = f" to {place.origin + group[-1]:04X}" if len(group) > 1 else ""
            what = f"{number} bits are wrong from {place.address(start)}{upto}"
            yield Happening("wrong_bits", what, place.origin + start, None, which)
