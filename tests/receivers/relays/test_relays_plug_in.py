"""The plug-in: what it refuses, what it gives back, and that its files are part of its spec."""

from dataclasses import replace
from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from tapewright.contracts.errors import UsageError
from tapewright.contracts.registry import codec, receiver
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import stream
from tapewright.receivers.relays.load_record import Load
from tapewright.receivers.relays.plug_in import Relays
from tapewright.receivers.relays.relay_set import ready_sets
from tapewright.receivers.relays.timing import shortest_step

PLAIN = codec("clocked:line_up_s=0.5")


def test_the_spec_round_trips_and_names_the_content_of_its_files() -> None:
    relays = receiver("relays")
    assert isinstance(relays, Relays)
    sets, table = relays.files()
    assert relays.content == f"{sets.content}-{table.content}"
    assert receiver(relays.spec) == relays


def test_the_limit_is_the_steps_that_close_times_the_bits_of_a_step() -> None:
    relays = receiver("relays:set=graded_12v")
    code = PLAIN.line_code
    closed = shortest_step(code, *relays.files())
    assert relays.limit_bits_per_s(PLAIN) == pytest.approx(1 / closed.step_s)
    faster, slower = (replace(PLAIN, line_code=code.at_step(step_s)) for step_s in (0.02, 0.2))
    assert relays.limit_bits_per_s(faster) == pytest.approx(relays.limit_bits_per_s(slower), rel=0.02)
    signal = receiver("relays:set=signal_12v").limit_bits_per_s(PLAIN)
    assert signal < relays.limit_bits_per_s(PLAIN)
    assert 8 / code.keying().seconds_a_byte < signal  # the code is one that this machine closes
    assert relays.limit_bits_per_s(codec("sturdy")) is None
    assert receiver("sound").limit_bits_per_s(PLAIN) is None


def test_a_changed_file_is_another_machine(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    text = (resources.files("tapewright.receivers.relays") / "sets" / "signal_12v.toml").read_text()
    path.write_text(text)
    before = receiver(f'relays:set="{path}"')
    path.write_text(text.replace("worn_percent = 0.0", "worn_percent = 10.0"))
    assert receiver(f'relays:set="{path}"') != before
    with pytest.raises(UsageError, match="they have changed since that was written"):
        receiver(before.spec)


@pytest.mark.parametrize(
    ("folder", "name", "option", "old", "new"),
    [
        ("sets", "signal_12v", "set", "worn_percent = 0.0", "worn_percent = 10.0"),
        ("tables", "clock_tower", "table", 'isolation = "diodes"', 'isolation = "poles"'),
    ],
)
def test_a_file_that_changes_under_a_machine_is_told_at_its_next_tape(
    folder: str, name: str, option: str, old: str, new: str, tmp_path: Path
) -> None:
    """What is counted afterwards would stand under what the file held before."""
    path = tmp_path / "mine.toml"
    text = (resources.files("tapewright.receivers.relays") / folder / f"{name}.toml").read_text()
    assert old in text
    path.write_text(text)
    machine = receiver(f'relays:{option}="{path}"')
    assert isinstance(machine, Relays)
    tape = PLAIN.encode(b"\x55")
    before = machine.receive(PLAIN, (tape,), stream(7, 0, "receiver"))
    path.write_text(text.replace(old, new))
    for ask in (
        lambda: machine.receive(PLAIN, (tape,), stream(7, 0, "receiver")),
        lambda: machine.refusal(PLAIN),  # no reason against the codec, which a table of results would keep as one
        lambda: machine.limit_bits_per_s(PLAIN),
        lambda: machine.check_load(PLAIN, 1),
    ):
        with pytest.raises(UsageError, match=r"they have changed since that was written; put them back") as told:
            ask()
        assert "\n" not in str(told.value)
    path.write_text(text)
    assert machine.receive(PLAIN, (tape,), stream(7, 0, "receiver")) == before


def test_an_unknown_set_or_table_is_refused_with_the_ready_ones() -> None:
    with pytest.raises(UsageError, match=f"There are: {', '.join(ready_sets())}"):
        receiver("relays:set=golden")
    with pytest.raises(UsageError, match="Did you mean 'clock_tower'"):
        receiver("relays:table=clock_toer")


@pytest.mark.parametrize(
    ("spec", "said"),
    [
        ("contents/clocked", "relays: 'contents' needs a microcontroller; relays alone cannot decode it."),
        ("biphase", "relays: 'biphase' needs a microcontroller"),
        ("clocked:extra_steps=3", "has 12 steps a byte with 8 bits, and this code has 11 with 8."),
        ("clocked:tone_hz=9000", "is too high for the rectifier and coil"),
        (
            "two_tone_rails:tone_hz=3000,second_tone_hz=3900",
            "for 3900 Hz let 8.57 mA of a tone of 3000 Hz",
        ),
    ],
)
def test_a_codec_that_relays_cannot_decode_is_refused_in_one_line(spec: str, said: str) -> None:
    refusal = receiver("relays").refusal(codec(spec))
    assert refusal is not None
    assert said in refusal
    assert "\n" not in refusal
    with pytest.raises(UsageError, match="relays"):
        receiver("relays").receive(codec(spec), (), np.random.default_rng(0))


@pytest.mark.parametrize("name", ready_sets())
def test_every_ready_set_loads_a_clean_tape_at_a_pace_it_can_follow(name: str) -> None:
    machine = receiver(f"relays:set={name}")
    slow = codec("clocked:step_ms=200,lead_ms=30,line_up_s=0.5")
    payload = bytes(range(0, 256, 51))
    for trial in range(3):
        decoded = machine.receive(slow, (slow.encode(payload),), stream(7, trial, "receiver"))
        assert (decoded.payload, decoded.intact, decoded.lost, decoded.events) == (payload, None, (), ())
        assert list(decoded.times_s) == sorted(decoded.times_s)
        assert len(decoded.times_s) == len(payload)


@pytest.mark.parametrize("name", ready_sets())
@pytest.mark.parametrize("options", ["", ",one_track=left,bit_order=lsb,reset_mark=false"])
def test_every_ready_set_follows_rails_whatever_their_skew(name: str, options: str) -> None:
    machine = receiver(f"relays:set={name}")
    slow = codec(f"dual_rail:step_ms=200,line_up_s=0.5{options}")
    payload = bytes(range(0, 256, 51))
    samples = slow.encode(payload).samples.copy()
    samples[1] = np.roll(samples[1], 441)
    decoded = machine.receive(slow, (Signal(samples, 44_100),), stream(7, 0, "receiver"))
    assert (decoded.payload, decoded.lost, decoded.events) == (payload, (), ())


def test_another_trial_is_another_machine_and_the_same_trial_the_same() -> None:
    machine = receiver("relays")
    assert isinstance(machine, Relays)
    tape = PLAIN.encode(b"\x55")

    def steps(trial: int) -> list[float]:
        loaded: Load = machine.load(PLAIN, tape, stream(7, trial, "receiver"))
        return [time for time, _ in loaded.count.steps]

    assert steps(0) == steps(0)
    assert steps(0) != steps(1)


def test_a_second_play_overwrites_the_first() -> None:
    machine, rng = receiver("relays"), np.random.default_rng(3)
    decoded = machine.receive(PLAIN, (PLAIN.encode(b"\x11\x22"), PLAIN.encode(b"\x33\x44")), rng)
    assert decoded.payload == b"\x33\x44"


def test_a_hole_in_one_clock_costs_one_byte_and_is_told() -> None:
    # With a reset mark at each byte, the count of the damaged byte comes with the mark itself.
    payload = bytes((0x5A, 0xC3, 0x0F, 0x99))
    tape = PLAIN.encode(payload)
    keying = PLAIN.line_code.keying()  # type: ignore[attr-defined]
    start = keying.first_step_s + keying.seconds_a_byte + 4 * keying.step_s
    samples = tape.samples.copy()
    samples[0, round(start * 44_100) : round((start + keying.step_s) * 44_100)] = 0.0
    decoded = receiver("relays").receive(PLAIN, (Signal(samples, 44_100),), np.random.default_rng(5))
    wrong = [n for n, (got, sent) in enumerate(zip(decoded.payload, payload, strict=True)) if got != sent]
    assert wrong == [1]
    told = [event.what.split(":")[0] for event in decoded.events]
    assert "missed clock" in told
    assert "address off" in told
    assert all(start <= event.time_s <= start + 1.0 for event in decoded.events if event.time_s is not None)


def test_without_reset_marks_a_hole_in_one_clock_ruins_the_rest() -> None:
    plain = codec("clocked:line_up_s=0.5,reset_mark=false")
    payload = bytes((0x5A, 0xC3, 0x0F, 0x99))
    keying = plain.line_code.keying()  # type: ignore[attr-defined]
    start = keying.first_step_s + keying.seconds_a_byte + 4 * keying.step_s
    samples = plain.encode(payload).samples.copy()
    samples[0, round(start * 44_100) : round((start + keying.step_s) * 44_100)] = 0.0
    decoded = receiver("relays").receive(plain, (Signal(samples, 44_100),), np.random.default_rng(5))
    assert decoded.payload[0] == payload[0]
    assert all(got != sent for got, sent in zip(decoded.payload[1:], payload[1:], strict=False))


def test_a_split_burst_is_told_as_a_double_clock() -> None:
    slow = codec("clocked:step_ms=200,lead_ms=30,line_up_s=0.5")
    tape = slow.encode(b"\x5a\xc3")
    keying = slow.line_code.keying()  # type: ignore[attr-defined]
    start = keying.first_step_s + keying.mark_extra_s + 3 * keying.step_s + keying.lead_s + 0.025
    samples = tape.samples.copy()
    samples[0, round(start * 44_100) : round((start + 0.03) * 44_100)] = 0.0
    decoded = receiver("relays").receive(slow, (Signal(samples, 44_100),), np.random.default_rng(5))
    assert "double clock" in [event.what.split(":")[0] for event in decoded.events]
    assert decoded.payload[0] != 0x5A
