"""Stacks whose layers are relays: from sound to memory, and what each notices or mends of what a tape does."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from relay_tapes import extreme_place, tape_of, tape_within
from tapewright.contracts.codec import Codec
from tapewright.contracts.registry import codec, receiver
from tapewright.contracts.signal import Signal
from tapewright.contracts.streams import stream
from tapewright.receivers.relays.fault import ALARM, ALARM_MISSED, DIFFERENCE, RING_OFF
from tapewright.receivers.relays.loader import by_hand, load, run
from tapewright.receivers.relays.machine import build
from tapewright.receivers.relays.relay_set import ready_sets
from tapewright.receivers.relays.timing import shortest_step, timing

PAYLOAD = bytes((0x5A, 0xC3, 0x0F, 0x99))
STACKS = (
    "parity/clocked:group_bits=9,lead_ms=30",
    "vote/clocked:group_bits=24,lead_ms=30",
    "parity:kind=even/dual_rail:group_bits=9,bit_order=lsb",
    "parity/vote:word_bits=9/dual_rail:group_bits=27,reset_mark=false",
    "ones_count:count_bits=8/dual_rail",
    "ones_count/parity/clocked:group_bits=9,lead_ms=30",
    "two_tone_rails",
    "parity/two_tone_rails:group_bits=9,bit_order=lsb,one_track=left",
    "vote/two_tone_rails:group_bits=24,reset_mark=false",
)


def short(spec: str) -> Codec:
    """The stack with little to wait for."""
    return codec(f"{spec}{',' if ':' in spec.rpartition('/')[2] else ':'}line_up_s=0.2,leader_s=0.5")


def received(stack, *tapes, spec="relays", seed=7):
    return receiver(spec).receive(stack, tapes, stream(seed, 0, "receiver"))


def without(stack, payload, track, numbers):
    """The tape without some of the bursts on a track, counted from the first step."""
    samples = stack.encode(payload).samples.copy()
    bursts = stack.line_code.bursts(stack.line_bits(payload))
    first_s = stack.line_code.keying().first_step_s
    told = [burst for burst in bursts if burst.track == track and burst.start_s >= first_s - 1e-9]
    for number in numbers:
        burst = told[number]
        samples[track, round(burst.start_s * 44_100) : round(burst.end_s * 44_100)] = 0.0
    return Signal(samples, 44_100)


def told(decoded):
    return [event.what.partition(":")[0] for event in decoded.events]


@pytest.mark.parametrize("name", ready_sets())
@pytest.mark.parametrize("spec", STACKS)
def test_every_ready_set_loads_every_kind_of_stack(name, spec):
    slow = short(f"{spec}{',' if ':' in spec.rpartition('/')[2] else ':'}step_ms=200")
    decoded = received(slow, slow.encode(PAYLOAD[:2]), spec=f"relays:set={name}")
    assert (decoded.payload, decoded.intact, decoded.lost, decoded.events) == (PAYLOAD[:2], None, (), ())
    (play,) = decoded.plays
    assert play.speed_percent == pytest.approx(0.0, abs=1.0)
    assert play.sure == 1.0


@given(st.binary(min_size=1, max_size=3), st.sampled_from(["parity", "parity:kind=even", "vote"]), st.booleans())
def test_hand_keys_load_any_bytes_through_any_network(payload, layer, least_first):
    group = 24 if layer == "vote" else 9
    stack = codec(f"{layer}/two_tone_rails:group_bits={group},bit_order={'lsb' if least_first else 'msb'}")
    relays, table = receiver("relays").wiring(stack)
    keying = replace(stack.line_code.keying(), end_mark_s=None)
    machine = build(relays, table, keying, lambda role, quantity: 0.0)
    presses = "".join(
        "".join(map(str, said)) + "0000" for said in stack.line_code.steps(stack.line_bits(payload)).tolist()
    )
    loaded = run(by_hand(presses, keying), machine, table, keying)
    assert (loaded.image, loaded.faults) == (payload, ())


# Parity


def parity_tape(numbers, options=""):
    """Some data bursts missing: number 4 is the parity of 5A, 5 to 8 are the ones of C3 = 11000011, 9 its parity."""
    stack = short(f"parity{options}/clocked:group_bits=9")
    return stack, without(stack, PAYLOAD, 1, numbers)


def test_an_alarm_stops_the_machine_at_the_bad_byte():
    stack, tape = parity_tape([6])
    decoded = received(stack, tape)
    assert (decoded.payload, decoded.intact) == (PAYLOAD[:1], False)
    assert [event.what for event in decoded.events if event.what.startswith(ALARM)] == [
        "alarm: the latches of address 1 do not fit their check: the clock's feed is open"
    ]
    keying = stack.line_code.keying()
    stopped_s = next(event.time_s for event in decoded.events if event.what.startswith(ALARM))
    tenth_step_s = keying.first_step_s + keying.seconds_a_byte + keying.mark_extra_s + 9 * keying.step_s + keying.lead_s
    assert tenth_step_s < stopped_s < tenth_step_s + keying.clock_burst_s


def test_an_alarm_that_does_not_stop_condemns_and_goes_on():
    stack, tape = parity_tape([6], ":stop=false")
    decoded = received(stack, tape)
    assert decoded.payload[:1] + decoded.payload[2:] == PAYLOAD[:1] + PAYLOAD[2:]
    assert (decoded.payload[1], decoded.intact) == (0x83, False)
    assert told(decoded).count(ALARM) == 1


def test_two_wrong_bits_in_a_byte_pass_its_parity():
    decoded = received(*parity_tape([5, 6]))
    assert (decoded.payload, decoded.intact, decoded.events) == (bytes((0x5A, 0x03, 0x0F, 0x99)), None, ())


def test_an_alarm_relay_that_is_too_slow_is_told():
    stack, tape = parity_tape([6])
    relays, table = receiver("relays").wiring(stack)
    keying = stack.line_code.keying()
    machine = build(relays, table, keying, lambda role, quantity: 0.0)
    lazy = replace(machine, lines={**machine.lines, "alarm": replace(machine.lines["alarm"], operate_s=0.1)})
    loaded = load(tape, lazy, table, keying, np.random.default_rng(1))
    assert (loaded.image, loaded.shown) == (bytes((0x5A, 0x83, 0x0F, 0x99)), ())
    assert (ALARM_MISSED, "line") in {(fault.what, fault.path) for fault in loaded.faults}


@pytest.mark.parametrize("bit", range(8))
def test_a_lost_clock_raises_the_alarm_at_the_next_mark_whatever_its_bit(bit):
    """A lost 0 leaves the parity of what is latched right: half of all lost clocks pass the chain alone."""
    stack = short("parity/clocked:group_bits=9")
    decoded = received(stack, without(stack, PAYLOAD, 0, [13 + bit]))
    assert len(decoded.payload) in (1, 2)
    assert decoded.payload[:1] == PAYLOAD[:1]
    assert decoded.intact is False
    assert told(decoded).count(ALARM) == 1


def test_a_mark_too_short_for_the_alarm_relay_is_told():
    stack = short("parity/clocked:group_bits=9")
    relays, table = receiver("relays").wiring(stack)
    keying = stack.line_code.keying()
    machine = build(relays, table, keying, lambda role, quantity: 0.0)
    lazy = replace(machine, lines={**machine.lines, "alarm": replace(machine.lines["alarm"], operate_s=0.1)})
    loaded = load(without(stack, PAYLOAD, 0, [14]), lazy, table, keying, np.random.default_rng(1))
    assert (ALARM_MISSED, "recover") in {(fault.what, fault.path) for fault in loaded.faults}
    assert loaded.image != PAYLOAD
    assert loaded.shown == ()


def test_without_a_checking_layer_a_mark_has_no_alarm_to_feed():
    stack = short("clocked")
    decoded = received(stack, without(stack, PAYLOAD, 0, [14]))
    assert (decoded.intact, ALARM in told(decoded)) == (None, False)
    assert receiver("relays").relay_count(stack) < receiver("relays").relay_count(short("parity/clocked:group_bits=9"))


# Vote and count


def test_a_vote_mends_a_bit_of_one_copy_and_not_of_two():
    stack = short("vote/clocked:group_bits=24")
    ones = PAYLOAD[0].bit_count()
    assert received(stack, without(stack, PAYLOAD, 1, [1])).payload == PAYLOAD
    twice = received(stack, without(stack, PAYLOAD, 1, [1, 1 + ones]))
    assert (twice.payload, twice.intact) == (bytes((0x5A & ~0x10, *PAYLOAD[1:])), None)


def test_a_count_of_ones_notices_a_lost_bit_and_not_one_lost_for_one_gained():
    stack = short("ones_count/clocked")
    lost = received(stack, without(stack, PAYLOAD, 1, [2]))
    assert (lost.payload, lost.intact) == (bytes((0x5A & ~0x08, *PAYLOAD[1:])), False)
    assert told(lost) == ["ones_count"]
    swapped = replace(stack, layers=())
    bits = np.array(stack.line_bits(PAYLOAD))
    bits[[0, 1]] = bits[[1, 0]]
    tape = swapped.line_code.modulate(bits)
    assert received(stack, tape).intact is None


def test_the_counter_hears_what_the_latches_hear():
    """A counting relay slower than the latches misses a bit that they catch: the lamp is lit over a right program."""
    stack = short("ones_count/clocked")
    relays, table = receiver("relays").wiring(stack)
    keying = stack.line_code.keying()
    machine = build(relays, table, keying, lambda role, quantity: 0.0)
    tape = stack.encode(PAYLOAD)
    assert load(tape, machine, table, keying, np.random.default_rng(1)).counted == PAYLOAD + b"\xff\xef"
    samples = tape.samples.copy()
    burst = [burst for burst in stack.line_code.bursts(stack.line_bits(PAYLOAD)) if burst.track == 1][2]
    samples[1, round((burst.start_s + 0.014) * 44_100) : round(burst.end_s * 44_100)] = 0.0
    slow = replace(machine, counter=replace(machine.counter, operate_s=0.02))
    loaded = load(Signal(samples, 44_100), slow, table, keying, np.random.default_rng(1))
    assert loaded.image[:4] == PAYLOAD
    assert loaded.counted[0] != PAYLOAD[0]


# The ring at the end of the tape


@pytest.mark.parametrize("spec", ["clocked:reset_mark=false", "dual_rail:reset_mark=false"])
def test_a_lost_clock_without_marks_is_shown_by_the_ring(spec):
    stack = short(spec)
    clocks = "clock" if "clocked" in spec else "one"
    track = stack.line_code.keying().roles.index(clocks)
    decoded = received(stack, without(stack, PAYLOAD, track, [2]))
    assert decoded.payload != PAYLOAD
    assert decoded.intact is False
    assert RING_OFF in told(decoded)
    assert "stands at step 12 in the place of step 1" in decoded.events[-1].what


def test_as_many_lost_clocks_as_a_byte_has_are_not_shown():
    stack = short("clocked:reset_mark=false")
    decoded = received(stack, without(stack, PAYLOAD, 0, range(12, 24)))
    assert (decoded.payload, decoded.intact) == (PAYLOAD[:1] + PAYLOAD[2:], None)


@pytest.mark.parametrize("options", ["", ",end_mark=false", ",reset_mark=false,end_mark=false"])
def test_a_whole_tape_leaves_the_ring_where_it_must(options):
    stack = short(f"clocked:clock_track=right{options}")
    assert received(stack, stack.encode(PAYLOAD)).intact is None
    assert received(stack, Signal(np.zeros((2, 44_100), np.float32), 44_100)).intact is False


# A verify pass


def test_a_verify_pass_condemns_two_plays_that_differ_and_vouches_for_none():
    stack = short("clocked")
    clean, damaged = stack.encode(PAYLOAD), without(stack, PAYLOAD, 1, [5])
    spec = "relays:verify=true"
    assert received(stack, clean, clean, spec=spec).intact is None
    assert received(stack, clean, spec=spec).intact is None
    differs = received(stack, damaged, clean, spec=spec)
    assert (differs.payload[1] != PAYLOAD[1], differs.intact) == (True, False)
    assert [event.what for event in differs.events if event.what.startswith(DIFFERENCE)] == [
        "difference: verified against another play: address 1: memory holds 83, the tape says C3"
    ]
    shorter = stack.encode(PAYLOAD[:2])
    missed = received(stack, clean, shorter, spec=spec)
    assert "2 bytes from address 2 on were not met" in missed.events[-1].what
    assert received(stack, shorter, clean).payload == PAYLOAD  # without it the last play is what is loaded


def test_the_comparator_is_counted():
    """By hand, of two-pole relays: 8 latches with a third contact are doubled, 8 repeat the cells, the alarm has 3."""
    stack = codec("clocked")
    plain, comparing = (receiver(spec).relay_count(stack) for spec in ("relays", "relays:verify=true"))
    assert comparing - plain == 8 + 8 + 2


# Two tones


@pytest.mark.parametrize("speed", [-0.03, 0.03])
@pytest.mark.parametrize("skew", [-40, 40])
def test_two_tones_are_told_apart_whatever_skew_and_speed(speed, skew):
    stack = short("two_tone_rails")
    payload = bytes((0xC6, 0x39, 0x4F, 0x00, 0xFF))
    samples = stack.encode(payload).samples.copy()
    samples[1] = np.roll(samples[1], skew)
    decoded = received(stack, Signal(samples, round(44_100 * (1 + speed))))
    assert (decoded.payload, decoded.intact, decoded.lost) == (payload, None, ())


@pytest.mark.parametrize("spec", ["two_tone_rails", "parity/two_tone_rails:group_bits=9,reset_mark=false,step_ms=40"])
def test_what_timing_calls_safe_of_two_tones_loads(spec):
    stack = short(spec)
    relays, table = receiver("relays").wiring(stack)
    assert timing(stack.line_code, relays, table).closes
    keying = stack.line_code.keying()
    payload = bytes((0xC6, 0x39, 0x4F))
    for seed in range(8):
        rng = np.random.default_rng(seed)
        machine = build(relays, table, keying, extreme_place(rng))
        tape = tape_within(stack.line_code, stack.line_bits(payload), relays, rng)
        loaded = load(tape, machine, table, keying, rng)
        assert loaded.image == payload, (seed, loaded.faults)


@pytest.mark.acceptance
@pytest.mark.parametrize("name", ["signal_12v", "graded_12v", "reed_12v", "line_level_24v"])
@pytest.mark.parametrize(
    "spec", ["two_tone_rails", "two_tone_rails:reset_mark=false", "parity/two_tone_rails:group_bits=9"]
)
def test_the_two_laws_hold_for_two_tones(name, spec):
    stack = codec(spec) if "-" in spec else short(spec)
    relays, table = receiver(f"relays:set={name}").wiring(stack)
    found = shortest_step(stack.line_code, relays, table)
    at_limit = replace(stack, line_code=stack.line_code.at_step(found.step_s))
    keying, payload = at_limit.line_code.keying(), bytes((0xC6, 0x39, 0x4F))
    for seed in range(40):
        rng = np.random.default_rng(seed)
        machine = build(relays, table, keying, extreme_place(rng))
        loaded = load(
            tape_within(at_limit.line_code, at_limit.line_bits(payload), relays, rng), machine, table, keying, rng
        )
        assert loaded.image == payload, (seed, loaded.faults)
    faster = replace(stack, line_code=stack.line_code.at_step(0.8 * found.step_s))
    corner = timing(faster.line_code, relays, table).limiting.corner
    machine = build(relays, table, faster.line_code.keying(), corner.place(), corner.bounces)
    tape = tape_of(corner, faster.line_code, faster.line_bits(payload), relays)
    assert load(tape, machine, table, faster.line_code.keying(), np.random.default_rng(0)).image != payload
